"""A ball before its first cut, as its marks, its layout and what the driller typed tell it."""

from dataclasses import asdict, dataclass, replace
from fractions import Fraction

from app.calculation.balances import Uncertainty
from app.calculation.ball_densities import STARTING_SHARE
from app.models import Ball, BallMarks, Drilling, Layout, Scale, Weighing
from app.models.plans import Plan
from app.services import heavy_spots
from app.services.heavy_spots import ASSUMED_DOUBT_IN, TYPED_ASSUMED, HeavySpot, Missing

TOP_WEIGHT_U_OZ = 1 / 8  # ASSUMED: standard uncertainty of a top weight as labelled or read, no source
LABEL_U_OZ = 2.0  # ASSUMED: of a weight by its label, no source
WEIGHED_U_OZ = 0.35  # ASSUMED: of a ball's weight on a shop's scale, no source
OUNCES_PER_POUND = 16
AS_WEIGHED = "as weighed"


@dataclass(frozen=True)
class TypedStart:
    """What the driller typed for one look at a balance; a weighing keeps what it was held against."""

    top_oz: Fraction | None = None
    along_in: Fraction | None = None
    across_in: Fraction | None = None

    def write(self) -> dict[str, str] | None:
        """What was typed as exact text, to be kept; None where nothing was."""
        return {name: str(value) for name, value in asdict(self).items() if value is not None} or None


def read_start(of: Weighing) -> TypedStart:
    """Returns what was typed for a weighing."""
    return TypedStart(**{name: Fraction(text) for name, text in (of.counted_from or {}).items()})


NOTHING_TYPED = TypedStart()


@dataclass(frozen=True)
class Start:
    """A ball before its first cut, as far as it is known; `words` say where each number is from.

    `is_weighed`: it was weighed all three ways. `is_weight_weighed`: its weight is a scale's, not a label's. `left_out`
    says of a weighing before drilling why it does not count; `is_carried`: its reading is of another scale.
    """

    weight_oz: float | None
    top_oz: float | None
    spot: HeavySpot | None
    top_u_oz: float
    is_weighed: bool
    is_weight_weighed: bool
    missing: tuple[Missing, ...]
    words: tuple[tuple[str, str], ...]
    left_out: str = ""
    is_carried: bool = False
    each_u_oz: tuple[float, float, float] | None = None  # of right, finger and top, where the ball was weighed
    moved_u_in: float = 0.0  # of the grip, where it was laid out anew since
    arm_u_oz: float = 0.0  # of what was weighed, by the arm that it was read on

    def list_doubts(self, density_fraction: float, arm_u_in: float) -> Uncertainty:
        """The standard uncertainties of a balance from this start, which has top weight and heavy spot."""
        of_marks = Uncertainty(density_fraction, self.top_u_oz, self.spot.u_in if self.spot else 0.0, arm_u_in)
        found = replace(of_marks, fill_fraction=STARTING_SHARE)
        if self.each_u_oz is None:
            return found
        found = replace(found, top_weight_oz=self.arm_u_oz, heavy_spot_in=self.moved_u_in)
        return replace(found, is_start_by_arm=self.is_carried, start_oz=self.each_u_oz)


@dataclass(frozen=True)
class Basis:
    """What a prediction is worked out from."""

    drilling: Drilling
    plan: Plan
    layout: Layout | None
    marks: BallMarks | None
    typed: TypedStart
    scale: Scale | None


def start_from_marks(of: Basis) -> Start:
    """Returns the start that a ball's marks and its layout tell, without its weight."""
    missing, told, typed = [], [], of.typed
    top_oz = typed.top_oz if typed.top_oz is not None else of.marks.top_weight_oz if of.marks else None
    if top_oz is None:
        missing.append(Missing("The top weight is not known: read it off the ball, or weigh it.", "marks"))
    else:
        told.append(("Top weight", "typed here" if typed.top_oz is not None else "from the ball’s marks"))
    spot = _find_spot(of)
    if isinstance(spot, Missing):
        missing.append(spot)
    else:
        told.append(("Heavy spot", spot.words))
    return Start(
        None, None if top_oz is None else float(top_oz), None if isinstance(spot, Missing) else spot, TOP_WEIGHT_U_OZ,
        False, False, tuple(missing), tuple(told),
    )  # fmt: skip


def find_weight(ball: Ball, marks: BallMarks | None) -> tuple[float | None, str]:
    """Returns the weight before drilling in ounces, and whether a scale, a label or the ball's record says so."""
    if marks and marks.real_weight_oz:
        return float(marks.real_weight_oz), AS_WEIGHED
    if marks and marks.label_weight_oz:
        return float(marks.label_weight_oz), "as on the label"
    pounds = ball.weight_lb
    return (float(pounds * OUNCES_PER_POUND), "as typed for the ball") if pounds else (None, "")


def _find_spot(of: Basis) -> HeavySpot | Missing:
    typed = of.typed
    if typed.along_in is not None and typed.across_in is not None:
        place = float(typed.along_in), float(typed.across_in)
        return HeavySpot(*place, ASSUMED_DOUBT_IN, "typed here", assumed=(TYPED_ASSUMED,))
    return heavy_spots.find_spot(of.plan.grip.circumference_in, of.layout, of.marks)
