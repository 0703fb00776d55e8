"""Marking strips, rim disc and scale bars as drawings in millimetres, one unit a millimetre on paper.

`scale` is drawn ÷ true: it makes up for a printer that draws too small or too large. Only lengths scale, no letters.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.calculation.strips import Point, RimDisc, Strip, break_strip
from app.calculation.units import MM_PER_INCH
from app.measures.wording import mark_words

STRIP_MM = 20.0  # across: the paper lies taut along its middle, and its edges have 0.4 % of slack
TEXT_MM = 2.5  # 7.1 pt
LONGEST_MM = 190.0  # A4 less its margins; Letter is wider
_TAB_MM = 12.0
_TITLE_MM = 52.0
_APART_MM = 2.8  # between two names
_LETTER_MM = 1.42  # the mean width of a small letter; a capital's is a quarter more
_LEAST_MM = 24.0  # the least room for a note
_NOTE_MM = 40.0
_OVERLAP_IN = 0.5
_ROWS_MM = (4.2, 8.2, 13.6, 17.6)
_CLOSE_ROWS_MM = (3.2, 6.1, 9.0, 13.1, 16.0, 18.9)  # where a text needs a second line
_MM = float(MM_PER_INCH)


@dataclass(frozen=True)
class Mark:
    """A tick at `x` and its name, which stands at `name_x` where ticks are close together."""

    x: float
    name_x: float
    name: str
    kind: str


@dataclass(frozen=True)
class Line:
    """A line of text; `y` is its baseline."""

    x: float
    y: float
    text: str
    is_strong: bool = False


@dataclass(frozen=True)
class StripPicture:
    """One piece of paper: `start` and `end` are what stands in its tabs."""

    width: float
    marks: tuple[Mark, ...]
    lines: tuple[Line, ...]
    start: str
    end: str
    words: str


@dataclass(frozen=True)
class DiscPicture:
    """The rim disc about its own centre, y down: paths by rim, and its marks."""

    reach: float
    rims: dict[str, str]
    hours: tuple[tuple[Point, Point, Point, str], ...]  # from, to, where the figure stands, the figure
    notch: str
    oval: tuple[Point, Point] | None
    names: tuple[Line, ...]
    lines: tuple[Line, ...]


def draw_strips(
    strips: Sequence[Strip], scale: float, identity: Sequence[str], notes: Mapping[str, Sequence[str]]
) -> list[StripPicture]:
    """Draws strips, those longer than the page in pieces; `identity` stands on each, `notes` by its start and end."""
    longest_in = (LONGEST_MM - 2 * _TAB_MM) / _MM / scale
    return [
        _draw_strip(piece, scale, identity, _note_piece(piece, notes.get(f"{strip.start} {strip.end}", ())))
        for strip in strips
        for piece in break_strip(strip, longest_in, _OVERLAP_IN)
    ]


def _note_piece(piece: Strip, notes: Sequence[str]) -> Sequence[str]:
    """The notes of a whole strip, which on a piece of one say first from where to where the piece reaches."""
    joints = [name for name in (piece.before, piece.after) if name]
    if not joints or not notes:
        return notes
    first, last = (f"{'−' if at_in < 0 else ''}{mark_words(abs(at_in))}" for at_in in piece.ends_in)
    whole = " ".join(notes)
    return f"Piece {first} to {last}", f"joins at {' and '.join(joints)}", f"whole {whole[0].lower()}{whole[1:]}"


def _draw_strip(strip: Strip, scale: float, identity: Sequence[str], notes: Sequence[str]) -> StripPicture:
    first = strip.ticks[0].at_in
    places = [_TAB_MM + (tick.at_in - first) * _MM * scale for tick in strip.ticks]
    names = spread(places, _APART_MM)
    marks = tuple(
        Mark(x, name_x, tick.name, tick.kind) for x, name_x, tick in zip(places, names, strip.ticks, strict=True)
    )
    width = max(places[-1], names[-1]) + _TAB_MM
    gaps = sorted(((b - a, a) for a, b in pairwise(names)), reverse=True)
    is_tight = bool(gaps) and gaps[0][0] >= _LEAST_MM and width + _TITLE_MM - 4 > LONGEST_MM
    if not gaps or (gaps[0][0] < _TITLE_MM * 0.8 and not is_tight):  # else it would not fit the page
        gaps.insert(0, (_TITLE_MM, width - _TAB_MM + 4))
        width += _TITLE_MM - 4
    title = f"{strip.start} to {strip.end}".capitalize() if strip.end != "fingers" else "Centre line"
    lines = _write((title, *identity[:-1], *(_keep_end(text, gaps[0][0] - 4) for text in identity[-1:])), *gaps[0])
    if notes and (len(gaps) < 2 or gaps[1][0] < _LEAST_MM) and width + _NOTE_MM < LONGEST_MM:
        gaps.insert(1, (_NOTE_MM, width - _TAB_MM + 4))
        width += _NOTE_MM - 4
    if len(gaps) > 1:
        lines += _write(notes, *gaps[1])
    start, end = "joins on" if strip.before else strip.start, "joins on" if strip.after else strip.end
    return StripPicture(width, marks, lines, start, end, _describe(strip, title))


def _describe(strip: Strip, title: str) -> str:
    ticks = ", ".join(f"{tick.name} at {tick.at_in:.3f}" for tick in strip.ticks)
    return f"{title}, inches of arc: {ticks}"


def _write(texts: Sequence[str], gap: float, start: float) -> tuple[Line, ...]:
    """Texts in the room between two names, the first strong, broken over lines where they are longer and cut off where
    those do not do either; none without room.
    """
    if gap < _LEAST_MM:
        return ()
    found: list[tuple[str, bool]] = []
    for i, text in enumerate(texts):
        left = len(_CLOSE_ROWS_MM) - len(found) - (len(texts) - i - 1)
        found += [(piece, i == 0) for piece in _break(text, gap - 4, left)]
    rows = _ROWS_MM if len(found) <= len(_ROWS_MM) else _CLOSE_ROWS_MM
    return tuple(Line(start + 3, y, text, is_strong) for (text, is_strong), y in zip(found, rows, strict=False))


def _break(text: str, room: float, most: int) -> list[str]:
    """A text in at most so many lines, broken between words and after hyphens."""
    if most < 2 or _measure(text) <= room:
        return [_shorten(text, room)]
    ends = [i + 1 for i, letter in enumerate(text) if letter in " -" and _measure(text[: i + 1].rstrip()) <= room]
    if not ends:
        return [_shorten(text, room)]
    return [text[: ends[-1]].rstrip(), *_break(text[ends[-1] :], room, most - 1)]


def _shorten(text: str, room: float) -> str:
    if _measure(text) <= room:
        return text
    kept = text
    while kept and _measure(kept + "…") > room:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def _keep_end(text: str, room: float) -> str:
    """`fit A · right · 2026-11-26` without the first of its parts where there is no room for all: the date stays."""
    while _measure(text) > room and " · " in text:
        text = text.partition(" · ")[2]
    return text


def _measure(text: str) -> float:
    """How wide a text is about, on the wide side."""
    return _LETTER_MM * (len(text) + 0.25 * sum(letter.isupper() for letter in text))


def spread(places: Sequence[float], apart: float) -> list[float]:
    """Moves places (in order) as little as keeps each two at least `apart`: groups that touch share their mean."""
    groups: list[list[float]] = []  # of each: the sum of its starts, and how many are in it
    for i, place in enumerate(places):
        groups.append([place - i * apart, 1])
        while len(groups) > 1 and groups[-2][0] / groups[-2][1] > groups[-1][0] / groups[-1][1]:
            total, count = groups.pop()
            groups[-1] = [groups[-1][0] + total, groups[-1][1] + count]
    starts = [total / count for total, count in groups for _ in range(int(count))]
    return [start + i * apart for i, start in enumerate(starts)]


def draw_disc(disc: RimDisc, scale: float, identity: Sequence[str]) -> DiscPicture:
    """Draws the rim disc, y down."""
    rims = {name: _draw_rim(rim, scale) for name, rim in disc.rims.items()}
    hours = tuple(
        (_lay(start, scale), _lay(end, scale), _lay(end, scale, 1 + 2.4 / _size(end, scale)), str(hour))
        for hour, (start, end) in enumerate(disc.hours, 1)
    )
    reach = disc.reach_in * _MM * scale
    notch = _draw_notch(disc.notch, scale) if disc.notch else ""
    oval = (_lay(disc.oval[0], scale), _lay(disc.oval[1], scale)) if disc.oval else None
    lines = tuple(
        Line(0, reach + 9.5 + 3.7 * i, _shorten(text, 2 * (reach + 4)), i == 0)
        for i, text in enumerate(("Rim disc, thumb", *identity))
    )
    return DiscPicture(reach, rims, hours, notch, oval, _name_rims(disc, scale), lines)


def _name_rims(disc: RimDisc, scale: float) -> tuple[Line, ...]:
    """The names of the hole and of the rim about it, each inside its own; that one at the top if the notch is below."""
    drawn = {name: [_lay(point, scale) for point in rim] for name, rim in disc.rims.items()}
    low = {name: max(y for _, y in rim) for name, rim in drawn.items()}
    high = {name: min(y for _, y in rim) for name, rim in drawn.items()}
    names = [Line(0, low["hole"] - 2.5, "hole")]
    outer = next((name for name in ("sleeve", "bore") if name in low), "")
    if outer and low[outer] - low["hole"] > 2 * TEXT_MM and high["hole"] - high[outer] > 2 * TEXT_MM:
        is_below = disc.notch is None or disc.notch[1] > 0
        rims = low if is_below else high
        names.append(Line(0, (rims[outer] + rims["hole"]) / 2 + 0.9, outer))
    return tuple(names)


def _lay(point: Point, scale: float, further: float = 1.0) -> Point:
    return (point[0] * _MM * scale * further, -point[1] * _MM * scale * further)


def _size(point: Point, scale: float) -> float:
    return float((point[0] ** 2 + point[1] ** 2) ** 0.5) * _MM * scale


def _draw_rim(rim: Sequence[Point], scale: float) -> str:
    return "M" + " L".join(f"{x:.4f} {y:.4f}" for x, y in (_lay(point, scale) for point in rim)) + " Z"


def _draw_notch(at: Point, scale: float) -> str:
    """A solid mark inside the sleeve's rim, its tip on the rim."""
    x, y = _lay(at, scale)
    size = (x * x + y * y) ** 0.5
    ux, uy = x / size, y / size
    foot, side = (x - 3 * ux, y - 3 * uy), (-1.5 * uy, 1.5 * ux)
    corners = ((x, y), (foot[0] + side[0], foot[1] + side[1]), (foot[0] - side[0], foot[1] - side[1]))
    return "M" + " L".join(f"{a:.4f} {b:.4f}" for a, b in corners) + " Z"
