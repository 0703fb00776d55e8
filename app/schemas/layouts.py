from fractions import Fraction
from typing import Annotated

from pydantic import Field

from app.closed_sets import CentreSide, FoundBy, Hand, MassMark
from app.errors import FieldError
from app.measures.axis_points import write_point
from app.schemas.balances import BallOuncesText, MarkDoubtText, NeededAngleText, NeededPointText, TopWeightText
from app.schemas.forms import ArcText, Id, NeededArcText, NoteText, OptionalId, OptionalPastDay, SignedForm
from app.schemas.taken_back import TakingBackForm

_HALF_ROUND_IN = Fraction(27, 2)  # of the usual ball


class AxisPointForm(SignedForm):
    """Where the axis point of one hand lies: over on the hand's own side, which its text may name, and up or down."""

    hand: Hand
    point: NeededPointText
    found_on: OptionalPastDay = None
    found_by: FoundBy
    track: ArcText
    note: NoteText = ""

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks about a point on the side of the other hand."""
        point = self.point.given
        if self.track.value is not None and not 0 < self.track.value < _HALF_ROUND_IN:
            return {"track": FieldError("That is no arc on a ball: more than 0, and less than half of the way round.")}
        if not point.over_in:
            return {"point": FieldError("That lies on the centre line. How far over is the axis point?")}
        if point.side in {"", self.hand}:
            return {}
        message = f"Over is towards the {self.hand} on a {self.hand} hand. Is the side wrong, or the hand?"
        return {"point": FieldError(message, (write_point(point, self.hand),))}


class BallMarksForm(SignedForm):
    """The marks of a ball; `version` is the number of the row that the form showed, 0 for none."""

    label_weight: BallOuncesText
    real_weight: BallOuncesText
    top_weight: TopWeightText
    has_mass_mark: MassMark
    pin_mark: ArcText
    pin_centre: ArcText
    mark_centre: ArcText
    centre_side: CentreSide = "unknown"
    doubt: MarkDoubtText
    note: NoteText = ""

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks about arcs to a mass mark that is not there, and about a top weight that acts nowhere."""
        is_marked = self.pin_mark.value is not None or self.mark_centre.value is not None
        if self.has_mass_mark == "no" and is_marked:
            return {"has_mass_mark": FieldError("An arc to a mass mark is written below. Is there a mass mark?")}
        is_placed = any(arc.state != "absent" for arc in (self.pin_centre, self.mark_centre))
        if self.top_weight.value and not is_placed:
            message = "A top weight acts at the centre-of-gravity mark. How far is that from the pin?"
            return {"pin_centre": FieldError(message, ("unknown",))}
        return {}


class LayoutNumbers(SignedForm):
    """The three numbers of a layout."""

    pin_axis: NeededArcText
    axis_line: NeededAngleText
    drilling: NeededAngleText


class LayoutForm(LayoutNumbers):
    """A layout of a ball, from an axis point of its bowler; the ball's newest marks are kept with it.

    `version` is the number of the newest layout that the form showed, 0 for none.
    `misfit`: of one read back against the ball's marks, inches that its arc between pin and mass mark is longer.
    """

    axis_point_id: Id
    drilling_id: OptionalId = None
    note: NoteText = ""
    misfit: Annotated[str, Field(pattern=r"^(-?\d{1,2}\.\d{3,4})?$")] = ""


class LayoutDroppingForm(TakingBackForm):
    """Drops a layout; `is_meant` if a drilling is planned on it."""

    is_meant: bool = False


class LayoutTakingForm(SignedForm):
    """Puts a drilling on a layout chosen since; `version` is the drilling's."""

    layout_id: Id


class FavouriteForm(LayoutNumbers):
    hand: Hand
    label: Annotated[str, Field(min_length=1, max_length=80)]
