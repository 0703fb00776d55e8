"""Charts as numbers: differences of drillings, an inner's rim, a collar's control chart, shops' depths; y is down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.calculation.bores import Flushness
from app.calculation.charts import SET_UP_READINGS
from app.measures.wording import in_64ths, proud_words
from app.models import Inner
from app.pages.heights import HeightPicture, draw_heights
from app.pages.pictures import Label, Shape
from app.services.bits import BitCard
from app.services.inners_in_bores import InnerInBore
from app.services.known_depths import ShopDepth
from app.services.measurements import SpanComparison
from app.services.shop_limits import SetLimit


@dataclass(frozen=True)
class TrendPicture:
    """Differences of a bowler's last drillings in 64ths: x a drilling, y up is long, ±`top` shown."""

    points: tuple[Shape, ...]
    band: float
    top: float
    width: int
    words: str


def draw_trend(measured: Sequence[tuple[str, SpanComparison, float]]) -> TrendPicture | None:
    """Draws (label, measured, tolerance in inches) of drillings, oldest first; None where there are none."""
    if not measured:
        return None
    differences = [64 * d.difference_in for _, result, _ in measured for d in result.parts.values()]
    band = 64 * measured[-1][2]
    top = max(3.0, 1.2 * max(abs(d) for d in differences), 1.5 * band)
    points = []
    for i, (label, result, _) in enumerate(measured):
        for finger, shift in (("middle", -6), ("ring", 6)):
            found = result.parts.get(finger)
            if found is None:
                continue
            x, y = 40 * i + 20 + shift, -60 * 64 * found.difference_in / top
            path = (
                f"M{x - 5} {y:.2f} h10 M{x} {y - 5:.2f} v10"
                if finger == "ring"
                else f"M{x - 4} {y - 4:.2f} h8 v8 h-8 Z"
            )
            points.append(
                Shape(f"{finger} {found.verdict}", path, f"{label}, {finger}: {in_64ths(found.difference_in)}")
            )
    words = "Measured less predicted: " + "; ".join(point.words for point in points)
    return TrendPicture(tuple(points), 60 * band / top, top, 40 * len(measured), words)


@dataclass(frozen=True)
class DeviationPicture:
    """Measured less predicted of one drilling: a row a part, x right is long, ±100 for ±`top_in`, with its interval.

    Where how sure a reading is was not kept, no interval is drawn.
    """

    rows: tuple[tuple[str, Shape, str], ...]  # part, mark, path of the interval
    band: float
    height: int
    top_in: float
    words: str


def draw_deviations(result: SpanComparison, tolerance_in: float) -> DeviationPicture:
    """Draws every part of a finished drilling against the tolerance, on one scale."""
    is_sure = result.doubt is not None and result.half_width_in < 1.0
    half = result.half_width_in if is_sure else 0.0
    top = max(1 / 64, 2.5 * tolerance_in, 1.15 * max(abs(d.difference_in) + half for d in result.parts.values()))
    scale, rows = 100 / top, []
    for i, (part, told) in enumerate(result.parts.items()):
        x, y = told.difference_in * scale, 34 * i + 22
        words = f"{part}: {in_64ths(told.difference_in)}"
        kind = told.verdict if told.is_settled and result.doubt else "doubt"
        mark = Shape(kind, f"M{x:.2f} {y - 7} l7 7 l-7 7 l-7 -7 Z", words)
        interval = f"M{x - half * scale:.2f} {y} H{x + half * scale:.2f}" if half else ""
        rows.append((part, mark, interval))
    words = "Measured less predicted, " + ", ".join(mark.words for _, mark, _ in rows)
    return DeviationPicture(tuple(rows), tolerance_in * scale, 34 * len(rows) + 10, top, words)


@dataclass(frozen=True)
class RimPicture:
    """An inner's rim rolled out flat: x the clock (0 to 360), y ±100 for ±`top_in`, up is proud; and in section."""

    path: str
    band: float
    lip: float
    top_in: float
    words: str
    sections: tuple[HeightPicture, ...]


def draw_rim(flushness: Flushness, half_width_in: float, lip_in: float, outside_in: float) -> RimPicture:
    """The rim once round from the front, with the interval's half width and the lip limit to the same scale.

    `outside_in` is the inner's outside diameter, for its sections.
    """
    heights = (*flushness.heights_in, flushness.heights_in[0])
    top = max(0.03, 1.2 * (max(abs(h) for h in heights) + half_width_in), 1.5 * lip_in)
    step, scale = 360 / (len(heights) - 1), 100 / top
    path = "M" + " L".join(f"{i * step:.1f} {-h * scale:.2f}" for i, h in enumerate(heights))
    sections = draw_heights(flushness, lip_in, outside_in)
    words = describe_rim(flushness)
    return RimPicture(path, half_width_in * scale, lip_in * scale, top, words, sections)


def draw_sitting(inner: Inner, how: InnerInBore, limits: Mapping[str, SetLimit]) -> RimPicture:
    """The rim of an inner as it sits in one bore."""
    lip_in, outside_in = float(limits["lip"].value_in), float(inner.counted_outside_in)
    return draw_rim(how.flushness, how.half_width_in, lip_in, outside_in)


def describe_rim(flushness: Flushness) -> str:
    """`centre 3/64 sunk, front even, …`"""
    sides: Sequence[tuple[str, float]] = (
        ("centre", flushness.centre_in),
        ("front", flushness.front_in),
        ("right", flushness.right_in),
        ("back", flushness.back_in),
        ("left", flushness.left_in),
    )
    return ", ".join(f"{name} {proud_words(value)}" for name, value in sides)


@dataclass(frozen=True)
class ChartPicture:
    """A collar's chart: single deviations as points, their weighted average and its limits as lines; y up is deeper."""

    points: tuple[Label, ...]
    average: str
    upper: str
    lower: str
    width: int
    top_in: float
    words: str


def draw_chart(card: BitCard) -> ChartPicture | None:
    """Draws a bit's deviations from target since its last set-up; None before there are two."""
    values = [reading.deviation_in for reading in card.readings]
    if len(values) < 2:
        return None
    ewma = card.chart.ewma if card.chart and card.chart.ewma.averages else None
    top = 1.15 * max(map(abs, (*values, *(ewma.upper_limits + ewma.lower_limits if ewma else ()), 1 / 128)))
    scale = 80 / top

    def line(heights: Sequence[float]) -> str:
        return "M" + " L".join(f"{24 * i + 12} {-h * scale:.2f}" for i, h in enumerate(heights, SET_UP_READINGS))

    points = tuple(
        Label(
            24 * i + 12, -r.deviation_in * scale, f"{r.at:%Y-%m-%d}: {in_64ths(r.deviation_in, 'deeper', 'shallower')}"
        )
        for i, r in enumerate(card.readings)
    )
    words = card.signal or ("quiet" if card.chart else f"too few: {card.to_go} more before the chart may speak")
    return ChartPicture(
        points,
        line(ewma.averages) if ewma else "",
        line(ewma.upper_limits) if ewma else "",
        line(ewma.lower_limits) if ewma else "",
        24 * len(values),
        top,
        f"{card.bit.label}: {words}",
    )


@dataclass(frozen=True)
class DepthMark:
    """One shop's collar depth on the common scale: its mark, its 95 % interval, and that of its next ball (x only)."""

    x: float
    sure: tuple[float, float]
    next_ball: tuple[float, float]
    words: str


def draw_depths(known: Mapping[int, ShopDepth], ours: ShopDepth | None) -> dict[int, DepthMark]:
    """Places shops' depths of one system on one scale: x from -100 to 100, right is deeper.

    0 is our collar's depth; without one it is the middle of what is known, and the words say no difference.
    """
    spans = {id: (*depth.estimate.interval_in, *depth.knowledge.next_ball_in) for id, depth in known.items()}
    every = [value for span in spans.values() for value in span]
    if not every:
        return {}
    zero = ours.estimate.depth_in if ours else (min(every) + max(every)) / 2
    top = max(2 / 64, 1.1 * max(abs(value - zero) for value in every))

    def place(value: float) -> float:
        return round(100 * (value - zero) / top, 2)

    marks = {}
    for id, depth in known.items():
        low, high, next_low, next_high = map(place, spans[id])
        off = depth.estimate.depth_in - zero
        words = "ours" if depth is ours else in_64ths(off, "deeper", "shallower") if ours else ""
        marks[id] = DepthMark(place(depth.estimate.depth_in), (low, high), (next_low, next_high), words)
    return marks
