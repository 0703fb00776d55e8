"""Parts a line of several measures, `4 3/8 1/4 r 1/8 l 31/32`, into the cells of its fields.

Every way of parting that gives as many measures as are wanted is tried, and each piece is read as a cell of its own
column would be. One way that asks less than every other is taken; otherwise the line is asked.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.sheets.damages import MOST_CHOICES
from app.sheets.directions import WAY_WORDS
from app.sheets.fields import FIELDS
from app.sheets.parts import Part, clean_text

_PIECE = re.compile(r"[a-z←→]+\.?|[^a-z←→]+")
_ALONE = {"?", "??", "-", "--", "n/a", "na", "unknown", "unk", "none", "zero", "straight", "nil", "same", "ditto"}
_GLUE = {"+", "@", "oval", "sweep", "at", "by", "deg"}  # an oval stays with its hole
_BEHIND = {"mm", "cm", "in", "inch", "inches", "thou", "°", '"', "full", "strong", "heavy", "plus", "shy", "light"}
_PITCHES = {"vertical", "lateral", "pitch"}
_SURE = re.compile(r"[;|]|,(?=\s)|,$")
_WHOLE = re.compile(r"[1-9]\d?")
_MOST_WAYS = 400
MARK = "; "  # between measures that are parted for certain

Pieces = tuple[str, ...]
ReadPiece = Callable[[str, str], Part]  # of a field's name and a text


@dataclass(frozen=True)
class Parted:
    """What became of a line: a text for each field, or the question about it with other ways to part it."""

    cells: dict[str, str]
    message: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Token:
    text: str
    is_measure: bool
    is_sure_start: bool  # nothing before it belongs to it


def part_line(line: str, names: Sequence[str], read: ReadPiece) -> Parted:
    """Returns the cells of a line, one for each of `names` in their order; an empty line has none."""
    tokens = list(_list_tokens(line))
    if not tokens:
        return Parted({})
    ways = list(dict.fromkeys(_list_ways(tokens, len(names))))
    if not ways:
        return Parted({}, _tell_count(tokens, len(names)))
    costs = {way: (_count_asked(way, names, read), _crowd_letters(way)) for way in ways}
    least = min(costs.values())
    best = [way for way in ways if costs[way] == least]
    if len(best) > 1:
        return Parted({}, "That can be parted in several ways. Which is meant?", _write_ways(best))
    if _parts_mixed(best[0], tokens):
        message = "A whole number and a fraction: two measures, or is one measure missing?"
        return Parted({}, message, _write_ways(best))
    return Parted(dict(zip(names, best[0], strict=True)))


def _write_ways(ways: Sequence[Pieces]) -> tuple[str, ...]:
    return tuple(MARK.join(way) for way in ways[:MOST_CHOICES])


def _tell_count(tokens: Sequence[_Token], wanted: int) -> str:
    counted = min((len(way) for way in _list_ways(tokens, 0)), default=0)
    more = f"It has {counted}. " if counted else ""
    return f"Not {wanted} measures. {more}Write ? for one that nobody knows, and - for one that is not on the card."


def _list_tokens(line: str) -> Iterator[_Token]:
    is_sure = False
    for stretch in _SURE.split(clean_text(line)):
        is_sure = True
        for chunk in stretch.split():
            pieces = [chunk] if chunk in _ALONE | _GLUE else _PIECE.findall(chunk)
            for text in pieces:
                has_figure = any(c.isdigit() for c in text)
                yield _Token(text, has_figure or text in _ALONE, is_sure)
                is_sure = False


def _list_ways(tokens: Sequence[_Token], wanted: int) -> Iterator[Pieces]:
    """Yields the ways of parting into `wanted` pieces with one measure each; into any number where `wanted` is 0."""
    ways: list[tuple[list[_Token], ...]] = [([tokens[0]],)]
    for before, token in pairwise(tokens):
        grown: list[tuple[list[_Token], ...]] = []
        for way in ways:
            if _may_join(way[-1], before, token):
                grown.append((*way[:-1], [*way[-1], token]))
            if _may_part(way[-1], before, token) and (not wanted or len(way) < wanted):
                grown.append((*way, [token]))
        ways = grown[:_MOST_WAYS]
    for way in ways:
        if (not wanted or len(way) == wanted) and all(any(t.is_measure for t in piece) for piece in way):
            yield tuple(" ".join(t.text for t in piece) for piece in way)


def _may_join(piece: Sequence[_Token], before: _Token, token: _Token) -> bool:
    if token.is_sure_start:
        return False
    if token.text in _GLUE or before.text in _GLUE:
        return True
    if before.text in _ALONE or token.text in _ALONE:
        return False
    if not token.is_measure:
        return True
    if before.is_measure:
        return _is_mixed(before, token)
    return not any(t.is_measure for t in piece)


def _may_part(piece: Sequence[_Token], before: _Token, token: _Token) -> bool:
    if token.is_sure_start:
        return True
    return token.text not in _GLUE | _BEHIND and before.text not in _GLUE and any(t.is_measure for t in piece)


def _is_mixed(before: _Token, token: _Token) -> bool:
    return bool(_WHOLE.fullmatch(before.text) and re.match(r"\d+/\d", token.text))


def _count_asked(way: Pieces, names: Sequence[str], read: ReadPiece) -> int:
    """Counts what each piece asks; a way such as `r` with a span or a size counts more."""
    asked = sum(read(name, text).state == "ask" for name, text in zip(names, way, strict=True))
    plain = [text for name, text in zip(names, way, strict=True) if FIELDS[name].kind not in _PITCHES]
    return asked + 2 * sum(bool(WAY_WORDS & set(re.findall(r"[a-z←→]+", text))) for text in plain)


def _crowd_letters(way: Pieces) -> int:
    """Returns less the more evenly letters stand with the measures: in `1/4 r 1/8 under` each has one, a 0 none."""
    letters = [(len(re.findall(r"[a-z←→]+", piece)), bool(re.search(r"[1-9]", piece))) for piece in way]
    return sum(count**2 if is_sized else 2 * count**2 for count, is_sized in letters)


def _parts_mixed(way: Pieces, tokens: Sequence[_Token]) -> bool:
    """Whether a whole number stands apart from a bare fraction behind it, and no mark says so."""
    joined = {(a.text, b.text) for a, b in pairwise(tokens) if not b.is_sure_start}
    apart = [(a, b) for a, b in pairwise(way) if (a, b) in joined]
    return any(_WHOLE.fullmatch(a) and re.fullmatch(r"\d+/\d+", b) for a, b in apart)
