"""Times as people type them: by the shop's clock, without a zone, and around the change to and from summer time."""

from datetime import UTC, datetime, tzinfo
from typing import Annotated

from pydantic import BeforeValidator

_LAST_YEAR = 2199  # later ones are slips, and a clock's reckoning ends at 9999


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
    if typed.year > _LAST_YEAR:
        raise ValueError("That is no day a promise can be for. Look at the year.")
    if back != typed:
        raise ValueError("The clock skips that time, for summer time. Take an hour later.")
    return moment


def tell_showing(moment: datetime, zone: tzinfo | None = None) -> str:
    """Returns whether the clock shows the time of this moment the `first` or the `second` time; "" if once."""
    shown = moment.astimezone(zone).replace(tzinfo=None, fold=0)
    first, second = (_give_zone(shown.replace(fold=fold), zone).astimezone(UTC) for fold in (0, 1))
    if first == second or first.astimezone(zone).replace(tzinfo=None, fold=0) != shown:
        return ""
    return "first" if moment == first else "second"


def _give_zone(shown: datetime, zone: tzinfo | None) -> datetime:
    return shown.replace(tzinfo=zone) if zone else shown.astimezone()


def _read_optional(value: object) -> object:
    typed = value.strip() if isinstance(value, str) else value
    return read_local(typed) if typed and isinstance(typed, str) else typed or None


def _read_needed(value: object) -> object:
    if not value:
        raise ValueError("This is needed.")
    return _read_optional(value)


def _read_tapped(value: object) -> object:
    """A tapped time says how far it is from UTC, so that it is one moment on the night when the clocks change."""
    if not isinstance(value, str) or not value.strip():
        return value or None
    try:
        tapped = datetime.fromisoformat(value.strip())
        if tapped.year > _LAST_YEAR:
            raise ValueError
        return tapped.astimezone(UTC) if tapped.tzinfo else read_local(value)
    except (ValueError, OverflowError):
        raise ValueError("Tap one of these times, or type another.") from None


TappedText = Annotated[datetime | None, BeforeValidator(_read_tapped)]
PromisedText = Annotated[datetime | None, BeforeValidator(_read_optional)]
MomentText = Annotated[datetime, BeforeValidator(_read_needed)]
