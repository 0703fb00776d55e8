"""How open work becomes jobs: minutes, promises, set-ups, presses. The order itself is tried in `test_job_order`."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from app.closed_sets import TicketKind, WaitKind
from app.services.floor import ASSUMED_MINUTES, CARE_WORDS, USUAL_WORDS, FloorNow
from app.services.job_orders import Proposal, Work, propose
from app.services.set_ups import SetUp
from app.services.ticket_stages import DrillingPart, ShownTicket, Stage, WaitPart

AT = datetime(2026, 11, 28, 9, 0, tzinfo=UTC)
FLOOR = FloorNow(dict(ASSUMED_MINUTES), 6, 1, 14, USUAL_WORDS, CARE_WORDS, is_assumed=True)
STEEP, STRAIGHT = (SetUp("bore", Fraction(3, 2), Fraction(pitch), Fraction(0), Fraction(11, 4)) for pitch in (-1, 0))


def ticket(number: int, what: TicketKind = "sand", due: int | None = None, **more: object) -> ShownTicket:
    promised = None if due is None else AT + timedelta(minutes=due)
    made = ShownTicket(
        id=number, version=1, what=what, state="ready", stage=Stage("ready"), ball_id=number, inner_id=None,
        label="Blue", bowler_id=1, bowler_name="Ada Fenn", promised_at=promised, created_at=AT,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def begun(number: int, part: DrillingPart, is_to_measure: bool = False) -> ShownTicket:
    stage = Stage("on the bench", is_to_measure)
    return ticket(number, "new", drilling_id=number, drilling=part, stage=stage)


def order(
    *tickets: ShownTicket, floor: FloorNow = FLOOR, taken: dict[int, int] | None = None, **set_ups: SetUp
) -> Proposal:
    """The proposal for these; `of_7` is the set-up of drilling 7, `taken` the minutes since a ticket was taken."""
    taken_at = {number: AT - timedelta(minutes=ago) for number, ago in (taken or {}).items()}
    by_drilling = {int(name.removeprefix("of_")): found for name, found in set_ups.items()}
    return propose(Work(list(tickets), {}, taken_at), by_drilling, floor, AT)


def ends(proposal: Proposal) -> dict[int, int]:
    return {of: int((end - AT).total_seconds() // 60) for of, end in proposal.ends.items()}


def test_minutes_are_the_shops_own_for_the_kind_of_work() -> None:
    own = replace(FLOOR, minutes=FLOOR.minutes | {"sand": 21, "thumb": 30}, set_up_minutes=4)
    assert ends(order(ticket(1, "thumb"), floor=own)) == {1: 4 + 30}  # the press is set up for it
    assert ends(order(ticket(1), ticket(2, due=500), floor=own)) == {2: 21, 1: 42}


def test_a_begun_drilling_counts_the_steps_that_are_open() -> None:
    assert ends(order(begun(1, DrillingPart("planned", 4, 9)))) == {1: 6 + 25}
    assert ends(order(begun(1, DrillingPart("planned", 9, 9)))) == {1: 6 + 5}
    assert ends(order(begun(1, DrillingPart("drilled", 9, 9), is_to_measure=True))) == {1: 5}


def test_a_ball_that_is_drilled_needs_no_set_up() -> None:
    found = order(
        begun(1, DrillingPart("drilled", 9, 9), is_to_measure=True),
        ticket(2, "new", drilling_id=2),
        of_1=STEEP,
        of_2=STEEP,
    )
    assert found.set_ups == {2: STEEP.words}
    assert (found.cost.set_ups, found.changed) == (1, frozenset({2}))


def test_what_waits_for_somebody_is_left_out_and_glue_is_counted_from_when_it_is_cured() -> None:
    until = AT + timedelta(minutes=29, seconds=30)
    glued = ticket(1, stage=Stage("waiting", wait=WaitPart(1, "glue", until=until)))
    kinds: tuple[WaitKind, ...] = ("part", "bowler", "question")
    others = [ticket(n, stage=Stage("waiting", wait=WaitPart(n, kind))) for n, kind in enumerate(kinds, 2)]
    assert ends(order(glued, *others)) == {1: 30 + 10}


@pytest.mark.parametrize("stage", ["taken in", "done"])
def test_what_is_not_for_the_press_is_left_out(stage: str) -> None:
    assert order(ticket(1, stage=Stage(stage))).ticket_ids == ()  # type: ignore[arg-type]


def test_balls_of_one_set_up_go_together_unless_a_promise_would_break() -> None:
    planned = [ticket(n, "new", due=600, drilling_id=n, drilling=DrillingPart("planned", 0, 9)) for n in (1, 2, 3)]
    found = order(*planned, of_1=STEEP, of_2=STRAIGHT, of_3=STEEP)
    assert found.cost == (0, 0, 2)
    assert len(found.changed) == 2
    assert found.ticket_ids in ((1, 3, 2), (2, 1, 3), (2, 3, 1), (3, 1, 2))
    planned[1] = replace(planned[1], promised_at=AT + timedelta(minutes=60))
    assert order(*planned, of_1=STEEP, of_2=STRAIGHT, of_3=STEEP).ticket_ids[0] == 2


def test_what_is_in_hand_says_when_the_press_is_free_and_with_which_set_up() -> None:
    held = ticket(1, "new", holder_id=2, drilling_id=1, drilling=DrillingPart("planned", 0, 9), stage=Stage("planned"))
    planned = ticket(2, "new", drilling_id=2, drilling=DrillingPart("planned", 0, 9), stage=Stage("planned"))
    assert ends(order(held, planned, of_1=STEEP, of_2=STEEP)) == {2: 45 + 45}
    assert ends(order(held, planned, of_1=STEEP, of_2=STRAIGHT)) == {2: 45 + 6 + 45}
    sanding = ticket(3, holder_id=2, stage=Stage("on the bench"))
    assert ends(order(sanding, ticket(4), taken={3: 4})) == {4: 6 + 10}
    assert ends(order(sanding, ticket(4), taken={3: 90})) == {4: 5 + 10}  # longer than thought: still a while


def test_a_ticket_before_others_outweighs_and_each_broken_promise_counts_once() -> None:
    first = ticket(1, "redrill", due=81, priority="first")
    found = order(first, *(ticket(n, due=8 + n) for n in (2, 3, 4)))
    assert found.ticket_ids[0] == 1
    assert (found.broken, found.cost.broken) == (3, 3)
    assert order(replace(first, promised_at=AT)).broken == 1


def test_with_two_presses_two_are_done_at_once() -> None:
    found = order(ticket(1), ticket(2), floor=replace(FLOOR, presses=2))
    assert sorted(ends(found).values()) == [10, 10]
    assert not found.is_exact
