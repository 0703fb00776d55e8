"""The balance as a drawing: the ball seen from above with ounces each way, and a column for top and bottom.

The ball's rim stands for `reach_oz` ounces, 100 units from the middle; right is right and up towards the fingers, as it
lies on the bench. The limits are a frame, the interval a pale field, the prediction a dot, the weighing a ring. The
words of the prediction stand in a corner outside the rim, where nothing else is, with a leader to the dot.
"""

import math
from dataclasses import dataclass
from itertools import product

from app.calculation.balance_verdicts import BalanceLimits
from app.calculation.balances import Ounces
from app.measures.balance_words import WAYS, side_words
from app.services.balances import Prediction

RIM = 100.0
_LEAST_OZ = 1.0
_ROOM = 1.12
_INSIDE = 1.03
LEFT, RIGHT, TOP, BOTTOM = -146.0, 134.0, -128.0, 128.0  # of the drawing without its column
FIGURE, SCALE, LINE = 15.0, 12.0, 15.0  # sizes of letters, and of a line of figures
_WIDE = 0.56  # of a letter's size: how wide a letter is, bold
_DOT, _WEIGHED = 5.0, 8.0
_TURNS = tuple(math.radians(15 * i + 7.5) for i in range(24))  # where the figures of the rings may stand,
_BESIDE = (0.0, 0.75 * SCALE, -0.75 * SCALE)  # and how far off their ring
_LIGHT = 0.5  # how much less it matters to cover a centre line than another
_CENTRE_LINES = (((-RIM, 0.0), (RIM, 0.0)), ((0.0, -RIM), (0.0, RIM)))


@dataclass(frozen=True, order=True)
class Box:
    """A rectangle: left, top, width, height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Its corners in order."""
        right, low = self.x + self.width, self.y + self.height
        return (self.x, self.y), (right, self.y), (right, low), (self.x, low)

    def meets(self, other: "Box") -> bool:
        """Whether it covers a part of another box."""
        across = self.x < other.x + other.width and other.x < self.x + self.width
        return across and self.y < other.y + other.height and other.y < self.y + self.height

    def is_within(self, at: tuple[float, float], by: float) -> bool:
        """Whether it comes nearer to a place than `by`."""
        across = max(self.x - at[0], 0.0, at[0] - self.x - self.width)
        return math.hypot(across, max(self.y - at[1], 0.0, at[1] - self.y - self.height)) < by

    def meets_line(self, start: tuple[float, float], end: tuple[float, float]) -> bool:
        """Whether a straight line enters it (Liang and Barsky's clipping)."""
        low, high = 0.0, 1.0
        spans = ((self.x, self.x + self.width), (self.y, self.y + self.height))
        for (least, most), a, b in zip(spans, start, end, strict=True):
            if a == b:
                if not least < a < most:
                    return False
                continue
            ends = sorted(((least - a) / (b - a), (most - a) / (b - a)))
            low, high = max(low, ends[0]), min(high, ends[1])
        return low < high


@dataclass(frozen=True)
class Spot:
    """A place on the drawing; its words fill `label`, to its right end if `is_right`, and point at it from `leader`."""

    x: float
    y: float
    label: Box
    is_right: bool
    leader: tuple[float, float]
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Ring:
    """A circle of whole ounces, and the box that its words fill."""

    radius: float
    words: str
    label: Box


@dataclass(frozen=True)
class BalancePicture:
    """Seen from above: frame, field, dot and ring; the column has the same from top (up) to bottom."""

    reach_oz: float
    rings: tuple[Ring, ...]
    frame: Box | None
    field: Box | None
    dot: Spot | None
    ring: tuple[float, float] | None
    axis: tuple[float, float] | None
    column_limit: float | None
    column_field: tuple[float, float] | None
    column_dot: float | None
    column_ring: float | None
    words: str


def draw_balance(
    prediction: Prediction | None, limits: BalanceLimits | None, weighed: tuple[float | None, ...] = ()
) -> BalancePicture | None:
    """Draws a predicted balance, and what was weighed (right, finger, top) beside it; None where there is neither."""
    found = prediction.balance if prediction else None
    if found is None and not any(way is not None for way in weighed):
        return None
    ends = [found.find_interval(i) if found else None for i in range(len(WAYS))]
    own = (limits.right_left_oz, limits.finger_thumb_oz, limits.top_bottom_oz) if limits else (None, None, None)
    sizes = [abs(value) for value in weighed if value is not None] + [abs(e) for pair in ends if pair for e in pair]
    corner = math.hypot(own[0] or 0.0, own[1] or 0.0) / _ROOM  # the frame lies inside the rim
    reach = _ROOM * max(_LEAST_OZ, corner * _INSIDE, *sizes, *(limit for limit in own if limit is not None))
    unit = RIM / reach
    ounces = found.ounces if found else None
    frame, dot, ring = _frame(own, unit), _spot(ounces, unit) if ounces else None, _ring(weighed, unit)
    axis = (RIM * prediction.side[0], -RIM * prediction.side[1]) if prediction and prediction.side else None
    return BalancePicture(
        reach_oz=reach,
        rings=_list_rings(reach, unit, _Drawn(frame, dot, ring, axis)),
        frame=frame,
        field=_field(ends, unit),
        dot=dot,
        ring=ring,
        axis=axis,
        column_limit=own[2] * unit if own[2] is not None else None,
        column_field=(-ends[2][1] * unit, -ends[2][0] * unit) if ends[2] else None,
        column_dot=-ounces.top_oz * unit if ounces else None,
        column_ring=-weighed[2] * unit if len(weighed) > 2 and weighed[2] is not None else None,
        words=_describe(ounces, weighed),
    )


@dataclass(frozen=True)
class _Drawn:
    """What figures keep clear of."""

    frame: Box | None
    dot: Spot | None
    ring: tuple[float, float] | None
    axis: tuple[float, float] | None

    @property
    def lines(self) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        """Every straight line but the centre lines, as its two ends."""
        found = []
        if self.frame:
            corners = self.frame.corners
            found += list(zip(corners, (*corners[1:], corners[0]), strict=True))
        if self.dot:
            found.append(((self.dot.x, self.dot.y), self.dot.leader))
        return [*found, ((0.0, 0.0), self.axis)] if self.axis else found

    def count_met(self, box: Box) -> float:
        """How many lines and marks a box meets; a centre line counts less."""
        marks = [((self.dot.x, self.dot.y), _DOT)] if self.dot else []
        marks += [(self.ring, _WEIGHED)] if self.ring else []
        met = sum(box.meets_line(*line) for line in self.lines) + sum(box.is_within(at, by) for at, by in marks)
        return met + _LIGHT * sum(box.meets_line(*line) for line in _CENTRE_LINES)


def _list_rings(reach: float, unit: float, drawn: _Drawn) -> tuple[Ring, ...]:
    """Circles of whole ounces, at most four; each figure covers the least it can, near the others' direction."""
    step = max(1, round(reach / 3.5))
    rings: list[Ring] = []
    turn = _TURNS[2]
    for ounces in range(step, int(reach) + 1, step):
        radius, words = ounces * unit, f"{ounces} oz"
        costs = []
        for other, beside in product(_TURNS, _BESIDE):
            box = _place_figure(radius + beside, words, other)
            met = drawn.count_met(box) + sum(box.meets(ring.label) for ring in rings)
            costs.append((met, abs(beside) / SCALE + 1 - math.cos(other - turn), other, box))
        turn, label = min(costs)[2:]
        rings.append(Ring(radius, words, label))
    return tuple(rings)


def _place_figure(radius: float, words: str, turn: float) -> Box:
    """The box of a ring's figure: on its line, further in where it would reach over the rim."""
    width, height = _measure(words, SCALE), SCALE
    most = RIM - 2.0 - math.hypot(width, height) / 2
    at = min(radius, most)
    return Box(at * math.cos(turn) - width / 2, at * math.sin(turn) - height / 2, width, height)


def _measure(text: str, size: float) -> float:
    return _WIDE * size * len(text)


def _frame(limits: tuple[float | None, float | None, float | None], unit: float) -> Box | None:
    side, finger, _ = limits
    if side is None or finger is None:
        return None
    return Box(-side * unit, -finger * unit, 2 * side * unit, 2 * finger * unit)


def _field(ends: list[tuple[float, float] | None], unit: float) -> Box | None:
    across, along = ends[0], ends[1]
    if across is None or along is None:
        return None
    return Box(across[0] * unit, -along[1] * unit, (across[1] - across[0]) * unit, (along[1] - along[0]) * unit)


def _spot(ounces: Ounces, unit: float) -> Spot:
    """The dot; its words stand in the corner nearest to it."""
    x, y = ounces.right_oz * unit, -ounces.finger_oz * unit
    lines = tuple(side_words(ounces[i], way).replace(" oz", "").removesuffix(" side") for i, way in enumerate(WAYS[:2]))
    width, height = max(_measure(line, FIGURE) for line in lines), LINE * len(lines)
    is_right, is_low = x > 0, y > 0
    left = RIGHT - width if is_right else LEFT
    label = Box(left, BOTTOM - height if is_low else TOP, width, height)
    leader = (left if is_right else left + width, label.y - 1.0 if is_low else label.y + height + 1.0)
    return Spot(x, y, label, is_right, leader, lines)


def _ring(weighed: tuple[float | None, ...], unit: float) -> tuple[float, float] | None:
    if len(weighed) < 2 or weighed[0] is None or weighed[1] is None:
        return None
    return weighed[0] * unit, -weighed[1] * unit


def _describe(ounces: Ounces | None, weighed: tuple[float | None, ...]) -> str:
    told = []
    if ounces:
        told.append("predicted " + ", ".join(side_words(ounces[i], way) for i, way in enumerate(WAYS)))
    read = [side_words(value, way) for way, value in zip(WAYS, weighed, strict=False) if value is not None]
    if read:
        told.append("weighed " + ", ".join(read))
    return "The ball from above, and top to bottom: " + "; ".join(told)
