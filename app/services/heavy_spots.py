"""Where a ball's heavy spot lies from a grip centre, from the ball's marks and the layout that it is drilled to.

A place that cannot be told is never zero: what is missing is said in words, at the page that has it.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from app.calculation import ball_marks
from app.calculation.ball_marks import Arc, MeasuredArc
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Hand
from app.calculation.layouts import AxisPoint, LaidOut, find_axis, solve_layout
from app.calculation.layouts import Layout as LayoutNumbers
from app.calculation.marking_lists import ARC_ERROR_IN, SWING_ERROR_DEG, find_spot_doubt_in
from app.calculation.sphere import Vector, along_across_in, arc_angle
from app.measures.wording import exact
from app.models import AxisPoint as AxisPointRow
from app.models import BallMarks, Layout

_CLOCKWISE = "left"  # seen with the pin above: from the way down to the mass mark it is turned to the left of the page
ASSUMED_DOUBT_IN = 1 / 8  # ASSUMED: of a heavy spot, along and across, where no marks tell; no source
ASSUMED_MARK_DOUBT_IN = ARC_ERROR_IN  # ASSUMED: of one arc between marks; common practice, no source
MARKING_ASSUMED = f"the grip is marked to {exact(Fraction(ARC_ERROR_IN))} in an arc and {SWING_ERROR_DEG:g}° a swing"
TYPED_ASSUMED = f"typed to {exact(Fraction(ASSUMED_DOUBT_IN))} in each way"


@dataclass(frozen=True)
class HeavySpot:
    """A heavy spot from the grip centre, inches of arc, with its standard uncertainty each way, and how it is known.

    `assumed` says in words which of the figures behind it nobody measured.
    """

    along_in: float
    across_in: float
    u_in: float
    words: str
    is_side_assumed: bool = False
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Missing:
    """What has to be known first: in words, and the page where it is written (empty: this one)."""

    words: str
    page: str = ""


def find_spot(circumference_in: float, layout: Layout | None, marks: BallMarks | None) -> HeavySpot | Missing:
    """Returns the heavy spot of a ball laid out so; `marks` are those that the layout was chosen from, or newer."""
    if layout is None:
        return Missing("The ball has no layout, so nobody knows where its heavy spot comes to lie.", "layout")
    if marks is None:
        return Missing("The ball’s marks are not measured.", "marks")
    try:
        return _place(circumference_in, layout, marks)
    except CannotBuildError as error:
        return Missing(f"Layout and marks do not go together: {error.message}.", "marks")


def _place(circumference_in: float, layout: Layout, marks: BallMarks) -> HeavySpot | Missing:
    doubt_in, assumed = float(marks.doubt_in or 0), [MARKING_ASSUMED]
    if not doubt_in:
        doubt_in = ASSUMED_MARK_DOUBT_IN
        assumed.append(f"an arc between marks is good to {exact(Fraction(doubt_in))} in")
    if marks.has_mass_mark is False:  # the centre-of-gravity mark takes the mass mark's part
        if marks.pin_centre_in is None:
            return Missing("The arc from the pin to the centre-of-gravity mark is not measured.", "marks")
        laid = lay_out(circumference_in, layout, float(marks.pin_centre_in))
        u_in = math.hypot(doubt_in, find_marking_u_in(laid, laid.mark))
        words = "from the layout: its second mark is the centre of gravity"
        return HeavySpot(*along_across_in(laid.mark, laid.radius_in), u_in, words, assumed=tuple(assumed))
    fitted = fit_stored(circumference_in, marks, is_quarter_assumed=True)
    if fitted is None:
        return Missing("The arcs from pin and mass mark to the centre-of-gravity mark are not both measured.", "marks")
    if marks.pin_mark_in is None:
        assumed.append("the mass mark lies a quarter of the ball from the pin")
    laid = lay_out(circumference_in, layout, fitted.arcs["pin_mark_in"])
    return _choose_side(fitted, laid, list_ways(fitted, marks, laid), assumed)


@lru_cache(maxsize=500)
def find_marking_u_in(laid: LaidOut, spot: Vector) -> float:
    """Returns how far off a spot lies from the grip as it is marked on the ball by the layout's marking list."""
    return find_spot_doubt_in(laid, spot)


def fit_stored(
    circumference_in: float, marks: BallMarks, is_quarter_assumed: bool = False
) -> ball_marks.BallMarks | None:
    """Returns stored marks fitted to each other, None unless all three arcs are measured; raises CannotBuildError.

    With `is_quarter_assumed` a mass mark whose own arc was not measured lies a quarter of the ball from the pin, as a
    layout has it.
    """
    own = marks.pin_mark_in
    arcs: dict[Arc, Fraction | float | None] = {
        "pin_mark_in": circumference_in / 4 if own is None and is_quarter_assumed else own,
        "pin_heavy_in": marks.pin_centre_in, "mark_heavy_in": marks.mark_centre_in,
    }  # fmt: skip
    readings = [MeasuredArc(arc, float(value)) for arc, value in arcs.items() if value]
    if len(readings) < len(arcs):
        return None
    doubt_in = float(marks.doubt_in or 0) or ASSUMED_MARK_DOUBT_IN
    return ball_marks.fit_marks(circumference_in, readings, doubt_in, marks.centre_side == _CLOCKWISE)


def list_ways(fitted: ball_marks.BallMarks, marks: BallMarks, laid: LaidOut) -> list[Vector]:
    """Where the heavy spot may lie: on the side that somebody saw; else on both, the one nearer to the grip first."""
    if marks.centre_side:
        return [ball_marks.place_heavy_spot(fitted, laid)]
    turn_deg = fitted.turn_deg or 0.0
    ways = [ball_marks.place_heavy_spot(replace(fitted, turn_deg=turn), laid) for turn in (turn_deg, -turn_deg)]
    return sorted(ways, key=lambda at: -at[2])


def _choose_side(fitted: ball_marks.BallMarks, laid: LaidOut, ways: list[Vector], assumed: list[str]) -> HeavySpot:
    """Arcs do not tell on which side of the line from pin to mass mark it lies: nearer to the grip centre is ASSUMED.

    Half of the way to the other side is a standard uncertainty of its own.
    """
    apart_in = laid.radius_in * arc_angle(ways[0], ways[-1])
    own_in = (fitted.heavy_spot_u_in or 0.0) / math.sqrt(2)
    u_in = math.hypot(own_in, find_marking_u_in(laid, ways[0]), apart_in / 2)
    is_assumed = apart_in > u_in / 4
    told = (*assumed, "it lies on the side nearer to the grip centre") if is_assumed else tuple(assumed)
    place = along_across_in(ways[0], laid.radius_in)
    return HeavySpot(*place, u_in, "from the ball’s marks and its layout", is_assumed, told)


def lay_out(circumference_in: float, layout: Layout, mark_in: float | None) -> LaidOut:
    """Works a stored layout out on its ball; raises CannotBuildError."""
    point = AxisPoint(float(layout.axis_point.over_in), float(layout.axis_point.up_in))
    angles = (sign_angle(layout.axis_line_deg), sign_angle(layout.drilling_deg))
    numbers = LayoutNumbers(float(layout.pin_axis_in), *angles, mark_in)
    return solve_layout(circumference_in, _hand(layout.hand), point, numbers)


def place_axis(circumference_in: float, point: AxisPointRow) -> Vector:
    """Returns the unit vector of an axis point; raises CannotBuildError."""
    return find_axis(circumference_in, _hand(point.hand), AxisPoint(float(point.over_in), float(point.up_in)))


def sign_angle(angle_deg: Fraction | float) -> float:
    """An angle of 0 to 360 degrees as the calculation has it: one of more than half a turn is swung the other way."""
    return float(angle_deg - 360 if angle_deg > 180 else angle_deg)


def _hand(text: str) -> Hand:
    return "left" if text == "left" else "right"
