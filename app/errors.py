"""What the shop's rules refuse, in words for people, with the HTTP status that goes with it."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class FieldError:
    """What is wrong with one field, and spellings that would be right."""

    message: str
    choices: tuple[str, ...] = ()


class ShopError(Exception):
    """A refusal with words for people; `fields` ties messages to form fields ("" is the form as a whole)."""

    status = 400
    retry_after_s = 0

    def __init__(self, message: str, fields: dict[str, FieldError] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.fields = fields or {}


class NotFoundError(ShopError):
    status = 404


class ConflictError(ShopError):
    """Another person has changed the record meanwhile, or its state no longer allows this."""

    status = 409


class InvalidError(ShopError):
    """The typed values are invalid; nothing was saved."""

    status = 422

    @classmethod
    def at(cls, field: str, message: str, *choices: str) -> "InvalidError":
        return cls(message, {field: FieldError(message, choices)})


class NotAllowedError(ShopError):
    """Somebody is signed in, but this is not theirs to do; `posted` is what was typed, for somebody who may."""

    status = 403

    def __init__(self, message: str, posted: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.posted = posted or {}


class TooManyTriesError(ShopError):
    """Too many wrong passwords or PINs: every try is refused for a while, a right one too."""

    status = 429
    retry_after_s = 15 * 60


class TooManyCallsError(ShopError):
    """Too many calculations at once for callers who are not signed in."""

    status = 429
    retry_after_s = 2

    def __init__(self) -> None:
        super().__init__("Too many calculations are asked for at once. Try again in a moment.")


class SignedOutError(ShopError):
    """Nobody is signed in, or the sign-in has run out; `posted` is what was typed meanwhile."""

    status = 401

    def __init__(self, posted: Mapping[str, str] | None = None) -> None:
        super().__init__("You are signed out. Sign in to go on.")
        self.posted = posted or {}


class AlreadySentError(ShopError):
    """The form was saved already and is sent again, after a double click or a lost response."""

    status = 303

    def __init__(self, location: str) -> None:
        super().__init__("That was saved already.")
        self.location = location
