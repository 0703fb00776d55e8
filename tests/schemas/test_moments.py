"""Times around the change to and from summer time, against the days and hours that the rules publish.

In the European Union the clock goes from 02:00 to 03:00 on the last Sunday of March and from 03:00 to 02:00 on the
last Sunday of October, Central European Time: Directive 2000/84/EC, articles 2 and 3 (01:00 UTC). The zone's table is
that of the tz database, through the standard library.
"""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from pydantic import TypeAdapter, ValidationError

from app.schemas.moments import TappedText, read_local, tell_showing

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-11-28T17:00", "2026-11-28T16:00+00:00"),
        ("2026-07-01 17:00", "2026-07-01T15:00+00:00"),
        ("2026-03-29T01:59", "2026-03-29T00:59+00:00"),
        ("2026-03-29T03:00", "2026-03-29T01:00+00:00"),
        ("2026-10-25T02:30", "2026-10-25T00:30+00:00"),  # the first of two
        ("2026-10-25T03:00", "2026-10-25T02:00+00:00"),
    ],
)
def test_a_time_is_read_by_the_clock_of_its_zone(text: str, utc: str) -> None:
    assert read_local(text, BERLIN) == datetime.fromisoformat(utc)


@pytest.mark.parametrize("text", ["2026-03-29T02:00", "2026-03-29T02:30", "2027-03-28T02:59"])
def test_a_time_that_the_clock_skips_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="skips"):
        read_local(text, BERLIN)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "tomorrow",
        "2026-02-30T10:00",
        "25.10.2026",
        "2026-11-28T17:00+01:00",
        "0001-01-01T00:00",
        "9999-12-31T23:59",
    ],
)
def test_what_is_no_time_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"Write day|no day a promise"):
        read_local(text, BERLIN)


@pytest.mark.parametrize(
    ("utc", "showing"),
    [
        ("2026-10-25T00:30+00:00", "first"),
        ("2026-10-25T01:30+00:00", "second"),
        ("2026-10-25T02:00+00:00", ""),
        ("2026-03-29T01:00+00:00", ""),
        ("2026-07-01T12:00+00:00", ""),
    ],
)
def test_a_time_that_comes_twice_is_known(utc: str, showing: str) -> None:
    assert tell_showing(datetime.fromisoformat(utc), BERLIN) == showing


def test_without_a_zone_the_machines_clock_counts() -> None:
    local = datetime(2026, 11, 28, 17, 0)
    assert read_local("2026-11-28T17:00") == local.astimezone(UTC)


@pytest.mark.parametrize("text", ["2026-10-25T02:30+25:00", "soon", "9999-12-31T23:59-10:00"])
def test_a_tapped_time_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValidationError, match="Tap one of these"):
        TypeAdapter(TappedText).validate_python(text)


def test_a_tapped_time_is_one_of_the_two_that_the_clock_shows() -> None:
    tapped = [TypeAdapter(TappedText).validate_python(f"2026-10-25T02:30+0{hours}:00") for hours in (2, 1)]
    assert tapped == [datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)]
    assert TypeAdapter(TappedText).validate_python("") is None
