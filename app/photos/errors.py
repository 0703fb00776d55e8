"""Why a picture was not read, each with words for people."""


class PhotoError(Exception):
    """A picture that cannot be read; `message` is for people."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class UnreadableError(PhotoError):
    """No picture, or one that is cut short or damaged."""


class TooLargeError(PhotoError):
    """More bytes or dots than a telephone makes."""
