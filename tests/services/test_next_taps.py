"""Who is offered what at each stage, cell by cell: one tap, and none that the role may not do."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import get_args

import pytest

from app.access import COUNTER, DRILLER, OWNER, needed_role
from app.closed_sets import TicketKind, TicketStage
from app.pages.registry import PAGES
from app.services.next_taps import Tap, name_tap, name_undo
from app.services.ticket_stages import ShownTicket, Stage, WaitPart
from tests.conftest import not_none

NOON = datetime(2026, 5, 2, 12, tzinfo=UTC)
CURING = NOON + timedelta(minutes=1)
BALL = ShownTicket(
    id=12, version=3, what="new", state="ready", stage=Stage("ready"), ball_id=17, inner_id=None, label="Grey", bowler_id=5,
    bowler_name="Piet", created_at=NOON,
)  # fmt: skip


def at(stage: TicketStage, what: TicketKind = "new", wait: WaitPart | None = None) -> ShownTicket:
    return replace(BALL, stage=Stage(stage, wait=wait), what=what)


def cup(stage: TicketStage) -> ShownTicket:
    """A ball of a tournament with a drilling."""
    return replace(at(stage), drilling_id=4, is_tournament=True)


def measured() -> ShownTicket:
    return replace(replace(at("on the bench"), drilling_id=4), stage=Stage("on the bench", is_to_measure=True))


GLUE, PART = WaitPart(8, "glue", "", CURING), WaitPart(8, "part", "sleeve")
ASKED, CALLED = WaitPart(8, "question", "which hand?"), WaitPart(8, "bowler", "comes at six")
RACK = ("Tagged and racked", "POST", "/tickets/12/ready")
OVER = ("Hand over", "GET", "/tickets/12#hand-over")
ANSWER = ("Answered", "GET", "/tickets/12#wait")
FINE = ("Fine", "POST", "/tickets/12/follow-up")
TAKE = ("Take it", "POST", "/tickets/12/take")
RACK_SCAN = ("Tagged and racked", "GET", "/tickets/12#ready")
SCAN = ("Take it", "GET", "/tickets/12#take")
AGAIN = ("Scan its tag", "GET", "/tickets/12#scan")
BENCH = ("Go on", "GET", "/drillings/4/bench")
PLAN = ("Plan it", "GET", "/balls/17/drillings/new")
NOTHING = None
# (ticket, the counter's tap, the driller's tap)
CELLS: dict[str, tuple[ShownTicket, tuple[str, ...] | None, tuple[str, ...] | None]] = {
    "taken in": (at("taken in"), RACK, RACK),
    "taken in, tournament": (replace(at("taken in"), is_tournament=True), RACK_SCAN, RACK_SCAN),
    "taken in, tournament, an inner": (replace(at("taken in", "thumb"), is_tournament=True, ball_id=None), RACK, RACK),
    "ready, a fit in force": (replace(at("ready"), fit_id=2), NOTHING, PLAN),
    "ready, a draft": (replace(at("ready"), draft_id=9), ("A draft of the fit is to be confirmed", "", ""), ("Confirm the fit", "GET", "/fits/9")),
    "ready, no fit": (at("ready"), ("No fit is in force", "", ""), ("New fit", "GET", "/bowlers/5/fits/new")),
    "ready, to be plugged": (replace(at("ready", "redrill"), fit_id=2, current_drilling_id=4), NOTHING, ("Plug it", "GET", "/drillings/4")),
    "ready, plugged": (replace(at("ready", "redrill"), fit_id=2), NOTHING, PLAN),
    "ready, no drilling": (at("ready", "sand"), NOTHING, TAKE),
    "ready, tournament": (replace(at("ready", "sand"), is_tournament=True), NOTHING, ("Take it", "GET", "/tickets/12#take")),
    "planned": (replace(at("planned"), drilling_id=4), NOTHING, TAKE),
    "planned, in hand": (replace(at("planned"), drilling_id=4, holder_id=2), NOTHING, ("Go on", "GET", "/drillings/4/bench")),
    "planned, tournament, in hand without a scan": (replace(cup("planned"), holder_id=2), NOTHING, SCAN),
    "planned, tournament, in hand": (replace(cup("planned"), holder_id=2, is_taken_by_tag=True), NOTHING, BENCH),
    "on the bench, tournament, without a scan": (cup("on the bench"), NOTHING, SCAN),
    "on the bench, tournament, mixed up": (replace(cup("on the bench"), is_taken_by_tag=True, is_mixed_up=True), AGAIN, SCAN),
    "on the bench, mixed up": (replace(at("on the bench"), drilling_id=4, is_mixed_up=True), AGAIN, AGAIN),
    "taken in, mixed up": (replace(at("taken in"), is_mixed_up=True), AGAIN, AGAIN),
    "done, mixed up": (replace(at("done"), is_mixed_up=True), OVER, OVER),
    "called off, mixed up": (replace(at("called off"), is_mixed_up=True), NOTHING, NOTHING),
    "on the bench, tournament": (replace(cup("on the bench"), is_taken_by_tag=True), NOTHING, BENCH),
    "on the bench": (replace(at("on the bench"), drilling_id=4), NOTHING, ("Go on", "GET", "/drillings/4/bench")),
    "to measure": (measured(), NOTHING, ("Measure and close", "GET", "/drillings/4")),
    "on the bench, no drilling": (at("on the bench", "sand"), NOTHING, ("Done", "POST", "/tickets/12/done")),
    "glue": (at("waiting", wait=GLUE), NOTHING, ("Go on", "GET", "/tickets/12#wait")),
    "part": (at("waiting", wait=PART), NOTHING, ("Go on", "POST", "/waits/8/end")),
    "question": (at("waiting", wait=ASKED), ANSWER, ANSWER),
    "bowler": (at("waiting", wait=CALLED), ANSWER, ANSWER),
    "done": (replace(at("done"), drilling_id=4), OVER, OVER),
    "handed over": (at("handed over"), NOTHING, NOTHING),
    "handed over, to ask after": (replace(at("handed over"), is_to_ask=True), FINE, FINE),
    "followed up": (at("followed up"), NOTHING, NOTHING),
    "called off": (at("called off"), NOTHING, NOTHING),
}  # fmt: skip


def told(tap: Tap | None) -> tuple[str, ...] | None:
    return (tap.words, tap.method, tap.href) if tap else None


@pytest.mark.parametrize("cell", CELLS)
def test_each_role_is_offered_its_one_tap(cell: str) -> None:
    of, counter, driller = CELLS[cell]
    assert told(name_tap(of, COUNTER)) == counter
    assert told(name_tap(of, DRILLER)) == driller
    assert name_tap(of, OWNER) == name_tap(of, DRILLER)


def test_every_stage_is_in_the_table() -> None:
    assert {of.stage.name for of, _, _ in CELLS.values()} == set(get_args(TicketStage))


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("role", [COUNTER, DRILLER])
def test_no_tap_is_offered_that_its_role_may_not_do(cell: str, role: str) -> None:
    tap = name_tap(CELLS[cell][0], role)
    if tap is None or not tap.method:
        return
    path = tap.href.split("#")[0]
    found = [
        route
        for page in PAGES
        for route in page.router.routes
        if route.path_regex.match(path) and tap.method in route.methods
    ]
    assert found, tap
    assert role == DRILLER or needed_role(tap.method, found[0].path) == COUNTER


def test_a_form_carries_the_version_that_was_shown() -> None:
    asked = replace(at("handed over"), is_to_ask=True)
    assert dict(not_none(name_tap(at("taken in"), COUNTER)).fields) == {"version": "3"}
    assert dict(not_none(name_tap(asked, COUNTER)).fields) == {"version": "3", "outcome": "fine"}


@pytest.mark.parametrize(("stage", "outcome"), [("followed up", "not fine"), ("handed over", ""), ("called off", "")])
def test_only_fine_is_undone_by_a_tap(stage: TicketStage, outcome: str) -> None:
    assert name_undo(replace(at(stage), outcome=outcome)) is None
    undo = not_none(name_undo(replace(at("followed up"), outcome="fine")))
    assert (undo.href, undo.fields["version"], bool(undo.fields["why"])) == ("/tickets/12/taking-back", "3", True)
