from typing import Annotated

from pydantic import Field

from app.schemas.forms import SignedForm


class ErasureForm(SignedForm):
    """Erases a bowler; the name has to be typed again, so that a slip erases nobody."""

    name: Annotated[str, Field(max_length=120)]
