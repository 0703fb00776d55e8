"""Works a layout out on its ball: where its marks go, what a tape reads, what the holes come too near."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from app.calculation import ball_marks
from app.calculation.cuts import SleeveBore
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Hand, SolvedGrip
from app.calculation.layout_conflicts import Clearance, Limits, measure_clearances
from app.calculation.layouts import AxisPoint, LaidOut, Layout, solve_layout
from app.calculation.marking_lists import MarkingList, list_marks
from app.calculation.sphere import Vector
from app.errors import FieldError, InvalidError
from app.measures.wording import inches, inches_within
from app.models import AxisPoint as AxisPointRow
from app.models import BallMarks, FavouriteLayout
from app.models import Layout as LayoutRow
from app.services.heavy_spots import ASSUMED_MARK_DOUBT_IN, fit_stored, list_ways, sign_angle
from app.services.shop_limits import SetLimit

_AS_ONE_LINE_DEG = 5.0  # marks within this of one line: on which side of it the heavy spot lies does not matter
MASS_MARK = "mass mark"
_FIELDS = {"pin_axis_in": "pin_axis", "axis_line_deg": "axis_line", "drilling_deg": "drilling"}
_OF_POINT = {"over_in", "up_in"}

solve_once = lru_cache(maxsize=500)(solve_layout)
list_once = lru_cache(maxsize=500)(list_marks)
measure_once = lru_cache(maxsize=500)(measure_clearances)


@dataclass(frozen=True)
class TypedNumbers:
    """The three numbers of a layout that is not stored: inches, and degrees from −180 to 180.

    `misfit_in` as of a worked layout.
    """

    pin_axis_in: Fraction
    axis_line_deg: Fraction
    drilling_deg: Fraction
    misfit_in: float = field(default=0.0, kw_only=True)


Numbers = TypedNumbers | LayoutRow | FavouriteLayout


@dataclass(frozen=True)
class OnBall:
    """What a layout is worked out on: the ball, the hand, its axis point, the ball's marks, the grip, the limits."""

    circumference_in: float
    hand: Hand
    point: AxisPointRow
    marks: BallMarks | None
    solved: SolvedGrip | None
    bore: SleeveBore | None
    limits: Mapping[str, SetLimit]
    grip_words: str = ""  # whose grip it is
    doubts: tuple[str, ...] = ()  # in words, what is counted with although nobody knows it
    stale: tuple[str, ...] = ()  # in words, what of its axis point and marks does not hold any more


@dataclass(frozen=True)
class HeavySpot:
    """Where a ball's heavy spot lies in the frame of the grip (a unit vector), or why nobody can say.

    Its arcs do not tell on which side of the line from the pin to the mass mark it lies; where nobody saw it, the side
    nearer to the grip centre is ASSUMED if that matters.
    """

    at: Vector | None = None
    is_side_assumed: bool = False
    problem: str = ""


@dataclass(frozen=True)
class WorkedLayout:
    """A layout worked out on a ball.

    `misfit_in` is not 0 where it was read back from places that contradict the arc between the ball's marks: by so
    much that arc was longer.
    """

    laid: LaidOut
    marking: MarkingList
    clearances: tuple[Clearance, ...]
    heavy: HeavySpot
    track_in: float | None
    is_mark_arc_measured: bool
    mark_name: str = MASS_MARK
    misfit_in: float = 0.0

    @property
    def doubts(self) -> list[str]:
        """What the layout itself counts with although nobody measured it."""
        return [] if self.is_mark_arc_measured else [f"the arc from the pin to the {self.mark_name} was not measured"]

    @property
    def conflicts(self) -> list[Clearance]:
        """What comes too near, the nearest first."""
        return sorted((c for c in self.clearances if c.is_conflict), key=lambda c: c.gap_in)


def work_out_layout(numbers: Numbers, on: OnBall) -> WorkedLayout:
    """Raises InvalidError at the field of a number with which nothing can be built."""
    point = AxisPoint(float(on.point.over_in), float(on.point.up_in))
    mark_in, heavy_arcs = read_marks(on.circumference_in, on.marks)
    angles = (sign_angle(numbers.axis_line_deg), sign_angle(numbers.drilling_deg))
    layout = Layout(float(numbers.pin_axis_in), *angles, mark_in)
    try:
        laid = solve_once(on.circumference_in, on.hand, point, layout)
        marking = list_once(laid)
    except CannotBuildError as error:
        raise _to_invalid(error) from None
    track_in = None if on.point.track_in is None else float(on.point.track_in)
    found: tuple[Clearance, ...] = ()
    if on.solved:
        found = measure_once(on.solved, laid, _read_limits(on.limits), track_in, on.bore)
    heavy = _place_heavy(laid, on, heavy_arcs)
    is_measured, misfit_in = mark_in is not None, _find_misfit_in(numbers)
    return WorkedLayout(laid, marking, found, heavy, track_in, is_measured, name_mark(on.marks), misfit_in)


def _find_misfit_in(numbers: Numbers) -> float:
    if isinstance(numbers, TypedNumbers):
        return numbers.misfit_in
    return float(numbers.typed.get("misfit") or 0)


def describe_clearance(of: Clearance, mark_name: str = MASS_MARK) -> str:
    """`ring hole 3/16 from the pin, at least 1/4`, `ring hole over the pin`."""
    spot = f"the {mark_name if of.spot == 'mark' else of.spot}"
    if of.is_over:
        return f"{of.hole} hole {'crossed by' if of.spot == 'track' else 'over'} {spot}"
    return f"{of.hole} hole {_describe_gap(of)} from {spot}, at least {inches(of.limit_in)}"


def _describe_gap(of: Clearance) -> str:
    """A gap as sharp as marks are made by hand, and on its own side of the limit."""
    near = Fraction(round(of.gap_in * 16), 16)
    if of.is_conflict == (near < of.limit_in):
        return inches_within(of.gap_in, ASSUMED_MARK_DOUBT_IN)
    return f"just under {inches(of.limit_in)}" if of.is_conflict else inches(of.limit_in)


def name_mark(marks: BallMarks | None) -> str:
    """Which mark the drilling angle is swung to: without a mass mark the centre of gravity takes its part."""
    if marks is None or marks.has_mass_mark is None:
        measured = marks is not None and marks.pin_mark_in is not None
        return MASS_MARK if measured else "assumed mass mark"
    return MASS_MARK if marks.has_mass_mark else "centre-of-gravity mark"


def _to_invalid(error: CannotBuildError) -> InvalidError:
    sentence = f"Is that right? {error.message[0].upper()}{error.message[1:]}."
    if error.field in _OF_POINT:
        return InvalidError.at("axis_point_id", sentence)
    if error.field in _FIELDS:
        return InvalidError.at(_FIELDS[error.field], sentence)
    return InvalidError.at("", f"The ball’s marks: {error.message}.")


def _read_limits(limits: Mapping[str, SetLimit]) -> Limits:
    return Limits(*(float(limits[f"least_to_{name}"].value_in) for name in ("pin", "mark", "track")))


def read_marks(
    circumference_in: float, marks: BallMarks | None
) -> tuple[float | None, ball_marks.BallMarks | str | None]:
    """The arc from the pin to the mass mark, or what takes its part, and the fitted marks or why they do not fit."""
    if marks is None:
        return None, None
    if marks.has_mass_mark is False:
        arc_in = None if marks.pin_centre_in is None else float(marks.pin_centre_in)
        return arc_in, None
    measured_in = None if marks.pin_mark_in is None else float(marks.pin_mark_in)
    try:
        fitted = fit_stored(circumference_in, marks)
    except CannotBuildError as error:
        return measured_in, error.message
    return (fitted.arcs["pin_mark_in"], fitted) if fitted else (measured_in, None)


def _place_heavy(laid: LaidOut, on: OnBall, fitted: ball_marks.BallMarks | str | None) -> HeavySpot:
    if isinstance(fitted, str):
        return HeavySpot(problem=f"{fitted[0].upper()}{fitted[1:]}.")
    if fitted is None or on.marks is None:
        is_mark = on.marks is not None and on.marks.has_mass_mark is False and on.marks.pin_centre_in is not None
        return HeavySpot(laid.mark if is_mark else None)
    ways = list_ways(fitted, on.marks, laid)
    return HeavySpot(ways[0], len(ways) > 1 and abs(fitted.turn_deg or 0.0) > _AS_ONE_LINE_DEG)


def refuse(fields: Mapping[str, str]) -> InvalidError:
    """One refusal of several fields."""
    return InvalidError(next(iter(fields.values())), {name: FieldError(words) for name, words in fields.items()})
