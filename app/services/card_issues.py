"""Issues cards: signed by the acting shop's key, each with the next revision of its bowler's series."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.cards.contents import Card
from app.cards.envelope import open_card, seal_card
from app.cards.errors import CardError, TooLargeError
from app.closed_sets import Hand
from app.errors import ConflictError, InvalidError
from app.models import Bowler, Fit, IssuedCard, now
from app.schemas.cards import IssueForm
from app.services import bowlers, card_contents, changes, paper_checks, shop_keys, shops

_SERIES_BYTES = 6


@dataclass(frozen=True)
class CardOffer:
    """What a bowler's card would say today, the one issued last, and whether that one still says the same.

    `left_out` are the ids of the inners that it is without.
    """

    hand: Hand
    card: Card
    last: IssuedCard | None
    is_current: bool
    left_out: tuple[int, ...] = ()


def find_last(session: Session, bowler_id: int, hand: str) -> IssuedCard | None:
    """Returns the card that our shop issued last for a hand, unless its person was erased."""
    ours = shops.require_our_shop(session)
    own = (IssuedCard.bowler_id == bowler_id, IssuedCard.shop_id == ours.id, IssuedCard.hand == hand)
    query = select(IssuedCard).where(*own, IssuedCard.data != b"").order_by(IssuedCard.revision.desc()).limit(1)
    return session.scalar(query)


def find_of_fit(session: Session, fit_id: int, bowler_id: int, hand: str) -> IssuedCard | None:
    """Returns the card issued last if this fit stands on it."""
    last = find_last(session, bowler_id, hand)
    return last if last and last.fit_id == fit_id else None


def offer(session: Session, bowler: Bowler, hand: Hand, left_out: Sequence[int] | None = None) -> CardOffer:
    """Returns what a bowler's card would say today: without `left_out`, without what was left out last."""
    series, revision = _find_series(session, bowler.id)
    last = find_last(session, bowler.id, hand)
    without = tuple(last.left_out if left_out is None and last else left_out or ())
    card = _spare_heights(card_contents.build_card(session, bowler, hand, series, date.today(), without))
    key = shop_keys.find_key(session, shops.require_our_shop(session))
    if last:
        opened = open_card(last.data)
        is_signed_so = key is not None and opened.public_key == key.public_key
        if is_signed_so and _compare(card) == _compare(opened.card):
            return CardOffer(hand, opened.card, last, True, without)
    return CardOffer(hand, replace(card, revision=revision), last, False, without)


def _spare_heights(card: Card) -> Card:
    """Returns a card without measured heights of rims where no code could hold them all: they are the last needed."""
    try:
        seal_card(card, bytes(32))  # any key: only the size is asked
    except TooLargeError:
        return replace(card, inners=tuple(replace(inner, heights_in=()) for inner in card.inners))
    except CardError:
        return card  # told when it is issued
    return card


def _find_series(session: Session, bowler_id: int) -> tuple[bytes, int]:
    """Returns (series, next revision in it) of a bowler's cards of our shop, of both hands; a new one is random."""
    ours = shops.require_our_shop(session)
    own = (IssuedCard.bowler_id == bowler_id, IssuedCard.shop_id == ours.id)
    query = select(IssuedCard.series, func.max(IssuedCard.revision)).where(*own).group_by(IssuedCard.series)
    found = session.execute(query).first()
    return (found[0], found[1] + 1) if found else (secrets.token_bytes(_SERIES_BYTES), 1)


def _compare(card: Card) -> Card:
    """Returns a card without what is new on each: the days, and its place in the series."""
    depths = tuple(replace(depth, as_of=date.min) for depth in card.depths)
    return replace(card, made_on=date.min, revision=0, series=b"", depths=depths)


def _require_compared(session: Session, fit: Fit | None, form: IssueForm) -> None:
    """Raises for a fit that was typed wrong, and unless the form says so for one that waits for a second look."""
    doubt = paper_checks.find_doubt(session, fit)
    if doubt and doubt.state == "wrong":
        raise ConflictError(f"{paper_checks.describe_doubt(doubt)}. Put the fit right before a card of it is issued.")
    if doubt and not form.is_unverified_known:
        raise InvalidError.at("is_unverified_known", f"{paper_checks.describe_doubt(doubt)}. Compare it, or tick this.")


def issue(session: Session, bowler_id: int, form: IssueForm) -> IssuedCard:
    """Issues a bowler's card; the one issued last stays if it still says the same. Raises InvalidError."""
    bowler = bowlers.get_bowler(session, bowler_id)
    bowlers.require_in_use(bowler)
    shop_keys.name_installation(session)
    offered = offer(session, bowler, form.hand, form.left_out)
    if offered.is_current and offered.last:
        raise ConflictError(f"Revision {offered.last.revision} says all this already: print it again.")
    if offered.card.fit is None and not offered.card.inners:
        raise InvalidError("There is nothing for a card yet: no fit in force, and no inner of this hand.")
    fit = card_contents.find_fit_in_force(session, bowler.id, form.hand)
    _require_compared(session, fit, form)
    ours = shops.require_our_shop(session)
    key = shop_keys.get_key(session, form.who, ours)
    try:
        data = seal_card(offered.card, key.private_key)
    except CardError as error:
        raise InvalidError(error.message) from None
    issued = IssuedCard(
        bowler_id=bowler.id,
        shop_id=ours.id,
        hand=form.hand,
        series=offered.card.series,
        revision=offered.card.revision,
        digest=open_card(data).digest,
        data=data,
        fit_id=fit.id if fit else None,
        made_on=offered.card.made_on,
        staff_id=form.who,
        issued_at=now(),
        left_out=list(offered.left_out),
    )
    changes.add_record(session, form.who, issued, f"card, revision {issued.revision}, {form.hand} hand")
    return issued
