"""The balance as a drawing: the ball seen from above with ounces each way, and a column for top and bottom.

The ball's rim stands for `reach_oz` ounces, 100 units from the middle; right is right and up towards the fingers, as it
lies on the bench. The limits are a frame, the interval a pale field, the prediction a dot, the weighing a ring.
"""

import math
from dataclasses import dataclass

from app.calculation.balance_verdicts import BalanceLimits
from app.calculation.balances import Ounces
from app.measures.balance_words import Way, side_words
from app.services.balances import Prediction

RIM = 100.0
_LEAST_OZ = 1.0
_ROOM = 1.12
_INSIDE = 1.03
_LABEL = 9.0
_WIDE = 14.0  # beside an interval wider than this there may be no room: the words then stand in it
_OUTWARD = 30.0  # nearer to the middle there is room for words on the outer side
_WAYS: tuple[Way, ...] = ("right", "finger", "top")


@dataclass(frozen=True)
class Box:
    """A rectangle: left, top, width, height."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Spot:
    """A place on the drawing with its words, which stand at (`label_x`, `label_y`) and end there if `is_before`."""

    x: float
    y: float
    label_x: float
    label_y: float
    is_before: bool
    lines: tuple[str, ...]


@dataclass(frozen=True)
class BalancePicture:
    """Seen from above: frame, field, dot and ring; the column has the same from top (up) to bottom."""

    reach_oz: float
    rings: tuple[tuple[float, str], ...]
    frame: Box | None
    field: Box | None
    dot: Spot | None
    ring: tuple[float, float] | None
    axis: tuple[float, float] | None
    column_limit: float | None
    column_field: tuple[float, float] | None
    column_dot: Spot | None
    column_ring: float | None
    words: str


def draw_balance(
    prediction: Prediction | None, limits: BalanceLimits | None, weighed: tuple[float | None, ...] = ()
) -> BalancePicture | None:
    """Draws a predicted balance, and what was weighed (right, finger, top) beside it; None where there is neither."""
    found = prediction.balance if prediction else None
    if found is None and not any(way is not None for way in weighed):
        return None
    ends = [found.find_interval(i) if found else None for i in range(len(_WAYS))]
    own = (limits.right_left_oz, limits.finger_thumb_oz, limits.top_bottom_oz) if limits else (None, None, None)
    sizes = [abs(value) for value in weighed if value is not None] + [abs(e) for pair in ends if pair for e in pair]
    corner = math.hypot(own[0] or 0.0, own[1] or 0.0) / _ROOM  # the frame lies inside the rim
    reach = _ROOM * max(_LEAST_OZ, corner * _INSIDE, *sizes, *(limit for limit in own if limit is not None))
    unit = RIM / reach
    ounces = found.ounces if found else None
    return BalancePicture(
        reach_oz=reach,
        rings=_list_rings(reach, unit),
        frame=_frame(own, unit),
        field=_field(ends, unit),
        dot=_spot(ounces, ends, unit) if ounces else None,
        ring=_ring(weighed, unit),
        axis=(RIM * prediction.side[0], -RIM * prediction.side[1]) if prediction and prediction.side else None,
        column_limit=own[2] * unit if own[2] is not None else None,
        column_field=(-ends[2][1] * unit, -ends[2][0] * unit) if ends[2] else None,
        column_dot=_column_spot(ounces.top_oz, unit) if ounces else None,
        column_ring=-weighed[2] * unit if len(weighed) > 2 and weighed[2] is not None else None,
        words=_describe(ounces, weighed),
    )


def _list_rings(reach: float, unit: float) -> tuple[tuple[float, str], ...]:
    """Circles of whole ounces, at most four, with what each stands for."""
    step = max(1, round(reach / 3.5))
    return tuple((ounces * unit, f"{ounces} oz") for ounces in range(step, int(reach) + 1, step))


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


def _spot(ounces: Ounces, ends: list[tuple[float, float] | None], unit: float) -> Spot:
    """The dot; its words stand beside its field, on the side away from the middle while they have room there."""
    x, y = ounces.right_oz * unit, -ounces.finger_oz * unit
    low, high = (end * unit for end in ends[0] or (ounces.right_oz, ounces.right_oz))
    is_before = (x < 0) == (abs(x) < _OUTWARD)
    label_x = max(low, x - _WIDE) - _LABEL if is_before else min(high, x + _WIDE) + _LABEL
    lines = tuple(
        side_words(ounces[i], way).replace(" oz", "").removesuffix(" side") for i, way in enumerate(_WAYS[:2])
    )
    return Spot(x, y, label_x, y, is_before, lines)


def _column_spot(top_oz: float, unit: float) -> Spot:
    y = -top_oz * unit
    return Spot(0.0, y, 16.0, y, False, (side_words(top_oz, "top").replace(" oz", ""),))


def _ring(weighed: tuple[float | None, ...], unit: float) -> tuple[float, float] | None:
    if len(weighed) < 2 or weighed[0] is None or weighed[1] is None:
        return None
    return weighed[0] * unit, -weighed[1] * unit


def _describe(ounces: Ounces | None, weighed: tuple[float | None, ...]) -> str:
    told = []
    if ounces:
        told.append("predicted " + ", ".join(side_words(ounces[i], way) for i, way in enumerate(_WAYS)))
    read = [side_words(value, way) for way, value in zip(_WAYS, weighed, strict=False) if value is not None]
    if read:
        told.append("weighed " + ", ".join(read))
    return "The ball from above, and top to bottom: " + "; ".join(told)
