"""The search index `bowler_word`: the words of each bowler's record, updated whenever the record changes.

Words of names, leagues, phone numbers and ball serials are stored folded: lower case, without accents. `spanbook
index` rebuilds the index.
"""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session, joinedload

from app.models import Ball, Bore, Bowler, BowlerWord, Inner, Merger, Shop
from app.services import words
from app.services.words import KEPT_TO, NUMBER

_LETTERS = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ß": "ss", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i"})


TAIL = NUMBER + "~"  # prefix of numbers written backwards


HAND_WORDS = {
    "hand",
    "handed",
    "hander",
    "bowler",
    "league",
}  # words typed with a hand or a league that are on no record


@lru_cache(maxsize=2_000)  # the same names recur
def fold_words(text: str) -> tuple[str, ...]:
    """Splits a text of any alphabet into lower-case words without accents."""
    plain = text.casefold()
    if not text.isascii():
        plain = unicodedata.normalize("NFKD", plain.translate(_LETTERS))
        plain = "".join(c for c in plain if not unicodedata.combining(c))
    return tuple(re.findall(r"[^\W_]+", plain))


def split_name(name: str) -> list[str]:
    """Splits a name into words and adds those joined with its particles: vandenberg finds van den Berg."""
    words = fold_words(name)
    joined = ["".join(words[i:]) for i in range(1, len(words) - 1)]
    return list(dict.fromkeys(w[:60] for w in [*words, *joined]))


def split_number(text: str) -> list[str]:
    """Splits a phone number or serial into parts, the whole, and the whole reversed, so that its last digits match too.

    A prefix separates them from words of names, because the search corrects no errors in numbers.
    """
    groups = [g for g in fold_words(text) if len(g) > 1 and any(c.isdigit() for c in g)]
    whole = "".join(fold_words(text))
    told = [*groups, whole] if whole and any(c.isdigit() for c in whole) else groups
    return list(dict.fromkeys([*(NUMBER + w for w in told), *([TAIL + whole[::-1]] if told else [])]))


class Former(NamedTuple):
    """What else finds a bowler: name, phone and league of a merged record, or of this one before the merger."""

    name: str
    phone: str
    league: str


def list_words(
    bowler: Bowler, serials: Iterable[str], made_by: Iterable[int] = (), former: Iterable[Former] = ()
) -> list[tuple[str, str]]:
    """Returns (word, kind) of everything that finds a bowler; `made_by` are the other shops that made the inners."""
    own = split_name(bowler.name)
    told = [
        *((w, "name") for w in own),
        *((w, "phone") for w in split_number(bowler.phone)),
        *((w, "league") for w in fold_words(bowler.league) if w not in HAND_WORDS),
        *((w, "ball") for serial in serials for w in split_number(serial)),
        (make_hand_word(bowler.hand), "hand"),
        *([(make_shop_word(bowler.home_shop_id), "shop")] if bowler.home_shop_id else []),
        *((make_shop_word(shop_id), "made") for shop_id in made_by if shop_id != bowler.home_shop_id),
    ]
    for other in former:
        told += [(w, "former") for w in split_name(other.name) if w not in own]
        told += [(w, "phone") for w in split_number(other.phone)]
        told += [(w, "league") for w in fold_words(other.league) if w not in HAND_WORDS]
    return list(dict.fromkeys((word[:60], kind) for word, kind in told if word))


def make_hand_word(hand: str) -> str:
    return KEPT_TO + hand


def make_shop_word(shop_id: int) -> str:
    return f"{KEPT_TO}{shop_id}"


_MADE_BY = (  # (bowler, shop that is not ours)
    select(Inner.bowler_id, Bore.shop_id)
    .join(Bore, Bore.id == Inner.trimmed_in_id)
    .join(Shop, Shop.id == Bore.shop_id)
    .where(Shop.is_ours.is_(False))
    .distinct()
)


def index_bowler(session: Session, bowler: Bowler) -> None:
    """Updates the index of one bowler from the record."""
    serials = session.scalars(select(Ball.serial).where(Ball.bowler_id == bowler.id, Ball.removed_at.is_(None))).all()
    made_by = [shop_id for _, shop_id in session.execute(_MADE_BY.where(Inner.bowler_id == bowler.id))]
    own = list_words(bowler, serials, made_by, _list_former(session, bowler.id))
    wanted = set() if bowler.erased_at else set(own)
    rows = session.scalars(select(BowlerWord).where(BowlerWord.bowler_id == bowler.id)).all()
    for row in rows:
        if (row.word, row.kind) not in wanted:
            session.delete(row)
    known = {(row.word, row.kind) for row in rows}
    session.add_all(BowlerWord(bowler_id=bowler.id, word=w, kind=k) for w, k in sorted(wanted - known))


def _list_former(session: Session, bowler_id: int) -> list[Former]:
    """Returns under what else a bowler was recorded: in the records merged into this one, and here before that."""
    open_mergers = select(Merger).where(Merger.kept_id == bowler_id, Merger.parted_at.is_(None))
    found: list[Former] = []
    for merger in session.scalars(open_mergers.options(joinedload(Merger.gone)).order_by(Merger.id)):
        before, gone = merger.kept_before, merger.gone
        found.append(Former(*(before.get(name, "") for name in Former._fields)))
        found.append(Former(gone.name, gone.phone, gone.league))
        found += _list_former(session, gone.id)
    return found


def rebuild_index(session: Session) -> int:
    """Rebuilds the index from the records; returns the number of bowlers in it."""
    session.execute(delete(BowlerWord))
    serials: dict[int, list[str]] = defaultdict(list)
    for bowler_id, serial in session.execute(
        select(Ball.bowler_id, Ball.serial).where(Ball.serial != "", Ball.removed_at.is_(None))
    ):
        serials[bowler_id].append(serial)
    made_by: dict[int, list[int]] = defaultdict(list)
    for bowler_id, shop_id in session.execute(_MADE_BY):
        made_by[bowler_id].append(shop_id)
    count, batch = 0, []
    for bowler in session.scalars(select(Bowler).where(Bowler.erased_at.is_(None)).execution_options(yield_per=1000)):
        own = list_words(bowler, serials.get(bowler.id, ()), made_by.get(bowler.id, ()))
        batch += [{"bowler_id": bowler.id, "word": w, "kind": k} for w, k in own]
        count += 1
        if len(batch) > 10_000:
            session.execute(insert(BowlerWord), batch)
            batch = []
    if batch:
        session.execute(insert(BowlerWord), batch)
    for kept in session.scalars(select(Bowler).where(Bowler.id.in_(select(Merger.kept_id)))).all():
        index_bowler(session, kept)
    words.forget(session)
    return count


def is_index_missing(session: Session) -> bool:
    """Whether there are bowlers but no index, as after the migration that adds the table."""
    has_bowlers = session.scalar(select(Bowler.id).where(Bowler.erased_at.is_(None)).limit(1)) is not None
    return has_bowlers and session.scalar(select(BowlerWord.id).limit(1)) is None
