"""Why a card was not read or not made, each with words for people."""


class CardError(Exception):
    """A card that cannot be read or made; `message` is for people."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class DamagedError(CardError):
    """Something is missing, was misread, or is no card at all."""


class NoCardError(DamagedError):
    """Nothing of a card: another text, or another file."""


class FurtherError(DamagedError):
    """Contents with a field or a word that this program does not know; whoever signed them may know it."""


class ChangedError(CardError):
    """Whole, but its signature does not belong to what it says: somebody changed it."""


class NewerError(CardError):
    """Written in a format newer than this program."""


class TooLargeError(CardError):
    """More than a card, a text or a picture may be."""


class NoCodeError(CardError):
    """A picture without a readable code, or with the code of something else."""


class NotCarriedError(CardError):
    """A value that no card can hold."""
