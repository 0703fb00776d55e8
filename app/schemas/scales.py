from typing import Annotated

from pydantic import Field

from app.errors import FieldError
from app.schemas.balances import ArmDoubtText, ArmText, KnownMassText, ScaleReadingText, ScaleStepText
from app.schemas.forms import ArcText, CircumferenceText, Length, NoteText, OptionalPastDay, SignedForm, chosen

_READ = chosen("A reading that was not taken is left empty.")


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
    reading_1: Annotated[ScaleReadingText, _READ]
    reading_2: Annotated[ScaleReadingText, _READ]
    reading_3: Annotated[ScaleReadingText, _READ]
    reading_4: Annotated[ScaleReadingText, _READ]
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
        if self.arm_doubt.value is not None and self.arm.state == "absent":
            wrong["arm"] = FieldError("A doubt of which arm? Write the arm, or empty the doubt.")
        return wrong
