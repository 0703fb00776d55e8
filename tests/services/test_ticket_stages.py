"""In which stage a ticket is: its own state, with its drilling and its wait read over it."""

from datetime import UTC, datetime, timedelta

import pytest

from app.closed_sets import TicketState, list_values
from app.services.ticket_stages import ENDED, OPEN, DrillingPart, Stage, WaitPart, read_stage, read_true_stages

NOON = datetime(2026, 5, 2, 12, tzinfo=UTC)
CURED, CURING = NOON - timedelta(minutes=1), NOON + timedelta(minutes=1)
PLANNED, BEGUN = DrillingPart("planned", 0, 9), DrillingPart("planned", 1, 9)
DRILLED, CLOSED = DrillingPart("drilled", 9, 9), DrillingPart("closed", 9, 9)
PLUGGED, OFF = DrillingPart("plugged", 9, 9), DrillingPart("not drilled", 0, 9)


@pytest.mark.parametrize(
    ("state", "drilling", "until", "stage"),
    [
        ("taken in", None, None, "taken in"),
        ("ready", None, None, "ready"),
        ("on the bench", None, None, "on the bench"),
        ("done", None, None, "done"),
        ("taken in", PLANNED, None, "planned"),
        ("ready", PLANNED, None, "planned"),
        ("ready", BEGUN, None, "on the bench"),
        ("ready", DRILLED, None, "on the bench"),
        ("ready", CLOSED, None, "done"),
        ("ready", PLUGGED, None, "ready"),
        ("ready", OFF, None, "ready"),
        ("ready", BEGUN, CURING, "waiting"),
        ("ready", BEGUN, CURED, "on the bench"),
        ("ready", None, NOON, "ready"),
        ("ready", CLOSED, CURING, "waiting"),
        ("handed over", CLOSED, CURING, "handed over"),
        ("followed up", PLANNED, None, "followed up"),
        ("called off", BEGUN, None, "called off"),
    ],
)
def test_the_stage_is_read_over_the_state(
    state: TicketState, drilling: DrillingPart | None, until: datetime | None, stage: str
) -> None:
    wait = WaitPart(1, "glue", "", until) if until else None
    assert read_stage(state, drilling, wait, NOON).name == stage


def test_a_wait_without_an_end_holds_and_a_drilled_ball_is_to_be_measured() -> None:
    waiting = read_stage("ready", DRILLED, WaitPart(1, "part", "sleeve"), NOON)
    assert (waiting.name, waiting.wait) == ("waiting", WaitPart(1, "part", "sleeve"))
    assert read_stage("ready", DRILLED, None, NOON) == Stage("on the bench", is_to_measure=True)
    assert read_stage("ready", BEGUN, None, NOON) == Stage("on the bench", is_to_measure=False)


@pytest.mark.parametrize(
    ("told", "true"),
    [
        ("taken in, ready, planned, done, handed over, ready", "taken in, ready, planned, done, handed over, done"),
        ("done, handed over, followed up, handed over, ready", "done, handed over, followed up, handed over, done"),
        ("ready, planned, called off, ready, on the bench", "ready, planned, called off, planned, on the bench"),
        ("ready, on the bench, called off, on the bench", "ready, on the bench, called off, on the bench"),
        ("done, handed over, called off", "done, handed over, called off"),
        ("handed over, ready", "handed over, ready"),
        ("", ""),
    ],
)
def test_what_is_taken_back_is_where_it_came_from(told: str, true: str) -> None:
    assert read_true_stages(told.split(", ")) == true.split(", ")


def test_every_state_is_open_or_ended() -> None:
    assert sorted((*OPEN, *ENDED)) == sorted(list_values(TicketState))
