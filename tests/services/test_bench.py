"""Ticks, the pause before the first cut, and plans that a later revision makes stale."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Change, Drilling, DrillingStep, now
from app.models.numbers import LengthNumber, MoveNumber, Numbers, PlaceNumber
from app.schemas.drillings import ConfirmationForm, PluggingForm, TickForm
from app.services import bench, changes, drillings, layout_choices
from tests.conftest import not_none
from tests.services import test_axis_points
from tests.services.conftest import Make
from tests.services.test_bench_stops import PLANNED_IN, tick_to
from tests.services.test_layout_choices import choose


def ticked(session: Session, of: Drilling, who: str, position: int, **typed: str) -> DrillingStep:
    unread = {} if "depth" in typed else {"not_read": "true"}
    step = bench.tick(session, of.id, position, TickForm.read({"who": who} | unread | typed))
    session.flush()
    return step


def confirmed(session: Session, of: Drilling, who: str, reason: str = "") -> Drilling:
    made = bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": reason}))
    session.flush()
    return made


def test_a_tick_keeps_who_when_and_what_was_met_and_leaves_history(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    confirmed(session, of, who)
    ticked(session, of, who, 4, bit="1 3/8 old")
    step = ticked(session, of, who, 5, depth="2 49/64 collar", bit="1 1/2 no. 2", note="chips long")
    assert (step.met_depth_in, step.met_datum, step.met_bit) == (Fraction(177, 64), "collar", "1 1/2 no. 2")
    assert step.typed["depth"] == "2 49/64 collar"
    line = next(line for line in changes.list_record_lines(session, of) if line.field.startswith("step 5:"))
    assert "2 49/64 collar" in line.new
    assert line.initials == "TB"


def test_no_cut_before_the_pause(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    of = bench.get_drilling(session, of.id)
    assert bench.needs_pause(of, bench.find_next_step(of))
    with pytest.raises(ConflictError, match="Read back"):
        ticked(session, of, who, 4)
    confirmed(session, of, who)
    of = bench.get_drilling(session, of.id)
    assert not bench.needs_pause(of, bench.find_next_step(of))
    assert (not_none(of.confirmed_by).initials, bool(of.confirmed_at)) == ("TB", True)


def test_nothing_ticks_twice(session: Session, make: Make, who: str) -> None:
    of = make()
    first = ticked(session, of, who, 1)
    when = first.ticked_at
    again = bench.tick(session, of.id, 1, TickForm.read({"who": "1", "note": "again"}))
    assert (again.ticked_at, str(again.staff_id), again.note) == (when, who, "")
    assert len([c for c in changes.list_record_lines(session, of) if c.field.startswith("step 1")]) == 1


def test_steps_are_ticked_and_taken_back_in_their_order(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in range(2, len(of.steps) + 1):
        with pytest.raises(ConflictError, match="Step 1 is still open"):
            ticked(session, of, who, position)
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    with pytest.raises(ConflictError, match="Step 3 is ticked"):
        bench.untick(session, of.id, 1, int(who))
    assert [s.position for s in bench.get_drilling(session, of.id).steps if s.ticked_at] == [1, 2, 3]


def test_a_tick_can_be_taken_back_with_history(session: Session, make: Make, who: str) -> None:
    of = make()
    ticked(session, of, who, 1)
    bench.untick(session, of.id, 1, int(who))
    session.flush()
    assert not_none(bench.find_next_step(bench.get_drilling(session, of.id))).position == 1
    assert changes.list_record_lines(session, of)[0].new == "taken back"


def test_the_last_tick_makes_it_drilled_with_the_bore_as_met(session: Session, make: Make, who: str) -> None:
    of = make()
    of.steps[0].reads = ["depth"]  # as where a route of one's own bores a finger first
    met = {of.steps[0].action: "1 1/8 crown", "bore": "2 49/64 collar"}
    for step in of.steps[:-1]:
        if step.is_cut:
            confirmed(session, of, who)
        ticked(session, of, who, step.position, **({"depth": met[step.action]} if step.action in met else {}))
    of = drillings.get_drilling(session, of.id)
    assert of.state == "drilled"
    assert (not_none(of.bore).depth_in, not_none(of.bore).datum, not_none(of.bore).notch_deg) == (
        Fraction(177, 64),
        "collar",
        Fraction(180),
    )


def test_a_depth_not_read_stays_unknown(session: Session, make: Make, who: str) -> None:
    of = make()
    for step in of.steps[:-1]:
        if step.is_cut:
            confirmed(session, of, who)
        ticked(session, of, who, step.position)
    of = drillings.get_drilling(session, of.id)
    assert (not_none(of.bore).depth_in, not_none(of.bore).datum) == (None, "unknown")


# Checks ---------------------------------------------------------------------------------------------------------


def test_a_failing_check_wants_a_reason_before_the_first_cut(session: Session, make: Make, who: str) -> None:
    of = make(bridge="1/8")
    with pytest.raises(InvalidError) as refused:
        confirmed(session, of, who)
    assert "bridge as cut" in refused.value.fields["reason"].message
    assert confirmed(session, of, who, "bowler insists").confirmed_reason == "bowler insists"


def test_a_plan_from_before_each_bit_had_its_edge_is_told_anew_and_what_was_ticked_stays(
    session: Session, make: Make, who: str
) -> None:
    of = make(hand="right")
    now_told = {s.action: s.numbers for s in of.steps}
    old: dict[str, Numbers] = {
        "mark": (LengthNumber("thumb cut line", 2.03125, "back from the grip centre"),),
        "thumb_check": (LengthNumber("near edge", 2.03125, "back from the grip centre"),),
        "ring_check": (PlaceNumber("near edge", 2.07, 0.57, "from the grip centre"),),
        "oval": (MoveNumber("plunge 1", -0.022, -0.022),),
    }  # fmt: skip
    for step in of.steps:
        if step.action in old:
            step.numbers = old[step.action]
    session.flush()
    ticked(session, of, who, 1)
    session.flush()
    session.expire_all()
    again = {s.action: s.numbers for s in bench.get_drilling(session, of.id).steps}
    assert again["mark"] == old["mark"]
    for action in ("thumb_check", "ring_check", "oval"):
        assert again[action] == now_told[action]
    session.flush()
    session.expire_all()
    kept = {s.action: s.numbers for s in session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == of.id))}
    assert kept == now_told | old


def test_an_older_page_takes_back_no_tick_made_anew(session: Session, make: Make, who: str) -> None:
    of = make()
    bench.tick(session, of.id, 1, TickForm.read({"who": who}))
    session.flush()
    seen = of.version
    bench.untick(session, of.id, 1, int(who), seen)
    bench.tick(session, of.id, 1, TickForm.read({"who": who}))
    session.flush()
    with pytest.raises(ConflictError):
        bench.untick(session, of.id, 1, int(who), seen)
    bench.untick(session, of.id, 1, int(who), of.version)


def test_a_reading_of_a_second_bench_stays_in_the_history(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 3/4 collar")
    for depth in ("2 3/4 collar", "2 25/32 collar"):
        bench.tick(session, of.id, bored.position, TickForm.read({"who": who, "depth": depth}))
    told = session.scalars(select(Change.new).where(Change.field.startswith(f"step {bored.position}:"))).all()
    assert [words for words in told if "not counted" in words] == ["2 25/32 collar: came late, not counted"]
    assert bored.met_depth_in == PLANNED_IN


def test_a_datum_chosen_beside_a_depth_is_that_of_the_bore(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 3/4", datum="collar")
    tick_to(session, of, who, "finger_bevel")
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bore.depth_in, bore.datum) == (PLANNED_IN, "collar")


def test_nothing_is_read_back_after_the_last_cut(session: Session, make: Make, who: str) -> None:
    of = make()
    bench.plug(session, of.id, PluggingForm.read({"who": who, "version": str(of.version), "reason": "given up"}))
    with pytest.raises(ConflictError):
        bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "wanted"}))


def test_a_hole_in_conflict_with_the_layout_needs_a_reason_before_the_first_cut(
    session: Session, plan: Drilling, who: str
) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id, track="4 1/8")
    choose(session, who, plan.ball_id, point.id)
    for position in (1, 2, 3):
        ticked(session, plan, who, position)
    conflicts = layout_choices.list_conflicts(session, plan)
    assert conflicts
    with pytest.raises(InvalidError) as refused:
        confirmed(session, plan, who)
    assert all(words in refused.value.fields["reason"].message for words in conflicts)
    assert confirmed(session, plan, who, "as the bowler asks").confirmed_reason == "as the bowler asks"


def test_a_layout_without_a_conflict_needs_no_reason(session: Session, plan: Drilling, who: str) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id, track="unknown")
    choose(session, who, plan.ball_id, point.id)
    assert layout_choices.list_conflicts(session, plan) == []
    for position in (1, 2, 3):
        ticked(session, plan, who, position)
    assert confirmed(session, plan, who).confirmed_at


@pytest.mark.parametrize(
    ("actions", "due"), [(("mark", "measure", "bore"), [1, 3, 2]), (("measure", "mark", "bore"), [2, 3, 1])]
)
def test_measuring_is_due_last_wherever_a_shops_own_route_has_it(actions: tuple[str, ...], due: list[int]) -> None:
    of = Drilling(steps=[DrillingStep(position=i, action=action) for i, action in enumerate(actions, 1)])
    found = []
    while (step := bench.find_next_step(of)) is not None:
        found.append(step.position)
        step.ticked_at = now()
    assert found == due
