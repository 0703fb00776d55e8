from fractions import Fraction

from app.closed_sets import WeighedStage
from app.errors import FieldError
from app.schemas.balances import BallOuncesText, FingerText, RightText, TopText
from app.schemas.forms import Id, Length, NoteText, OptionalId, SignedForm

FARTHEST_APART_OZ = Fraction(1, 2)  # ASSUMED: readings of a scale in good order, turned half about; no source


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
        """Asks about a weighing without a reading, and about two readings of one direction that contradict."""
        if all(reading.value is None for reading in self.readings.values()):
            return {"weight": FieldError("Nothing was read: write what the scale shows.")}
        wrong = {}
        for way in ("right", "finger", "top"):
            first, turned = self.readings[f"{way}_1"].value, self.readings[f"{way}_2"].value
            if first is not None and turned is not None and abs(first - turned) > FARTHEST_APART_OZ:
                apart = float(abs(first - turned))
                words = f"The two readings are {apart:.2f} oz apart. Is the side right? Read again, or leave one blank."
                wrong[f"{way}_2"] = FieldError(words)
        return wrong
