from app.closed_sets import WeighedStage
from app.errors import FieldError
from app.schemas.balances import BallOuncesText, FingerText, RightText, TopText
from app.schemas.forms import Id, Length, NoteText, OptionalId, SignedForm


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
