"""How well a bowler's words match what was typed, and why, in words."""

from typing import NamedTuple

from rapidfuzz.distance import OSA

from app.services.bowler_words import TAIL, make_shop_word
from app.services.questions import Question
from app.services.words import NUMBER, Alternatives, list_nicknames, list_sounds

FORMERLY = "also recorded as"  # a name of a merged record
_LEAGUES_AFTER = 0.01  # a match in a name sorts before one in a league
_FAR = 9.0  # no match


class Pair(NamedTuple):
    """A typed word with the word of the record that it matches."""

    typed: str
    word: str
    kind: str
    distance: float


class Match(NamedTuple):
    """One matching bowler: its distance from what was typed, and the matching words of the record."""

    bowler_id: int
    distance: float
    pairs: tuple[Pair, ...]
    more: tuple[str, ...]  # what matches besides words: numbers, a house shop
    words: dict[str, str]  # word of the record: the typed word that it matches
    unsaid: int  # words of the name that were not typed

    @property
    def reason(self) -> str:
        """Why this bowler matches, in words; "" where the words are those of the name."""
        return ", ".join(dict.fromkeys(filter(None, [*map(_describe_pair, self.pairs), *self.more])))

    @property
    def order(self) -> tuple[float, int]:
        """What the rows of a search are sorted by, everywhere: nearest first, then the fewest words left unsaid."""
        return self.distance, self.unsaid


def match_one(
    bowler_id: int, own: dict[str, str], question: Question, typed: list[str], near: list[Alternatives]
) -> Match | None:
    """Assigns to each typed word the nearest word of the bowler; each of the bowler's words is used once at most."""
    pairs: list[Pair] = []
    more: list[str] = []
    matched: dict[str, str] = {}
    for said, meant in zip(typed, near, strict=True):
        best, found = _FAR, ""
        for word, kind in own.items():
            far = 0.0 if word == said else 0.1 if word.startswith(said) else meant.get(word, _FAR)
            if far < best and kind == "league":
                far += _LEAGUES_AFTER
            if far < best and word not in matched:
                best, found = far, word
        if not found:
            return None
        matched[found] = said
        pairs.append(Pair(said, found, own[found], best))
    for said in question.numbers:
        kinds = {kind for word, kind in own.items() if word.startswith((said, NUMBER + said, TAIL + said[::-1]))}
        if not kinds:
            return None
        matched |= {word: said for word in own if word.startswith(said)}
        more += [f"{kind} {said}" for kind in sorted(kinds - {"name"})]
    more += [
        f"{'inner from' if own[word] == 'made' else 'house shop'} {name}"
        for shop_id, name in question.shops.items()
        if (word := make_shop_word(shop_id)) in own
    ]
    unsaid = sum(kind == "name" and word not in matched for word, kind in own.items())
    return Match(bowler_id, sum(pair.distance for pair in pairs), tuple(pairs), tuple(more), matched, unsaid)


def _describe_pair(pair: Pair) -> str:
    """Describes how a typed word matches; "" for one of the name that is the same or begun so."""
    if pair.kind == "league":
        return f"league {pair.word}"
    if pair.kind == "former":
        return f"{FORMERLY} {pair.word}"
    return _describe_match(pair.typed, pair.word) if pair.distance > 0.1 else ""


def _describe_match(typed: str, word: str) -> str:
    """Describes why a word that differs from the typed one matches."""
    if typed in list_nicknames(word) or word in list_nicknames(typed):
        return f"also called {word}"
    slips = OSA.distance(typed, word)
    if slips == 1:
        return "one letter off"
    if list_sounds(typed) & list_sounds(word):
        return "sounds like"
    return "two letters off" if slips == 2 else "begins nearly so"
