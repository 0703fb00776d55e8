"""Places the labels of a drawing so that none meets another, a line, a hole, or the edge of the view.

The drawing is laid out in cells, a bit each and a number a row, so that whether a box is free is a few masks. Labels
are placed in order; each takes the nearest free place that it may have, with a leader where it had to go far. Pure and
deterministic. Units are those of the drawing, y down.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, cos, hypot, pi, sin

from app.pages.lettering import DOWN, UP, Line

Point = tuple[float, float]
Box = tuple[float, float, float, float]  # left, top, right, bottom

_CELL = 0.06
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
    `parts` are the names of what it tells of. One that `may_drop` is left out sooner than its leader crosses anything.
    """

    forms: tuple[tuple[Line, ...], ...]
    places: tuple[Point, ...]
    way: Point
    reach: float = 0.0
    parts: tuple[str, ...] = ()
    may_drop: bool = False
    last: tuple[Line, ...] = ()


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


class Ground:
    """Which cells of a view are taken."""

    def __init__(self, view: Box) -> None:
        self.view = view
        self.rows = [0] * (ceil((view[3] - view[1]) / _CELL) + 1)

    def mark_line(self, points: Sequence[Point]) -> None:
        """Takes the cells under a line through these points."""
        left, top = self.view[:2]
        rows, most = self.rows, len(self.rows)
        for (ax, ay), (bx, by) in pairwise(points):
            steps = max(1, ceil(max(abs(bx - ax), abs(by - ay)) / _CELL))
            for i in range(steps + 1):
                x, y = ax + (bx - ax) * i / steps - left, ay + (by - ay) * i / steps - top
                if x >= 0 and 0 <= y < most * _CELL:
                    rows[int(y / _CELL)] |= 1 << int(x / _CELL)

    def fill(self, outline: Sequence[Point]) -> None:
        """Takes every cell inside a convex outline."""
        mine = Ground(self.view)
        mine.mark_line((*outline, outline[0]))
        for i, row in enumerate(mine.rows):
            if row:
                self.rows[i] |= (1 << row.bit_length()) - (row & -row)

    def mark_box(self, box: Box) -> None:
        for row, mask in self._cells(box):
            self.rows[row] |= mask

    def find_free(self, width: float, height: float) -> list[int]:
        """Where the left upper cell of a box of this size may lie, with no cell of it taken, a bit each."""
        across, down = int(width / _CELL) + 1, int(height / _CELL) + 1
        whole = (1 << int((self.view[2] - self.view[0]) / _CELL)) - 1
        free = [~row & whole for row in self.rows[: int((self.view[3] - self.view[1]) / _CELL)]]
        run = 1
        while run < down:  # each bit stays where it and as many below it are free, twice as many each time
            step = min(run, down - run)
            free = [a & b for a, b in zip(free, free[step:], strict=False)]
            run += step
        run = 1
        while run < across:
            step = min(run, across - run)
            free = [row & row >> step for row in free]
            run += step
        return free

    def _cells(self, box: Box) -> Iterator[tuple[int, int]]:
        left, top = self.view[:2]
        first, last = int((box[0] - left) / _CELL), int((box[2] - left) / _CELL)
        mask = (1 << last + 1) - (1 << first)
        return ((row, mask) for row in range(int((box[1] - top) / _CELL), int((box[3] - top) / _CELL) + 1))

    def is_crossed(self, start: Point, end: Point, after: float = 0.0) -> bool:
        """Whether the straight line between two points meets a taken cell, farther than `after` from its start."""
        length = hypot(end[0] - start[0], end[1] - start[1])
        steps = max(1, ceil(length / (1.5 * _CELL)))
        for i in range(steps + 1):
            if length * i / steps < after:
                continue
            x = start[0] + (end[0] - start[0]) * i / steps - self.view[0]
            y = start[1] + (end[1] - start[1]) * i / steps - self.view[1]
            if x >= 0 and 0 <= y < len(self.rows) * _CELL and self.rows[int(y / _CELL)] >> int(x / _CELL) & 1:
                return True
        return False


def place_labels(
    view: Box, wishes: Iterable[Wish], lines: Iterable[Sequence[Point]], solids: Iterable[Sequence[Point]]
) -> Lettering:
    """Places the wishes in their order, off the lines, off the insides of the convex solids, and within the view."""
    layout = _Layout(view)
    for line in lines:
        layout.ground.mark_line(line)
    for solid in solids:
        layout.ground.fill(solid)
        layout.solid.fill(solid)
    for wish in wishes:
        layout.place(wish)
    return Lettering(tuple(layout.texts), tuple(layout.leaders), tuple(layout.left_out))


class _Layout:
    """What is placed so far: `ground` has everything, `solid` holes alone, `taken` labels and their leaders."""

    def __init__(self, view: Box) -> None:
        self.ground, self.solid, self.taken = Ground(view), Ground(view), Ground(view)
        self.texts: list[Text] = []
        self.leaders: list[Leader] = []
        self.left_out: list[str] = []

    def place(self, wish: Wish) -> None:
        sizes = [_measure(lines) for lines in wish.forms]
        free = [self.ground.find_free(*size) for size in sizes]
        for lines, size, room in zip(wish.forms, sizes, free, strict=True):
            for place, box in _stand_beside(wish, size):
                if self._is_free(room, box):
                    return self._set(lines, wish, place, box)
        far = [self._list_free(room, wish, size) for room, size in zip(free, sizes, strict=True)]
        for shunned in ((self.ground,), (self.taken, self.solid), (self.taken,))[: 1 if wish.may_drop else 3]:
            for place in wish.places[:2]:
                for lines, boxes in zip(wish.forms, far, strict=True):
                    for box in boxes:
                        if self._lead(wish, place, box, shunned):
                            return self._set(lines, wish, place, box)
        if wish.last:
            return self.place(replace(wish, forms=(wish.last,), last=()))
        return self.left_out.append(wish.forms[0][0].text)

    def _is_free(self, free: list[int], box: Box) -> bool:
        x, y = (box[0] - self.ground.view[0]) / _CELL, (box[1] - self.ground.view[1]) / _CELL
        return x >= 0 and 0 <= y < len(free) and bool(free[int(y)] >> int(x) & 1)

    def _list_free(self, free: list[int], wish: Wish, size: Point) -> list[Box]:
        """The free boxes of a size, those nearest to the wish's first place and its way before the others."""
        (px, py), (wx, wy), (width, height) = wish.places[0], wish.way, size
        left, top = self.ground.view[:2]
        comb = sum(1 << i for i in range(0, max(row.bit_length() for row in self.ground.rows) + 1, _STRIDE))
        found = []
        for row in range(0, len(free), _STRIDE):
            bits, y = free[row] & comb, top + row * _CELL
            while bits:
                low = bits & -bits
                bits ^= low
                x = left + (low.bit_length() - 1) * _CELL
                away = hypot(max(x - px, 0.0, px - x - width), max(y - py, 0.0, py - y - height))
                dx, dy = x + width / 2 - px, y + height / 2 - py
                turned = 1 - (dx * wx + dy * wy) / (hypot(dx, dy) or 1.0)
                found.append((away + 0.5 * turned, y, x))
        return [(x, y, x + width, y + height) for _, y, x in sorted(found)[:_TRIED]]

    def _lead(self, wish: Wish, place: Point, box: Box, shunned: tuple[Ground, ...]) -> bool:
        """Draws a leader to a box, if it is far, unless it would cross what is shunned beyond its very start."""
        start, end = _find_leader(wish, place, box)
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length < _LED_FROM:
            return True
        if any(ground.is_crossed(start, end, 0.12) for ground in shunned):
            return False
        self.leaders.append(Leader(start, end, wish.parts))
        self.taken.mark_line((start, end))
        self.ground.mark_line((start, end))
        return True

    def _set(self, lines: tuple[Line, ...], wish: Wish, place: Point, box: Box) -> None:
        """Puts the lines of a wish into a box, which has air round them, each towards what they tell of."""
        self.ground.mark_box(box)
        self.taken.mark_box(box)
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


def _measure(lines: Sequence[Line]) -> Point:
    """Width and height of a block of lines with air round it."""
    return max(line.width for line in lines) + 2 * _AIR, sum(line.size for line in lines) * (UP + DOWN) + 2 * _AIR


def _stand_beside(wish: Wish, size: Point) -> Iterator[tuple[Point, Box]]:
    """Boxes of this size close beside the places of a wish, the best first, a side or corner at its reach."""
    (wx, wy), (width, height) = wish.way, size
    for place in wish.places:
        for gap, c, s in _NEAR:
            dx, dy = wx * c - wy * s, wx * s + wy * c
            far = wish.reach + gap
            x = place[0] + far * dx + max(-1.0, min(1.0, 1.5 * dx)) * width / 2 - width / 2
            y = place[1] + far * dy + max(-1.0, min(1.0, 1.5 * dy)) * height / 2 - height / 2
            yield place, (x, y, x + width, y + height)


def _find_leader(wish: Wish, place: Point, box: Box) -> tuple[Point, Point]:
    """From the part to the nearest side of a box, which has air round its letters."""
    near = max(box[0], min(box[2], place[0])), max(box[1], min(box[3], place[1]))
    dx, dy = near[0] - place[0], near[1] - place[1]
    length = hypot(dx, dy) or 1.0
    start = min(wish.reach, length) / length
    return (place[0] + dx * start, place[1] + dy * start), (place[0] + dx * 0.999, place[1] + dy * 0.999)
