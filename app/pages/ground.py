"""The ground of a drawing in cells, so that all free places of a box are found by a few shifts of one number."""

from collections.abc import Sequence
from functools import lru_cache
from math import ceil

Point = tuple[float, float]
Box = tuple[float, float, float, float]  # left, top, right, bottom

CELL = 0.06
_LEADER_STARTS = 0.12  # so far from its part a leader may lie on anything


class Ground:
    """Which cells of a view are taken: a bit each, row by row in one number. No box reaches into the last of a row."""

    def __init__(self, view: Box) -> None:
        self.view = view
        self.across, self.down = int((view[2] - view[0]) / CELL), int((view[3] - view[1]) / CELL)
        self.stride = self.across + 2
        self.taken = 0

    def cover_line(self, points: Sequence[Point]) -> int:
        """The cells under a line through these points."""
        left, top = self.view[:2]
        stride, down = self.stride, self.down + 1
        cells = bytearray(self.lay_out(0))
        ax, ay = (points[0][0] - left) / CELL, (points[0][1] - top) / CELL
        for right, low in points:
            bx, by = (right - left) / CELL, (low - top) / CELL
            steps = int(max(abs(bx - ax), abs(by - ay))) + 1
            dx, dy = (bx - ax) / steps, (by - ay) / steps
            for i in range(1, steps + 1):
                x, y = ax + dx * i, ay + dy * i
                if 0 <= x < stride and 0 <= y < down:
                    at = int(y) * stride + int(x)
                    cells[at >> 3] |= 1 << (at & 7)
            ax, ay = bx, by
        return int.from_bytes(cells, "little")

    def cover_inside(self, outline: Sequence[Point]) -> int:
        """The cells inside a convex outline and under it."""
        edge, stride, inside = self.cover_line((*outline, outline[0])), self.stride, 0
        while edge:
            start = ((edge & -edge).bit_length() - 1) // stride * stride
            row = edge >> start & (1 << stride) - 1
            edge ^= row << start
            inside |= (1 << row.bit_length()) - (row & -row) << start
        return inside

    def cover_box(self, box: Box) -> int:
        left, top = self.view[:2]
        first, last = int((box[0] - left) / CELL), int((box[2] - left) / CELL)
        row = (1 << last + 1) - (1 << first)
        rows = range(int((box[1] - top) / CELL), int((box[3] - top) / CELL) + 1)
        return sum(row << i * self.stride for i in rows)

    def find_free(self, width: float, height: float) -> int:
        """Where the left upper cell of a box of this size may lie, with no cell of it taken, a bit each."""
        free = ~self.taken & _fill_view(self.across, self.down, self.stride)
        for length, step in ((int(height / CELL) + 1, self.stride), (int(width / CELL) + 1, 1)):
            run = 1
            while run < length:  # each bit stays where it and as many after it are free, twice as many each time
                more = min(run, length - run)
                free &= free >> more * step
                run += more
        return free

    def lay_out(self, cells: int) -> bytes:
        """These cells as bytes, in which one is looked up faster."""
        return cells.to_bytes(self.stride * (self.down + 1) // 8 + 1, "little")

    def is_crossed(self, cells: bytes, start: Point, end: Point, length: float) -> bool:
        """Whether a leader of this length meets one of these cells beyond its very start."""
        steps = max(1, ceil(length / (1.5 * CELL)))
        dx, dy = (end[0] - start[0]) / steps / CELL, (end[1] - start[1]) / steps / CELL
        ax, ay = (start[0] - self.view[0]) / CELL, (start[1] - self.view[1]) / CELL
        for i in range(ceil(_LEADER_STARTS * steps / length), steps + 1):
            x, y = ax + dx * i, ay + dy * i
            if 0 <= x < self.stride and 0 <= y < self.down + 1:
                at = int(y) * self.stride + int(x)
                if cells[at >> 3] >> (at & 7) & 1:
                    return True
        return False


@lru_cache(maxsize=20)
def _fill_view(across: int, down: int, stride: int) -> int:
    return sum((1 << across) - 1 << i * stride for i in range(down))
