from typing import Annotated

from pydantic import Field

from app.closed_sets import TroubleKind
from app.schemas.forms import Id, OptionalId, SignedForm


class TroubleForm(SignedForm):
    """One line of the service log."""

    system_id: Id
    drilling_id: OptionalId = None
    what: TroubleKind
    note: Annotated[str, Field(max_length=400)] = ""
