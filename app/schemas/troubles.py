from typing import Annotated, Literal

from pydantic import Field

from app.schemas.forms import Id, OptionalId, SignedForm


class TroubleForm(SignedForm):
    """One line of the service log."""

    system_id: Id
    drilling_id: OptionalId = None
    what: Literal["tabs", "binds_top", "binds_lock", "loose", "proud", "stuck"]
    note: Annotated[str, Field(max_length=400)] = ""
