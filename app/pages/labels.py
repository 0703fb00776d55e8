"""Places the labels of a drawing so that none meets another, a line, a hole, or the edge of the view.

Labels are placed in order, on the cells of a `Ground`; each takes the nearest free place that it may have, with a
leader where it had to go far. Pure and deterministic. Units are those of the drawing, y down.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from heapq import nsmallest
from itertools import product
from math import cos, hypot, pi, sin

from app.pages.ground import CELL, Box, Ground, Point
from app.pages.lettering import DOWN, UP, Line

_STRIDE = 4  # cells between the places that are tried far off
_AIR = 0.08  # round a label: half of the broadest stroke and a little
_LED_FROM = 0.3  # a label that stands farther off than this has a leader
_TRIED = 150  # places far off, the nearest first, to which a leader is tried
_NEAR = tuple(
    (gap, cos(turn), sin(turn))
    for gap, turn in sorted(
        ((gap, k * pi / 12) for gap in (0.0, 0.08, 0.18) for k in range(-7, 8)),
        key=lambda at: (1.5 * at[0] + 0.35 * (1 - cos(at[1])), at),
    )
)


@dataclass(frozen=True)
class Wish:
    """A label that wants to stand beside one of `places`, `reach` off it, best in the direction `way` (a unit vector).

    `forms` are the ways to break it into lines, the best first, and `last` what is left where none of them can stand.
    `parts` are the names of what it tells of. One that `may_drop` is left out sooner than its leader crosses anything;
    one that `keeps_side` never stands on the other side of its place than its `way`.
    """

    forms: tuple[tuple[Line, ...], ...]
    places: tuple[Point, ...]
    way: Point
    reach: float = 0.0
    parts: tuple[str, ...] = ()
    may_drop: bool = False
    last: tuple[Line, ...] = ()
    keeps_side: bool = False


@dataclass(frozen=True)
class Text:
    """One line where it stands: the anchor is start, middle or end."""

    x: float
    y: float
    anchor: str
    line: Line
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Leader:
    """A thin line from a part to the label that tells of it."""

    start: Point
    end: Point
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Lettering:
    """The labels of a drawing as placed, their leaders, and the first lines of those for which there was no place."""

    texts: tuple[Text, ...]
    leaders: tuple[Leader, ...]
    left_out: tuple[str, ...]


def place_labels(
    view: Box,
    wishes: Iterable[Wish],
    lines: Iterable[Sequence[Point]],
    solids: Iterable[Sequence[Point]],
    faint: Iterable[Sequence[Point]] = (),
) -> Lettering:
    """Places the wishes in their order, off all lines, off the insides of the convex solids, and within the view.

    A leader that has to cross something crosses lines that are `faint` first.
    """
    layout = _Layout(view)
    for line in lines:
        layout.firm.taken |= layout.firm.cover_line(line)
    for line in faint:
        layout.ground.taken |= layout.ground.cover_line(line)
    for solid in solids:
        layout.solid.taken |= layout.solid.cover_inside(solid)
    layout.firm.taken |= layout.solid.taken
    layout.ground.taken |= layout.firm.taken
    for wish in wishes:
        layout.place(wish)
    return Lettering(tuple(layout.texts), tuple(layout.leaders), tuple(layout.left_out))


class _Layout:
    """What is placed so far: `ground` has everything, `solid` holes, `firm` also lines, `taken` labels and leaders."""

    def __init__(self, view: Box) -> None:
        self.ground, self.firm, self.solid, self.taken = Ground(view), Ground(view), Ground(view), Ground(view)
        self.texts: list[Text] = []
        self.leaders: list[Leader] = []
        self.left_out: list[str] = []

    def place(self, wish: Wish) -> None:
        sizes = [_measure(lines) for lines in wish.forms]
        free = []
        for lines, size in zip(wish.forms, sizes, strict=True):
            free.append(self.ground.find_free(*size))
            if beside := self._find_beside(free[-1], wish, size):
                return self._set(lines, wish, *beside)
        far: list[tuple[float, int, Box]] = []
        for i, (room, size) in enumerate(zip(free, sizes, strict=True)):
            far += [(cost + 0.6 * i, i, box) for cost, box in self._list_free(room, wish, size)]
        far.sort()
        labels = self.taken.taken
        worse = (labels | self.firm.taken, labels | self.solid.taken, labels)
        for cells in (self.ground.taken, *(() if wish.may_drop else worse)):
            shunned = self.ground.lay_out(cells)
            for place, (_, form, box) in product(wish.places[:2], far):
                if self._lead(wish, place, box, shunned):
                    return self._set(wish.forms[form], wish, place, box)
        if wish.last:
            return self.place(replace(wish, forms=(wish.last,), last=()))
        return self.left_out.append(wish.forms[0][0].text)

    def _find_beside(self, free: int, wish: Wish, size: Point) -> tuple[Point, Box] | None:
        """The best free box of this size close beside a place of a wish, and the place."""
        (left, top), stride = self.ground.view[:2], self.ground.stride
        offsets = _list_offsets(wish, size)
        for place in wish.places:
            px, py = place
            for dx, dy in offsets:
                x, y = (px + dx - left) / CELL, (py + dy - top) / CELL
                if 0 <= x < stride and y >= 0 and free >> int(y) * stride + int(x) & 1:
                    return place, (px + dx, py + dy, px + dx + size[0], py + dy + size[1])
        return None

    def _list_free(self, free: int, wish: Wish, size: Point) -> list[tuple[float, Box]]:
        """The free boxes of a size and their costs: how far they are from the wish's first place, and off its way."""
        (px, py), (wx, wy), (width, height) = wish.places[0], wish.way, size
        left, top = self.ground.view[:2]
        comb = _comb_row(self.ground.stride)
        found = []
        for row in range(0, self.ground.down, _STRIDE):
            bits, y = free >> row * self.ground.stride & comb, top + row * CELL
            above, dy = max(y - py, 0.0, py - y - height), y + height / 2 - py
            while bits:
                low = bits & -bits
                bits ^= low
                x = left + (low.bit_length() - 1) * CELL
                beside = x - px if x > px else px - x - width if px > x + width else 0.0
                dx = x + width / 2 - px
                turned = 1 - (dx * wx + dy * wy) / (hypot(dx, dy) or 1.0)
                if turned < 1 or not wish.keeps_side:
                    found.append((hypot(beside, above) + 0.5 * turned, y, x))
        return [(cost, (x, y, x + width, y + height)) for cost, y, x in nsmallest(_TRIED, found)]

    def _lead(self, wish: Wish, place: Point, box: Box, shunned: bytes) -> bool:
        """Draws a leader to a box, if it is far, unless it would cross what is shunned beyond its very start."""
        start, end = _find_leader(wish, place, box)
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length < _LED_FROM:
            return True
        if self.ground.is_crossed(shunned, start, end, length):
            return False
        self.leaders.append(Leader(start, end, wish.parts))
        line = self.ground.cover_line((start, end))
        self.taken.taken |= line
        self.ground.taken |= line
        return True

    def _set(self, lines: tuple[Line, ...], wish: Wish, place: Point, box: Box) -> None:
        """Puts the lines of a wish into a box, which has air round them, each towards what they tell of."""
        cells = self.ground.cover_box(box)
        self.ground.taken |= cells
        self.taken.taken |= cells
        left, y, right = box[0] + _AIR, box[1] + _AIR, box[2] - _AIR
        if left >= place[0] - _AIR:
            x, anchor = left, "start"
        elif right <= place[0] + _AIR:
            x, anchor = right, "end"
        else:
            x, anchor = (left + right) / 2, "middle"
        for line in lines:
            self.texts.append(Text(x, y + UP * line.size, anchor, line, wish.parts))
            y += (UP + DOWN) * line.size


@lru_cache(maxsize=20)
def _comb_row(stride: int) -> int:
    """The cells of a row that are tried far off."""
    return sum(1 << i for i in range(0, stride, _STRIDE))


def _measure(lines: Sequence[Line]) -> Point:
    """Width and height of a block of lines with air round it."""
    return max(line.width for line in lines) + 2 * _AIR, sum(line.size for line in lines) * (UP + DOWN) + 2 * _AIR


def _list_offsets(wish: Wish, size: Point) -> list[Point]:
    """Where the left upper corner of a box of this size may stand from a place, the best first.

    A side or a corner of the box is at the wish's reach, or a little farther off.
    """
    width, height = size
    return [
        ((wish.reach + gap) * dx + (across - 0.5) * width, (wish.reach + gap) * dy + (down - 0.5) * height)
        for gap, dx, dy, across, down in _turn_near(wish.way)
    ]


@lru_cache(maxsize=500)
def _turn_near(way: Point) -> list[tuple[float, float, float, float, float]]:
    """(gap, direction, share of a box's width and of its height by which its middle is moved), the best first."""
    turned = ((gap, way[0] * c - way[1] * s, way[0] * s + way[1] * c) for gap, c, s in _NEAR)
    return [
        (gap, dx, dy, max(-1.0, min(1.0, 1.5 * dx)) / 2, max(-1.0, min(1.0, 1.5 * dy)) / 2) for gap, dx, dy in turned
    ]


def _find_leader(wish: Wish, place: Point, box: Box) -> tuple[Point, Point]:
    """From the part to the nearest side of a box, which has air round its letters."""
    near = max(box[0], min(box[2], place[0])), max(box[1], min(box[3], place[1]))
    dx, dy = near[0] - place[0], near[1] - place[1]
    length = hypot(dx, dy) or 1.0
    start = min(wish.reach, length) / length
    return (place[0] + dx * start, place[1] + dy * start), (place[0] + dx * 0.999, place[1] + dy * 0.999)
