"""A cache of the search index: which words exist, which bowlers have them, and which words are similar.

`Words.refresh` reads the rows that any process has added to `bowler_word` since the last call.
Deleted rows are not noticed: a caller checks each match against the table.
"""

from array import array
from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from threading import Lock
from typing import TypeAlias
from weakref import WeakKeyDictionary

from jellyfish import metaphone, nysiis
from nicknames import NickNamer
from rapidfuzz import process
from rapidfuzz.distance import OSA
from sqlalchemy import Connection, Dialect, Engine, String, bindparam, cast, func, or_, select, union_all
from sqlalchemy.orm import Session

from app.db import READ_AT_ONE_MOMENT
from app.models import BowlerWord, Shop
from app.prepared import Asked, Prepared
from app.queries import constant
from app.services.word_owners import NO_FLAGS, Ids, Owners, contains, make_flags

KEPT_TO = "!"  # prefix of words that are not on the record but restrict bowlers: a hand, a house shop
NUMBER = "#"  # prefix of numbers, which are not cached: they need no correction
FIRST_OF_NAMES = "0"  # words of names and leagues sort from here on, after those with a prefix
LAST = "\U0010ffff"  # sorts after every letter
MOST_NEAR = 40
_SPARSE = 100  # bowlers for each owner of a word; flags of a rarer word would take more memory than they save time
Alternatives = dict[str, float]  # words that a typed one may mean, with their distances, nearest first

_TABLE, _SHOP = BowlerWord.__table__, Shop.__table__
HELD = or_(_TABLE.c.word < constant(NUMBER), _TABLE.c.word >= constant(FIRST_OF_NAMES))  # all words except numbers
_EVERY = (
    select(_TABLE.c.word, func.aggregate_strings(cast(_TABLE.c.bowler_id, String), ","))
    .where(HELD)
    .group_by(_TABLE.c.word)
    .order_by(_TABLE.c.word)
)
NewerRow: TypeAlias = tuple[int, str, int]
_NEWER: Prepared[NewerRow] = Prepared(  # with the shops, which are few, as number 0
    union_all(
        select(_TABLE.c.id, _TABLE.c.word, _TABLE.c.bowler_id).where(_TABLE.c.id > bindparam("read_to")),
        select(constant(0), _SHOP.c.name, _SHOP.c.id),
    )
)


class Words:
    """The distinct words of one database with their owners, indexed by spelling, length and sound."""

    def __init__(self) -> None:
        self.read_to = 0
        self.owners: dict[str, Ids] = {}
        self.flags: dict[str, bytearray] = {}  # of common words: by the id of a bowler, whether he has it
        self.shops: dict[int, str] = {}  # their names by id
        self.sorted: list[str] = []
        self.by_length: dict[int, list[str]] = defaultdict(list)
        self.by_sound: dict[str, list[str]] = defaultdict(list)
        self.shortened: dict[str, str] = {}  # by a word less one letter: its source words, separated by spaces
        self.lock = Lock()

    # Reading ----------------------------------------------------------------------------------------------------------

    def refresh(self, session: Session, *newer: Asked[NewerRow]) -> None:
        """Reads the committed rows added since the last call; takes those of `ask_newer` if nobody was faster."""
        with self.lock:
            for asked in newer:
                if asked.values["read_to"] == self.read_to:
                    return self._take(asked.rows)
            is_reading = session.in_transaction() and session.connection().get_execution_options().get("read_only")
            if self.read_to and is_reading:
                return self._read_newer(session.connection())
            with _get_engine(session).connect() as own:
                own.execution_options(**READ_AT_ONE_MOMENT)
                (self._read_newer if self.read_to else self._read_all)(own)

    def _read_newer(self, connection: Connection) -> None:
        self._take(_NEWER.fetch(connection, read_to=self.read_to))

    def _take(self, rows: Iterable[NewerRow]) -> None:
        for number, word, owner_id in rows:
            if number:
                self.add(word, [owner_id])
                self.read_to = max(number, self.read_to)
            else:
                self.shops[owner_id] = word

    def _read_all(self, connection: Connection) -> None:
        list_nicknames("")  # read once as well
        newest = connection.scalar(select(func.max(_TABLE.c.id))) or 0
        rows = connection.execute(_EVERY, execution_options={"stream_results": True, "yield_per": 1_000})
        for word, ids in rows:
            self.add(word, sorted(set(map(int, ids.split(",")))))
        self.flags = {word: make_flags(ids) for word, ids in self.owners.items() if ids[-1] < _SPARSE * len(ids)}
        self.read_to = newest
        self._read_newer(connection)

    def add(self, word: str, bowler_ids: Iterable[int]) -> None:
        """Adds owners to a word."""
        if word.startswith(NUMBER):
            return
        owners = self.owners.get(word)
        if owners is not None:
            for bowler_id in bowler_ids:
                if not contains(bowler_id, owners):
                    insort(owners, bowler_id)
                    self._set_flag(word, bowler_id)
            return
        self.owners[word] = array("I", bowler_ids)
        if word.startswith(KEPT_TO):
            return
        if not self.sorted or word > self.sorted[-1]:
            self.sorted.append(word)
        else:
            insort(self.sorted, word)
        if any(c.isdigit() for c in word):  # no error is looked for in a number
            return
        self.by_length[len(word)].append(word)
        for sound in list_sounds(word):
            self.by_sound[sound].append(word)
        for rest in _drop_each_letter(word):
            others = self.shortened.get(rest)
            self.shortened[rest] = f"{others} {word}" if others else word

    def _set_flag(self, word: str, bowler_id: int) -> None:
        flags = self.flags.get(word)
        if flags is None:
            return
        if bowler_id < len(flags):
            flags[bowler_id] = True
        else:  # many bowlers later; the list alone serves until the next start
            del self.flags[word]

    # Asking -----------------------------------------------------------------------------------------------------------

    def owners_of(self, words: Iterable[str]) -> Owners:
        known = [w for w in words if w in self.owners]
        return Owners([self.owners[w] for w in known], [self.flags.get(w, NO_FLAGS) for w in known])

    def commonness(self, word: str) -> int:
        return len(self.owners.get(word, ()))

    def begun_by(self, start: str) -> Sequence[str]:
        """Returns every word with this prefix, sorted."""
        return self.sorted[bisect_left(self.sorted, start) : bisect_left(self.sorted, start + LAST)]

    def near(self, word: str) -> Alternatives:
        """Returns words similar to this one: one typing error apart, alike in sound, or a nickname."""
        found: Alternatives = {word: 0.0} if word in self.owners else {}
        for other in list_nicknames(word):
            if other in self.owners:
                found.setdefault(other, 1.0)
        if len(word) < 3:
            return found
        alike = {
            other
            for rest in _drop_each_letter(word)
            if rest in self.shortened
            for other in self.shortened[rest].split()
        }
        for other in alike:
            if OSA.distance(word, other, score_cutoff=1) == 1:
                found.setdefault(other, 1.05 if _is_telling(word, other) else 1.1)
        for sound in list_sounds(word):
            for other in self.by_sound.get(sound, ()):
                found.setdefault(other, 1.2)
        return self._nearest(found)

    def farther(self, word: str) -> Alternatives:
        """Returns the words of `near` and those two typing errors apart."""
        found = self.near(word)
        if len(word) > 4:
            for length in range(len(word) - 2, len(word) + 3):
                known = self.by_length.get(length, ())
                alike = process.extract(word, known, scorer=OSA.distance, score_cutoff=2, limit=MOST_NEAR)
                for other, distance, _ in alike:
                    found.setdefault(other, distance + 0.1)
        return self._nearest(found)

    def nearly_begun(self, word: str) -> Alternatives:
        """Returns words that have a prefix one typing error apart from what has been typed so far."""
        starts = [w[: len(word)] for w in self.sorted]
        alike = process.extract(word, starts, scorer=OSA.distance, score_cutoff=1, limit=MOST_NEAR)
        return {self.sorted[at]: 1.0 + distance for _, distance, at in alike}

    def _nearest(self, found: Alternatives) -> Alternatives:
        ordered = sorted(found, key=lambda w: (found[w], -self.commonness(w)))
        return {w: found[w] for w in ordered[:MOST_NEAR]}


def _drop_each_letter(word: str) -> set[str]:
    """Returns the word and the word without each one of its letters: words one error apart share one of these.

    symspellpy keeps the same index. With the 16,000 words of 100,000 bowlers it was measured to answer one error as
    fast as these lines, in 21 MB instead of 12 MB for all of `Words`; an index for two errors takes 45 MB, four times
    as long to build and twice as long for one error, so two errors are looked for by length.
    """
    return {word, *(word[:i] + word[i + 1 :] for i in range(len(word)))}


def _is_telling(typed: str, word: str) -> bool:
    """Whether the error is a missing letter or two swapped ones: few other words are one such error apart."""
    return len(word) > len(typed) or (len(word) == len(typed) and sorted(word) == sorted(typed))


@lru_cache(maxsize=1_000)  # one look-up asks the same words again
def list_sounds(word: str) -> frozenset[str]:
    """Returns the word's phonetic codes, Metaphone in capitals and NYSIIS; none for other alphabets."""
    sounds = {metaphone(word), nysiis(word).lower()} if word.isascii() and len(word) > 2 else set()
    return frozenset(sound for sound in sounds if len(sound) > 1)


@cache
def _load_nicknames() -> NickNamer:
    return NickNamer()


@lru_cache(maxsize=2_000)  # bounded, because typed texts are unlimited
def list_nicknames(word: str) -> frozenset[str]:
    names = _load_nicknames()
    return frozenset(names.nicknames_of(word) | names.canonicals_of(word))


_known: WeakKeyDictionary[Dialect, Words] = WeakKeyDictionary()  # an engine and its readers share one dialect


def _get_engine(session: Session) -> Engine:
    bound = session.get_bind()
    return bound if isinstance(bound, Engine) else bound.engine


def ask_newer(engine: Engine) -> tuple[Asked[NewerRow], ...]:
    """Returns the query that refreshes this database's cache, for `get_words`; none before the cache was read."""
    words = _known.get(engine.dialect)
    return (_NEWER.ask(read_to=words.read_to),) if words and words.read_to else ()


def get_words(session: Session, *newer: Asked[NewerRow]) -> Words:
    """Returns the refreshed cache of this session's database; `newer` was fetched with other queries."""
    dialect = session.get_bind().dialect
    words = _known.get(dialect) or _known.setdefault(dialect, Words())
    words.refresh(session, *newer)
    return words


def forget(session: Session) -> None:
    """Drops the cache of this session's database."""
    _known.pop(session.get_bind().dialect, None)
