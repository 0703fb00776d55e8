from typing import Annotated

from pydantic import Field

from app.schemas.forms import SignedForm


class ErasureForm(SignedForm):
    """Erasing wants the bowler's name typed again, so that a slip erases nobody."""

    name: Annotated[str, Field(max_length=120)]
