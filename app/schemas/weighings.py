from typing import Annotated

from pydantic import Field

from app.closed_sets import WeighedStage
from app.errors import FieldError
from app.schemas.balances import (
    ArmDoubtText,
    ArmText,
    BallOuncesText,
    FingerText,
    KnownMassText,
    RightText,
    ScaleReadingText,
    ScaleStepText,
    TopText,
)
from app.schemas.forms import ArcText, CircumferenceText, Id, Length, NoteText, OptionalId, OptionalPastDay, SignedForm


class ScaleForm(SignedForm):
    """A scale and how it was calibrated: a known mass taped to a ball, and what it read, turned round in between."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    resolution: ScaleStepText
    arm: ArmText
    arm_doubt: ArmDoubtText
    calibrated_on: OptionalPastDay = None
    mass: KnownMassText
    place: ArcText
    circumference: CircumferenceText
    reading_1: ScaleReadingText
    reading_2: ScaleReadingText
    reading_3: ScaleReadingText
    reading_4: ScaleReadingText
    note: NoteText = ""
    is_retired: bool = False

    @property
    def readings(self) -> list[Length]:
        return [self.reading_1, self.reading_2, self.reading_3, self.reading_4]

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks for the mass and its place where there are readings, and for the arm that a doubt is of."""
        wrong = {}
        if any(reading.value is not None for reading in self.readings):
            if self.mass.state == "absent":
                wrong["mass"] = FieldError("Which mass was taped on, as weighed alone?")
            if self.place.state == "absent":
                wrong["place"] = FieldError("Where was the mass taped, measured from the top of the ball?")
        if self.arm_doubt.value is not None and self.arm.value is None:
            wrong["arm"] = FieldError("A doubt of which arm? Write the arm, or empty the doubt.")
        return wrong


class WeighingForm(SignedForm):
    """One weighing of a ball, with two readings each way."""

    scale_id: Id
    stage: WeighedStage
    drilling_id: OptionalId = None
    weight: BallOuncesText
    right_1: RightText
    right_2: RightText
    finger_1: FingerText
    finger_2: FingerText
    top_1: TopText
    top_2: TopText
    regulation_id: OptionalId = None
    note: NoteText = ""

    @property
    def readings(self) -> dict[str, Length]:
        names = ("weight", "right_1", "right_2", "finger_1", "finger_2", "top_1", "top_2")
        return {name: getattr(self, name) for name in names}

    def find_wrong(self) -> dict[str, FieldError]:
        is_read = any(reading.value is not None for reading in self.readings.values())
        return {} if is_read else {"weight": FieldError("Nothing was read: write what the scale shows.")}
