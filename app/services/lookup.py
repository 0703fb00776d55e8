"""Finding bowlers by anything that is on their record, spelled right or wrong; best first, with the reason.

Every word of a name, league, phone number and ball serial lies folded in `bowler_word`. The distinct words are held in
memory: whether a word can be begun at all, how common it is, what is near it by spelling, sound or nickname is answered
there, and then one indexed query finds the bowlers. The same on any database.
"""

import re
import unicodedata
from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from threading import Lock
from typing import Any
from weakref import WeakKeyDictionary

from jellyfish import metaphone
from nicknames import NickNamer
from rapidfuzz import process
from rapidfuzz.distance import OSA
from sqlalchemy import ColumnElement, Engine, Select, and_, bindparam, delete, exists, func, insert, or_, select
from sqlalchemy.orm import Session

from app.db import READ_ONLY
from app.models import Ball, Bowler, BowlerWord

ENOUGH = 10  # with so many exact or prefix matches, spelling mistakes are not looked for
_MOST_WORDS, _MOST_NEAR, _MOST_ROWS, _OF_ONE_WORD = 5, 40, 60, 3
_LETTERS = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ß": "ss", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i"})
_LAST = "\U0010ffff"  # sorts after every letter
_NUMBER, _TAIL = "#", "#~"  # before the words of numbers, and of numbers backwards; both sort before every letter
_HANDS = {"left": "left", "lefty": "left", "lefthanded": "left", "right": "right", "righthanded": "right"}
_HAND_WORDS = {"hand", "handed", "hander", "bowler", "league"}  # said with a hand or a league, on no record


def folded_words(text: str) -> list[str]:
    """Lower-case words of any alphabet, without accents: what records are found by."""
    plain = unicodedata.normalize("NFKD", text.casefold().translate(_LETTERS))
    return re.findall(r"[^\W_]+", "".join(c for c in plain if not unicodedata.combining(c)))


def name_words(name: str) -> list[str]:
    """The words of a name, and those with particles written as one: van den Berg is found as vandenberg too."""
    words = folded_words(name)
    joined = ["".join(words[i:]) for i in range(1, len(words) - 1)]
    return list(dict.fromkeys(w[:60] for w in [*words, *joined]))


def number_words(text: str) -> list[str]:
    """A phone number or serial by its parts, by the whole, and backwards, so that its last digits find it too.

    They are kept apart from the words of names by a mark in front: few people share one, and nobody misspells them
    into a name.
    """
    groups = [g for g in folded_words(text) if len(g) > 1 and any(c.isdigit() for c in g)]
    whole = "".join(folded_words(text))
    told = [*groups, whole] if whole and any(c.isdigit() for c in whole) else groups
    return list(dict.fromkeys([*(_NUMBER + w for w in told), *([_TAIL + whole[::-1]] if told else [])]))


def words_of(bowler: Bowler, serials: Iterable[str]) -> list[tuple[str, str]]:
    """(word, kind) of everything a bowler is found by."""
    told = [
        *((w, "name") for w in name_words(bowler.name)),
        *((w, "phone") for w in number_words(bowler.phone)),
        *((w, "league") for w in folded_words(bowler.league) if w not in _HAND_WORDS),
        *((w, "ball") for serial in serials for w in number_words(serial)),
    ]
    return list(dict.fromkeys((word[:60], kind) for word, kind in told if word))


def index(session: Session, bowler: Bowler) -> None:
    """Keeps what a bowler is found by in step with the record."""
    serials = session.scalars(select(Ball.serial).where(Ball.bowler_id == bowler.id)).all()
    wanted = set(words_of(bowler, serials))
    rows = session.scalars(select(BowlerWord).where(BowlerWord.bowler_id == bowler.id)).all()
    for row in rows:
        if (row.word, row.kind) not in wanted:
            session.delete(row)
    known = {(row.word, row.kind) for row in rows}
    session.add_all(BowlerWord(bowler_id=bowler.id, word=w, kind=k) for w, k in sorted(wanted - known))


def rebuild(session: Session) -> int:
    """Makes the index anew from the records; answers how many bowlers it holds."""
    session.execute(delete(BowlerWord))
    serials: dict[int, list[str]] = defaultdict(list)
    for bowler_id, serial in session.execute(select(Ball.bowler_id, Ball.serial).where(Ball.serial != "")):
        serials[bowler_id].append(serial)
    count, batch = 0, []
    for bowler in session.scalars(select(Bowler).where(Bowler.erased_at.is_(None)).execution_options(yield_per=1000)):
        batch += [
            {"bowler_id": bowler.id, "word": w, "kind": k} for w, k in words_of(bowler, serials.get(bowler.id, ()))
        ]
        count += 1
        if len(batch) > 10_000:
            session.execute(insert(BowlerWord), batch)
            batch = []
    if batch:
        session.execute(insert(BowlerWord), batch)
    _known.pop(_engine(session), None)
    return count


def is_missing(session: Session) -> bool:
    """Whether there are bowlers and no index, as after the migration that brought it."""
    has_bowlers = session.scalar(select(Bowler.id).where(Bowler.erased_at.is_(None)).limit(1)) is not None
    return has_bowlers and session.scalar(select(BowlerWord.id).limit(1)) is None


# The words in memory --------------------------------------------------------------------------------------------------


@cache
def _nicknamer() -> NickNamer:
    return NickNamer()


class Vocabulary:
    """The distinct words of one database: sorted, counted, by length and by sound."""

    def __init__(self) -> None:
        self.read_to = 0
        self.counts: dict[str, int] = {}
        self.sorted: list[str] = []
        self.by_length: dict[int, list[str]] = defaultdict(list)
        self.by_sound: dict[str, list[str]] = defaultdict(list)
        self.lock = Lock()

    def refresh(self, engine: Engine) -> None:
        """Reads the words added since the last time, by whichever process; only what has been committed is seen."""
        table = BowlerWord.__table__
        with self.lock, engine.connect() as connection:
            connection.execution_options(**READ_ONLY)
            if self.read_to:
                for number, word in connection.execute(_NEWER, {"read_to": self.read_to}):
                    self._add(word, 1)
                    self.read_to = number
                return
            self.read_to = connection.scalar(select(func.max(table.c.id))) or 0
            every = select(table.c.word, func.count()).where(table.c.word >= "0").group_by(table.c.word)
            for word, count in connection.execute(every):
                self._add(word, count)

    def _add(self, word: str, count: int) -> None:
        if word.startswith(_NUMBER):
            return
        seen = self.counts.get(word, 0)
        self.counts[word] = seen + count
        if seen:
            return
        if not self.sorted or word > self.sorted[-1]:
            self.sorted.append(word)
        else:
            insort(self.sorted, word)
        self.by_length[len(word)].append(word)
        sound = _sound(word)
        if sound:
            self.by_sound[sound].append(word)

    def begun_by(self, start: str) -> Sequence[str]:
        """Every word that begins so, in order."""
        return self.sorted[bisect_left(self.sorted, start) : bisect_left(self.sorted, start + _LAST)]

    def near(self, word: str) -> dict[str, float]:
        """Words that may be meant by one: by slips of the keys, by sound, or as a nickname; each with its distance."""
        found: dict[str, float] = {word: 0.0} if word in self.counts else {}
        for other in _nicknames(word):
            if other in self.counts:
                found.setdefault(other, 1.0)
        if len(word) < 3:
            return found
        slips = 1 if len(word) <= 4 else 2
        for length in range(len(word) - slips, len(word) + slips + 1):
            alike = process.extract(
                word, self.by_length.get(length, ()), scorer=OSA.distance, score_cutoff=slips, limit=_MOST_NEAR
            )
            for other, distance, _ in alike:
                found.setdefault(other, float(distance) + 0.1)
        for other in self.by_sound.get(_sound(word), ()):
            found[other] = min(found.get(other, 9.0), 1.2)
        nearest = sorted(found, key=lambda w: (found[w], -self.counts[w]))[:_MOST_NEAR]
        return {w: found[w] for w in nearest}

    def nearly_begun(self, word: str) -> dict[str, float]:
        """Words whose beginning is one slip from what has been typed so far."""
        starts = [w[: len(word)] for w in self.sorted]
        alike = process.extract(word, starts, scorer=OSA.distance, score_cutoff=1, limit=_MOST_NEAR)
        return {self.sorted[at]: 1.0 + distance for _, distance, at in alike}


def _sound(word: str) -> str:
    """How a word sounds, two letters of it or more; empty for other alphabets."""
    sound = metaphone(word) if word.isascii() and len(word) > 2 else ""
    return sound if len(sound) > 1 else ""


@lru_cache(maxsize=10_000)  # by what people type, which has no end
def _nicknames(word: str) -> frozenset[str]:
    names = _nicknamer()
    return frozenset(names.nicknames_of(word) | names.canonicals_of(word))


_known: WeakKeyDictionary[Engine, Vocabulary] = WeakKeyDictionary()


def _engine(session: Session) -> Engine:
    bound = session.get_bind()
    return bound if isinstance(bound, Engine) else bound.engine


def vocabulary(session: Session) -> Vocabulary:
    """The words of this session's database, up to date."""
    engine = _engine(session)
    known = _known.setdefault(engine, Vocabulary())
    known.refresh(engine)
    return known


# Looking up -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Found:
    """One bowler found: how far from what was typed, why, and which words of the record answer it."""

    bowler_id: int
    distance: float
    reason: str
    words: dict[str, str] = field(default_factory=dict)  # word of the record: the typed word it answers


@dataclass(frozen=True)
class Asked:
    """What was typed: its words, and a hand to keep to."""

    words: list[str]
    hand: str


def asked(text: str) -> Asked:
    words = folded_words(text)
    hand = next((_HANDS[w] for w in words if w in _HANDS), "")
    if len(words) > 1:
        words = [w for w in words if w not in _HANDS and w not in _HAND_WORDS]
    else:
        hand = ""
    return Asked([w[:60] for w in words][:_MOST_WORDS], hand)


Alternatives = dict[str, float]


def look_up(session: Session, text: str, limit: int) -> list[Found]:
    """Bowlers that answer what was typed, best first: exact and begun words before any that are only near."""
    question = asked(text)
    names, numbers = _sorted_out(question.words)
    if not names and not numbers:
        return []
    known = vocabulary(session)
    fixed = [_is_number(w) for w in numbers]
    found: dict[int, Found] = {}
    right = [known.begun_by(w) for w in names]
    if all(right):
        begun = [_begins(w, _weight(known, r)) for w, r in zip(names, right, strict=True)]
        meant = [{w: 0.1} for w in names]
        found = _answers(session, _bowlers_with(session, question, fixed + begun), names, meant, numbers)
    if names and len(found) < ENOUGH:
        for typed, near in _guesses(known, names, right):
            if all(near):
                is_alone = len(near) == 1 and not fixed
                conditions = [_is_one_of(n, _weight(known, n)) for n in near]
                ids = _few_of_each(session, question, near[0]) if is_alone else None
                ids = ids or _bowlers_with(session, question, fixed + conditions)
                more = _answers(session, [i for i in ids if i not in found], typed, near, numbers)
                if more:
                    found |= more
                    break
    return sorted(found.values(), key=lambda f: f.distance)[:limit]


def _sorted_out(words: list[str]) -> tuple[list[str], list[str]]:
    """(words of names, numbers of at least two digits or letters)."""
    has_digit = [any(c.isdigit() for c in w) for w in words]
    names = [w for w, digit in zip(words, has_digit, strict=True) if not digit]
    numbers = [w for w, digit in zip(words, has_digit, strict=True) if digit]
    least = 2 if names or len(numbers) > 1 else 3
    return names, [w for w in numbers if len(w) >= least]


def _guesses(
    known: Vocabulary, words: list[str], right: list[Sequence[str]]
) -> Iterable[tuple[list[str], list[Alternatives]]]:
    """(words, what each may mean), likeliest first; each is tried only if the one before found nobody.

    Words that are somebody's, letter for letter, are first taken as meant, and only the others as wrong.
    """
    is_known = [w in known.counts for w in words]
    if any(is_known) and not all(is_known):
        yield words, [{w: 0.0} if own else known.near(w) for w, own in zip(words, is_known, strict=True)]
    near = [known.near(w) for w in words]
    yield words, [n or dict.fromkeys(r[:_MOST_NEAR], 0.1) for n, r in zip(near, right, strict=True)]
    if len(words) > 1:
        joined = "".join(words)
        yield [joined], [known.near(joined)]
    yield words, [n or known.nearly_begun(w) if len(w) > 2 else n for n, w in zip(near, words, strict=True)]


def _weight(known: Vocabulary, words: Iterable[str]) -> int:
    return sum(known.counts[w] for w in words)


@dataclass(frozen=True)
class Condition:
    """What one of a bowler's words must be, how common that is, and its values for a prepared statement."""

    kind: str
    weight: int
    values: dict[str, Any]


def _begins(word: str, weight: int) -> Condition:
    return Condition("begins", weight, {"low": word, "high": word + _LAST})


def _is_one_of(words: Iterable[str], weight: int) -> Condition:
    return Condition("one_of", weight, {"any": list(words)})


def _is_number(word: str) -> Condition:
    """Begins a part of a number, or is how it ends; numbers are rare."""
    part, tail = _NUMBER + word, _TAIL + word[::-1]
    return Condition("number", 1, {"low": part, "high": part + _LAST, "low_tail": tail, "high_tail": tail + _LAST})


def _bowlers_with(session: Session, question: Asked, conditions: list[Condition]) -> list[int]:
    """Bowlers that have a word for each condition, found through the rarest."""
    ordered = sorted(conditions, key=lambda c: c.weight)
    values = {f"{name}{i}": value for i, c in enumerate(ordered) for name, value in c.values.items()}
    statement = _prepared(tuple(c.kind for c in ordered), bool(question.hand))
    rows = session.scalars(statement, values | ({"hand": question.hand} if question.hand else {})).all()
    return list(dict.fromkeys(rows))[:_MOST_ROWS]


@cache
def _prepared(kinds: tuple[str, ...], has_hand: bool) -> Select[Any]:
    """The statement for conditions of these kinds, built once: building costs more than asking."""
    rows = [BowlerWord.__table__.alias(f"w{i}") for i in range(len(kinds))]
    first = rows[0]
    query = select(first.c.bowler_id).where(_holds(first, kinds[0], 0)).limit(_MOST_ROWS * 2)
    if len(kinds) == 1:
        query = query.order_by(first.c.word)
    for i, other in enumerate(rows[1:], 1):
        query = query.where(exists().where(other.c.bowler_id == first.c.bowler_id, _holds(other, kinds[i], i)))
    if has_hand:
        table = Bowler.__table__
        query = query.where(exists().where(table.c.id == first.c.bowler_id, table.c.hand == bindparam("hand")))
    return query


def _holds(row: Any, kind: str, i: int) -> ColumnElement[bool]:
    if kind == "one_of":
        return row.c.word.in_(bindparam(f"any{i}", expanding=True))  # type: ignore[no-any-return]
    begins = and_(row.c.word >= bindparam(f"low{i}"), row.c.word < bindparam(f"high{i}"))
    if kind == "begins":
        return begins
    return or_(begins, and_(row.c.word >= bindparam(f"low_tail{i}"), row.c.word < bindparam(f"high_tail{i}")))


def _few_of_each(session: Session, question: Asked, near: Alternatives) -> list[int]:
    """A few bowlers for each word that one typed word may mean, nearest first: one name would fill the list."""
    query = _few(bool(question.hand))
    values: dict[str, Any] = {"any": list(near)} | ({"hand": question.hand} if question.hand else {})
    rows = sorted(session.execute(query, values), key=lambda r: (near[r.word] + r.place * 0.01, r.bowler_id))
    return list(dict.fromkeys(r.bowler_id for r in rows))[:_MOST_ROWS]


@cache
def _few(has_hand: bool) -> Select[Any]:
    words, bowlers = BowlerWord.__table__, Bowler.__table__
    place = func.row_number().over(partition_by=words.c.word, order_by=words.c.bowler_id).label("place")
    some = select(words.c.bowler_id, words.c.word, place).where(words.c.word.in_(bindparam("any", expanding=True)))
    if has_hand:
        some = some.join(bowlers, bowlers.c.id == words.c.bowler_id).where(bowlers.c.hand == bindparam("hand"))
    ranked = some.subquery()
    return select(ranked).where(ranked.c.place <= _OF_ONE_WORD)


_WORDS = BowlerWord.__table__
_OWN_WORDS = select(_WORDS.c.bowler_id, _WORDS.c.word, _WORDS.c.kind).where(
    _WORDS.c.bowler_id.in_(bindparam("ids", expanding=True))
)
_NEWER = select(_WORDS.c.id, _WORDS.c.word).where(_WORDS.c.id > bindparam("read_to")).order_by(_WORDS.c.id)


def _answers(
    session: Session, ids: list[int], words: list[str], near: list[Alternatives], numbers: list[str]
) -> dict[int, Found]:
    """How well each of these bowlers answers what was typed, and why."""
    if not ids:
        return {}
    own: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for bowler_id, word, kind in session.execute(_OWN_WORDS, {"ids": ids}).all():
        own[bowler_id].append((word, kind))
    return {i: _answer(i, own[i], words, near, numbers) for i in ids}


def _answer(
    bowler_id: int, own: list[tuple[str, str]], words: list[str], near: list[Alternatives], numbers: list[str]
) -> Found:
    """Each typed word is answered by the nearest word of the bowler's, and each of those answers one at most."""
    total, reasons, matched = 0.0, [], {}
    for typed, meant in zip(words, near, strict=True):
        best, word, kind = 9.0, "", ""
        for other, what in own:
            far = 0.0 if other == typed else 0.1 if other.startswith(typed) else meant.get(other, 9.0)
            if far < best and other not in matched:
                best, word, kind = far, other, what
        total += best
        matched[word] = typed
        reasons.append(f"league {word}" if kind == "league" else _why(typed, word) if 0.1 < best < 9 else "")
    for typed in numbers:
        kinds = {kind for word, kind in own if word.startswith((_NUMBER + typed, _TAIL + typed[::-1]))}
        reasons += [f"{kind} {typed}" for kind in sorted(kinds)]
    return Found(bowler_id, total, ", ".join(dict.fromkeys(filter(None, reasons))), matched)


def _why(typed: str, word: str) -> str:
    """In words, why a word that is not the typed one counts all the same."""
    if typed in _nicknames(word) or word in _nicknames(typed):
        return f"also called {word}"
    slips = OSA.distance(typed, word)
    if slips == 1:
        return "one letter off"
    if _sound(typed) and _sound(typed) == _sound(word):
        return "sounds like"
    return "two letters off" if slips == 2 else "begins nearly so"
