from typing import Annotated

from pydantic import Field

from app.errors import FieldError
from app.schemas.balances import (
    ArmDoubtText,
    ArmText,
    KnownMassText,
    MassDoubtText,
    MassLiftText,
    ScaleReadingText,
    ScaleStepText,
)
from app.schemas.forms import ArcText, CircumferenceText, Length, NoteText, OptionalPastDay, SignedForm, chosen

_READ = chosen("A reading that was not taken is left empty.")


class ScaleForm(SignedForm):
    """A scale and how it was calibrated: a ball's two-way readings without a known mass taped to it, and with it."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    resolution: ScaleStepText
    arm: ArmText
    arm_doubt: ArmDoubtText
    calibrated_on: OptionalPastDay = None
    mass: KnownMassText
    mass_doubt: MassDoubtText
    mass_step: ScaleStepText
    place: ArcText
    lift: MassLiftText
    circumference: CircumferenceText
    without_first: Annotated[ScaleReadingText, _READ]
    without_turned: Annotated[ScaleReadingText, _READ]
    taped_first: Annotated[ScaleReadingText, _READ]
    taped_turned: Annotated[ScaleReadingText, _READ]
    note: NoteText = ""
    is_retired: bool = False

    @property
    def readings(self) -> dict[str, Length]:
        """The four readings of a calibration by their names."""
        names = ("without_first", "without_turned", "taped_first", "taped_turned")
        return {name: getattr(self, name) for name in names}

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks for what is missing of a calibration that was begun, and for the arm that a doubt is of."""
        wrong = {}
        missing = [name for name, reading in self.readings.items() if reading.value is None]
        if len(missing) < len(self.readings):
            wrong = {
                name: FieldError("An arm needs this reading too: first and turned, both times.") for name in missing
            }
            if self.mass.state == "absent":
                wrong["mass"] = FieldError("Which mass was taped on, as weighed alone?")
        if self.arm_doubt.value is not None and self.arm.state == "absent":
            wrong["arm"] = FieldError("A doubt of which arm? Write the arm, or empty the doubt.")
        return wrong
