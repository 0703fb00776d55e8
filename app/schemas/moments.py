"""Times as people type them: by the shop's clock, without a zone, and around the change to and from summer time."""

from datetime import UTC, datetime, tzinfo
from typing import Annotated

from pydantic import BeforeValidator


def read_local(text: str, zone: tzinfo | None = None) -> datetime:
    """Parses `2026-11-28T17:00` by the clock of `zone`, the machine's without one; raises ValueError in words.

    Of a time that the clock shows twice it takes the first; one that the clock skips is refused.
    """
    try:
        typed = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError("Write day and time as 2026-11-28 17:00.") from None
    if typed.tzinfo is not None:
        raise ValueError("Write day and time by the shop's clock, such as 2026-11-28 17:00.")
    try:
        moment = _give_zone(typed, zone).astimezone(UTC)
        back = moment.astimezone(zone).replace(tzinfo=None)
    except (OverflowError, OSError):
        raise ValueError("That is no day a promise can be for.") from None
    if back != typed:
        raise ValueError("The clock skips that time, for summer time. Take an hour later.")
    return moment


def is_shown_twice(moment: datetime, zone: tzinfo | None = None) -> bool:
    """Whether the clock shows the time of this moment a second time, an hour later or earlier."""
    shown = moment.astimezone(zone).replace(tzinfo=None, fold=0)
    first, second = (_give_zone(shown.replace(fold=fold), zone).astimezone(UTC) for fold in (0, 1))
    if first == second:
        return False
    return first.astimezone(zone).replace(tzinfo=None, fold=0) == shown


def _give_zone(shown: datetime, zone: tzinfo | None) -> datetime:
    return shown.replace(tzinfo=zone) if zone else shown.astimezone()


def _read_optional(value: object) -> object:
    typed = value.strip() if isinstance(value, str) else value
    return read_local(typed) if typed and isinstance(typed, str) else typed or None


def _read_needed(value: object) -> object:
    if not value:
        raise ValueError("This is needed.")
    return _read_optional(value)


PromisedText = Annotated[datetime | None, BeforeValidator(_read_optional)]
MomentText = Annotated[datetime, BeforeValidator(_read_needed)]
