"""The one error the calculations raise."""


class CannotBuildError(ValueError):
    """These numbers describe nothing that can be drilled; `field` names the input to change."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field
        self.message = message
