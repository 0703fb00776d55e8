"""Searches bowlers by anything on their record, misspelled or not; best match first, with the reason.

The table `bowler_word` is the index: a row for each word of a name, league, phone number and serial. A cache in memory
(`words.py`) holds which words exist, who has them and which are similar; the table confirms what the cache finds.

Exact and prefix matches come first. With fewer than ten of them, the search assumes that known words are right and
one other word is misspelled. `spanbook index` rebuilds the index.
"""

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache
from itertools import chain
from math import prod
from typing import TypeAlias

from sqlalchemy import and_, bindparam, or_, select
from sqlalchemy.orm import Session

from app.models import BowlerWord
from app.prepared import AnyAsked, Asked, Prepared, fetch_together
from app.queries import constant
from app.services import words
from app.services.bowler_words import TAIL, fold_words
from app.services.matches import Match, match_one
from app.services.questions import Question, parse_question
from app.services.word_owners import Narrowed, Owners
from app.services.words import LAST, NUMBER, Alternatives, Words

ENOUGH = 10  # with so many exact or prefix matches, spelling mistakes are not looked for
_OF_ONE_WORD = 4
_WEIGHED, _GUESSED = 300, 20  # bowlers from whom those who may be meant are chosen; of these, matched in full at most
_NAMED = 64  # bowlers with the very words typed, matched in full: who has no more words comes first
BESIDE = 16  # bowlers whose rows are fetched in one trip with their words; of more than these few are shown
_COMMON = 5_000  # bowlers; a longer list of owners is not read to its end
_FIRST = " "  # sorts before every letter
AskOf = Callable[[list[int]], Sequence[AnyAsked]]  # returns queries about bowlers by their ids


def _ask_nothing(_bowler_ids: list[int]) -> Sequence[AnyAsked]:
    return ()


def look_up(
    session: Session, text: str, limit: int, known: Words | None = None, ask_beside: AskOf = _ask_nothing
) -> list[Match]:
    """Returns the matching bowlers, best first: exact and prefix matches before similar words.

    Who looks many up at one moment gets the words once, and passes them as `known`. What is shown of the bowlers is
    fetched in the same round trip as their words, by the queries of `ask_beside` about those who may match, if few.
    """
    most = min(_GUESSED, limit + 4)
    question = parse_question(text)
    if not question.names and not question.numbers:
        return []
    known = known or words.get_words(session)
    question = replace(question, numbers=_pick_telling(question, known))
    if not question.names and not question.numbers:
        return []
    kept = _find_required(session, known, question)
    found = _find_exact(session, known, question, kept, most, ask_beside)
    if not found and question.names and (in_shops := _read_shops(known, question)):
        question = in_shops
        kept = _find_required(session, known, question)
        found = _find_exact(session, known, question, kept, most, ask_beside)
    if not found and question.names and question.numbers:  # a serial with letters: QL-1042
        serial = Question([], ["".join(fold_words(text))])
        found = _find_exact(session, known, serial, _find_required(session, known, serial), most, ask_beside)
        if found:
            return _rank(found.values(), known, limit)
    if question.names and len(found) < ENOUGH:
        for round_ in _list_guesses(known, question.names):
            more: dict[int, Match] = {}
            for typed, near in round_:
                ids = _find_near(known, near, kept, most) if all(near) else []
                others = [i for i in ids if i not in found]
                more |= _match_all(session, others, question, typed, near, ask_beside)
            if found or more:  # distant words are tried only if nobody else is found
                found |= more
                break
    return _rank(found.values(), known, limit)


def _pick_telling(question: Question, known: Words) -> list[str]:
    """Returns the words with a digit that are long enough to be part of a number, or that equal a word of a name."""
    least = 2 if question.names or len(question.numbers) > 1 else 3
    return [w for w in question.numbers if len(w) >= least or w in known.owners]


def _rank(found: Iterable[Match], known: Words, limit: int) -> list[Match]:
    """Sorts by distance, then spreads equal matches over different words, the most common words first."""
    seen: dict[tuple[str, ...], int] = defaultdict(int)
    placed = []
    for one in sorted(found, key=lambda match: match.order):
        own = tuple(sorted(one.words))
        placed.append((one.distance, seen[own], -prod(known.commonness(w) for w in own), one))
        seen[own] += 1
    return [one for *_, one in sorted(placed, key=lambda p: p[:3])[:limit]]


# Whose words they are -------------------------------------------------------------------------------------------------

_TABLE = BowlerWord.__table__
_NUMBERED: Prepared[tuple[int]] = Prepared(
    select(_TABLE.c.bowler_id)
    .where(
        or_(
            and_(_TABLE.c.word >= bindparam("low"), _TABLE.c.word < bindparam("high")),
            and_(_TABLE.c.word >= bindparam("low_tail"), _TABLE.c.word < bindparam("high_tail")),
        )
    )
    .limit(constant(_COMMON))
)


def _find_required(session: Session, known: Words, question: Question) -> list[Owners]:
    """Returns the owners to which the search is restricted: by number, hand and house shop."""
    kept = [known.owners_of(choice) for choice in question.kept_to]
    for typed in question.numbers:
        part, tail = NUMBER + typed, TAIL + typed[::-1]
        values = {"low": part, "high": part + LAST, "low_tail": tail, "high_tail": tail + LAST}
        named = set(chain.from_iterable(known.owners_of(known.begun_by(typed)).lists))
        ids = array("I", sorted(named.union(i for (i,) in _NUMBERED.fetch(session, **values))))
        if len(ids) < _COMMON // 4 or not question.names:  # words with very many owners are checked at the end only
            kept.append(Owners([ids]))
    return kept


_OF_PHONE: Prepared[tuple[int]] = Prepared(
    select(_TABLE.c.bowler_id)
    .where(_TABLE.c.word >= bindparam("low"), _TABLE.c.word < bindparam("high"), _TABLE.c.kind == constant("phone"))
    .limit(constant(_GUESSED))
)


def find_by_phone(session: Session, phone: str) -> list[int]:
    """Returns bowlers whose number ends in the same seven digits; a shorter number must match in full."""
    digits = "".join(c for c in phone if c.isdigit())
    tail = TAIL + digits[::-1][:7]
    values = {"low": tail, "high": tail + (LAST if len(digits) >= 7 else _FIRST)}
    return list(dict.fromkeys(i for (i,) in _OF_PHONE.fetch(session, **values))) if digits else []


def _find_exact(
    session: Session, known: Words, question: Question, kept: list[Owners], most: int, ask_beside: AskOf
) -> dict[int, Match]:
    """Returns bowlers with the typed words or words that begin with them, exact matches first."""
    names = question.names
    begun = [known.begun_by(w) for w in names]
    if not all(begun):
        return {}
    ids: list[int] = []
    if len(names) > 1:
        ids = _intersect([*kept, *(known.owners_of([w]) for w in names)], _NAMED)
    if len(ids) < ENOUGH:
        ids = list(dict.fromkeys([*ids, *_intersect([*kept, *map(known.owners_of, begun)], most)]))[:most]
    return _match_all(session, ids, question, names, [{} for _ in names], ask_beside)


def _intersect(owners: list[Owners], most: int) -> list[int]:
    """Returns up to `most` bowlers that all owners share, iterating over the smallest list."""
    rarest = min(owners, key=lambda o: o.count)
    return rarest.shared_with([o for o in owners if o is not rarest], most)


def _find_near(known: Words, near: list[Alternatives], kept: list[Owners], most: int) -> list[int]:
    """Returns up to `most` bowlers that have, for each typed word, one of its alternatives.

    With many, a few are taken for each alternative of the word that has most, nearest first, so that none hides others.
    """
    owners = [known.owners_of(n) for n in near]
    every = [*kept, *owners]
    widest = max(range(len(near)), key=lambda i: len(near[i]))
    others = [o for o in every if o is not owners[widest]]
    if others and min(o.count for o in every) <= _COMMON:
        ids = _intersect(every, _WEIGHED)
        if len(ids) <= most:
            return ids
        pick = Narrowed(ids).pick
        return _take_some((pick(known.owners[word], _OF_ONE_WORD) for word in near[widest]), most)
    return _take_some((_intersect([known.owners_of([word]), *others], _OF_ONE_WORD) for word in near[widest]), most)


def _take_some(lists: Iterable[list[int]], most: int) -> list[int]:
    """Returns the bowlers of these lists, in their order, until there are enough to be matched in full."""
    few: dict[int, None] = {}
    for some in lists:
        few |= dict.fromkeys(some)
        if len(few) >= most:
            break
    return list(few)[:most]


Guess = tuple[list[str], list[Alternatives]]  # (typed words, alternatives of each)


def _list_guesses(known: Words, typed: list[str]) -> Iterable[list[Guess]]:
    """Yields rounds of guesses, most likely first; a round is tried only if the rounds before found nobody.

    The first rounds assume that known words are right and that only one other word is misspelled.
    """
    is_known = [w in known.owners for w in typed]
    near_one = cache(known.near)  # of a known word asked in the later rounds only
    begun = [dict.fromkeys(known.begun_by(w)[: words.MOST_NEAR], 0.1) for w in typed]
    meant: list[Alternatives] = [{w: 0.0} if own else near_one(w) for w, own in zip(typed, is_known, strict=True)]
    if any(is_known) and not all(is_known):
        yield [(typed, meant)]
    near = [near_one(w) for w in typed]
    if all(is_known) and len(typed) > 1:
        yield [(typed, [*meant[:i], near[i], *meant[i + 1 :]]) for i in range(len(typed))]
    yield [(typed, [n or b for n, b in zip(near, begun, strict=True)])]
    if len(typed) > 1:
        joined = "".join(typed)
        yield [([joined], [known.near(joined)])]
    yield [(typed, [known.farther(w) or b for w, b in zip(typed, begun, strict=True)])]
    yield [(typed, [n or known.nearly_begun(w) if len(w) > 2 else n for n, w in zip(near, typed, strict=True)])]


def _read_shops(known: Words, question: Question) -> Question | None:
    """Returns the question with words that begin a word of a shop's name read as the house shop."""
    meant: dict[int, list[str]] = {}
    for shop_id, name in known.shops.items():
        own = fold_words(name)
        typed = [w for w in question.names if len(w) > 2 and any(o.startswith(w) for o in own)]
        if typed:
            meant[shop_id] = typed
    most = max(map(len, meant.values()), default=0)
    best = {shop_id: " ".join(typed) for shop_id, typed in meant.items() if len(typed) == most}
    taken = {w for typed in best.values() for w in typed.split()}
    return replace(question, names=[w for w in question.names if w not in taken], shops=best) if best else None


# What answers, and why ------------------------------------------------------------------------------------------------

_own = select(_TABLE.c.bowler_id, _TABLE.c.word, _TABLE.c.kind).where(
    _TABLE.c.bowler_id.in_(bindparam("ids", expanding=True))
)
OwnWord: TypeAlias = tuple[int, str, str]  # a bowler's id, a word of the record, and of which kind it is
_OWN: Prepared[OwnWord] = Prepared(_own)
_OWN_WITHOUT_NUMBERS: Prepared[OwnWord] = Prepared(_own.where(words.HELD))
_OWN_NAMES: Prepared[OwnWord] = Prepared(_own.where(_TABLE.c.word >= constant(words.FIRST_OF_NAMES)))


def ask_words(bowler_ids: list[int], question: Question) -> Asked[OwnWord]:
    """Returns the query of these bowlers' words, without the kinds that this question does not ask for."""
    without_numbers = _OWN_WITHOUT_NUMBERS if question.kept_to else _OWN_NAMES
    return (_OWN if question.numbers else without_numbers).ask(ids=bowler_ids)


def _match_all(
    session: Session,
    ids: list[int],
    question: Question,
    typed: list[str],
    near: list[Alternatives],
    ask_beside: AskOf,
) -> dict[int, Match]:
    """Matches each of these bowlers by the current index; a bowler whose record has changed drops out."""
    if not ids:
        return {}
    own: dict[int, dict[str, str]] = {i: {} for i in ids}
    asked = ask_words([*own], question)
    fetch_together(session, asked, *(ask_beside([*own]) if len(own) <= BESIDE else ()))
    for bowler_id, word, kind in asked.rows:
        own[bowler_id].setdefault(word, kind)
    kept_to = question.kept_to
    fitting = (i for i in own if all(choice & own[i].keys() for choice in kept_to))
    answers = (match_one(i, own[i], question, typed, near) for i in fitting)
    return {answer.bowler_id: answer for answer in answers if answer}
