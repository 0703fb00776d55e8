"""Reads cards: a picture, a file or a pasted text, and what is told of a card that was read whole."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.cards import contents
from app.cards.angles import turn_angles
from app.cards.envelope import Opened, open_card
from app.cards.errors import CardError, DamagedError, NewerError, NoCardError, TooLargeError
from app.cards.photos import read_code
from app.cards.plausible import is_plausible, list_implausible
from app.cards.signing import fingerprint
from app.cards.texts import PREFIX, read_text
from app.errors import InvalidError
from app.models import Bowler, IssuedCard, KnownKey, ReadCard
from app.services import changes, known_keys, rules, shop_keys

USUAL_MONTHS = 12  # ASSUMED: hands change; shipped starting value, common practice, no source
_PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")


@dataclass(frozen=True)
class Told:
    """What is known of a card that was read whole; `before` is when the same one was read, `newer` a later revision.

    `rivals` are other keys that claim its maker's name, each with whether it is remembered.
    """

    opened: Opened
    key: KnownKey | None
    is_unknown: bool
    rivals: list[tuple[KnownKey, bool]]
    is_ours: bool
    months_old: int
    is_old: bool
    before: ReadCard | None
    taken: ReadCard | None
    newer: int

    @property
    def today(self) -> date:
        """The day that it is here."""
        return date.today()

    @property
    def is_in_future(self) -> bool:
        return is_in_future(self.opened.card.made_on)

    @property
    def future_depths(self) -> list[contents.Depth]:
        """What the maker says of itself with a day that is still to come: told, and not counted."""
        return [one for one in self.opened.card.depths if is_in_future(one.as_of)]

    @property
    def counted_depths(self) -> list[contents.Depth]:
        """What counts of the depths on a card of another shop: what its maker says of itself, until today."""
        if self.is_ours:
            return []
        own = [one for one in self.opened.card.depths if one.shop == 0 and is_plausible(one)]
        return [one for one in own if not is_in_future(one.as_of)]

    @property
    def implausible(self) -> list[str]:
        """What of the card cannot be, in words: told, and not taken."""
        return list_implausible(self.opened.card)

    @property
    def digits(self) -> str:
        return fingerprint(self.opened.public_key)


def open_any(data: bytes, text: str) -> Opened:
    """Returns the card in an upload, else in a text; raises InvalidError with what to do."""
    try:
        return _open(data, text)
    except CardError as error:
        raise InvalidError.at("photo" if data else "text", f"{_name_state(error)}: {error.message}") from None


def _open(data: bytes, text: str) -> Opened:
    if not data:
        if not text.strip():
            raise InvalidError.at("text", "Take or choose a picture, choose a file, or paste the text of a card.")
        return read_text(text)
    if data.startswith(_PICTURES) or data[4:8] == b"ftyp":  # the latter begins a HEIC: ISO/IEC 14496-12
        return read_text(read_code(data))
    if data[:2000].lstrip(b"\xef\xbb\xbf \r\n\t>").upper().startswith(PREFIX.encode()):
        return read_text(data.decode("utf-8", "replace"))
    return open_card(data)


def _name_state(error: CardError) -> str:
    known = {DamagedError: "Damaged", NoCardError: "No card", NewerError: "Newer", TooLargeError: "Too large"}
    return known.get(type(error), "Changed" if type(error).__name__ == "ChangedError" else "No code")


def tell(session: Session, who: int, opened: Opened) -> Told:
    """Returns what is known of a card; the reading and another shop's key are noted, and the key not trusted."""
    card, is_ours = opened.card, shop_keys.is_ours(session, opened.public_key)
    key = None if is_ours else known_keys.see(session, who, opened.public_key, card.maker)
    told = _look_at(session, opened, key)
    if told.before is None or told.before.outcome != "read":
        read = ReadCard(**read_values(opened), staff_id=who)
        words = f"a card of {card.maker}, revision {card.revision} of {card.made_on.isoformat()}"
        changes.add_record(session, who, read, words)
    else:
        changes.note(session, who, told.before, changes.Entry("read again", "", "the same card"), is_addition=True)
    return told


def look_again(session: Session, opened: Opened) -> Told:
    """Returns what is known of a card that was told already, and keeps nothing."""
    return _look_at(session, opened, known_keys.find_known(session, opened.public_key))


def _look_at(session: Session, opened: Opened, key: KnownKey | None) -> Told:
    card = opened.card
    months = max(0, (date.today().year - card.made_on.year) * 12 + date.today().month - card.made_on.month)
    limit = rules.get_rule(session, rules.CARD_MONTHS) or USUAL_MONTHS
    same = select(ReadCard).where(ReadCard.digest == opened.digest).order_by(ReadCard.id.desc()).limit(1)
    newest = _find_newest(session, opened)
    is_unknown = key is not None and not known_keys.is_remembered(session, key)
    rivals = known_keys.find_bearers(session, card.maker, opened.public_key)[0] if is_unknown else []
    return Told(
        opened=replace(opened, card=turn_angles(card)),
        key=key,
        is_unknown=is_unknown,
        rivals=[(rival, known_keys.is_remembered(session, rival)) for rival in rivals],
        is_ours=shop_keys.is_ours(session, opened.public_key),
        months_old=months,
        is_old=months > limit,
        before=session.scalar(same),
        taken=find_taken(session, opened.digest),
        newer=newest if newest > card.revision else 0,
    )


def _find_newest(session: Session, opened: Opened) -> int:
    """Returns the latest revision that is known of a card; a series counts both hands, of a card only read unknown."""
    card = opened.card
    of_series = (ReadCard.series == card.series, ReadCard.public_key == opened.public_key)
    later = session.scalars(select(ReadCard).where(*of_series, ReadCard.revision > card.revision)).all()
    of_other_hand = {one.digest for one in later if one.data and open_card(one.data).card.hand != card.hand}
    revisions = [one.revision for one in later if one.digest not in of_other_hand]
    if shop_keys.is_ours(session, opened.public_key):
        issued = select(IssuedCard.revision).where(IssuedCard.series == card.series, IssuedCard.hand == card.hand)
        revisions += session.scalars(issued)
    return max(revisions, default=0)


def find_taken(session: Session, digest: bytes) -> ReadCard | None:
    """Returns when this very card was taken in last, unless that was taken back."""
    same = select(ReadCard).where(ReadCard.digest == digest, ReadCard.outcome == "taken in")
    return session.scalar(same.order_by(ReadCard.id.desc()).limit(1))


def find_bowler_id(session: Session, opened: Opened) -> int | None:
    """Returns for whom this card, or another of its series, was taken in last; None if nobody of them is in use."""
    same = (ReadCard.series == opened.card.series, ReadCard.public_key == opened.public_key)
    query = (
        select(func.coalesce(Bowler.merged_into_id, Bowler.id))
        .join(ReadCard, ReadCard.bowler_id == Bowler.id)
        .where(*same, ReadCard.outcome == "taken in", Bowler.removed_at.is_(None), Bowler.erased_at.is_(None))
    )
    return session.scalar(query.order_by((ReadCard.digest == opened.digest).desc(), ReadCard.id.desc()).limit(1))


def is_in_future(day: date) -> bool:
    """Whether a day is after tomorrow: what is tomorrow here is today somewhere."""
    return day > date.today() + timedelta(days=1)


def read_values(opened: Opened) -> dict[str, object]:
    """Returns what is kept of a card by the names of its columns, but not what it says of a person."""
    card = opened.card
    return {
        "digest": opened.digest,
        "series": card.series,
        "revision": card.revision,
        "maker": card.maker,
        "public_key": opened.public_key,
        "made_on": card.made_on,
    }
