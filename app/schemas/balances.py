"""Fields of weights, angles and axis points, as the forms of layouts and weighings have them."""

from fractions import Fraction
from functools import partial
from typing import Annotated

from pydantic import BeforeValidator

from app.measures.axis_points import SidedAxisPoint, read_sided_axis_point
from app.measures.degrees import read_degrees
from app.measures.ounces import read_ball_ounces, read_imbalance, read_ounces
from app.measures.reading import ANGLE_QUANTITIES, WEIGHT_QUANTITIES, Reading
from app.schemas.forms import BLANK, Length, length, make_reader


def ounces(quantity: str) -> BeforeValidator:
    """Returns a validator that reads ounces or grams of a named quantity."""
    return make_reader(lambda text, _: read_ounces(text, WEIGHT_QUANTITIES[quantity]))


def imbalance(along: str) -> BeforeValidator:
    """Returns a validator that reads what a scale shows along `right`, `finger` or `top`."""
    return make_reader(lambda text, _: partial(read_imbalance, along=along)(text))


def _degrees(text: str, _context: object) -> Reading[Fraction]:
    return read_degrees(text, ANGLE_QUANTITIES["layout_angle"])


BallOuncesText = Annotated[Length, make_reader(lambda text, _: read_ball_ounces(text)), BLANK]
TopWeightText = Annotated[Length, ounces("top_weight"), BLANK]
KnownMassText = Annotated[Length, ounces("known_mass"), BLANK]
MassDoubtText = Annotated[Length, ounces("mass_doubt"), BLANK]
MassLiftText = Annotated[Length, length("mass_lift"), BLANK]
ScaleStepText = Annotated[Length, ounces("scale_step"), BLANK]
ScaleReadingText = Annotated[Length, ounces("scale_reading"), BLANK]
RightText = Annotated[Length, imbalance("right"), BLANK]
FingerText = Annotated[Length, imbalance("finger"), BLANK]
TopText = Annotated[Length, imbalance("top"), BLANK]
NeededAngleText = Annotated[Length, make_reader(_degrees, needed=True), BLANK]
MarkDoubtText = Annotated[Length, length("mark_doubt"), BLANK]
ArmText = Annotated[Length, length("scale_arm"), BLANK]
ArmDoubtText = Annotated[Length, length("arm_doubt"), BLANK]
NeededPointText = Annotated[
    Reading[SidedAxisPoint], make_reader(lambda text, _: read_sided_axis_point(text), needed=True), BLANK
]
