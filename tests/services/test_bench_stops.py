"""The bench stops where what was met is beyond a limit, and goes on as somebody decides; steps are skipped, never lost."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Change, Drilling, DrillingStep, now
from app.models.numbers import LengthNumber
from app.schemas.drillings import ConfirmationForm, DecisionForm, DrilledForm, FinishForm, SkipForm, TickForm
from app.services import bench, bench_paper, bench_stops, drillings, measurements
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make

PLANNED_IN = Fraction(11, 4)  # the collar of the demo shop


def tick_to(session: Session, of: Drilling, who: str, action: str, **met: str) -> DrillingStep:
    """Ticks every step before this one as planned, and this one with what was met."""
    for step in bench.get_drilling(session, of.id).steps:
        if step.ticked_at:
            continue
        if step.is_cut and not of.confirmed_at:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "as the bowler asks"}))
        typed = met if step.action == action else {"not_read": "true"} if "depth" in step.reads else {}
        bench.tick(session, of.id, step.position, TickForm.read({"who": who} | typed))
        session.flush()
        if step.action == action:
            return step
    raise AssertionError(action)


def decide(session: Session, of: Drilling, who: str, decision: str, **typed: str) -> Drilling:
    version = str(bench.get_drilling(session, of.id).version)
    form = DecisionForm.read({"who": who, "version": version, "decision": decision} | typed)
    made = bench.decide(session, of.id, form)
    session.flush()
    return made


def stopped_at(session: Session, of: Drilling) -> int | None:
    stop = bench_stops.find_open_stop(bench.get_drilling(session, of.id))
    return stop.position if stop else None


def test_a_depth_within_the_limit_goes_on(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 49/64 collar")
    assert stopped_at(session, of) is None
    assert not_none(not_none(of.as_met).bore).depth_in == 2.765625


def test_a_bore_an_eighth_too_deep_stops_and_a_shim_carries_it_on(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 7/8 collar")
    assert stopped_at(session, of) == bored.position
    told = not_none(bench_stops.list_answers(session, bench.get_drilling(session, of.id))[-1][1])
    assert told.shim_in == pytest.approx(0.125, abs=1e-9)
    with pytest.raises(ConflictError, match=f"stopped at step {bored.position}"):
        bench.tick(session, of.id, bored.position + 1, TickForm.read({"who": who}))
    with pytest.raises(InvalidError) as refused:
        decide(session, of, who, "shim")
    assert set(refused.value.fields) == {"shim"}
    decide(session, of, who, "shim", shim="1/8")
    assert stopped_at(session, of) is None
    glue = next(s for s in of.steps if s.action == "glue")
    assert [n.value_in for n in glue.numbers if isinstance(n, LengthNumber)] == [0.125]
    tick_to(session, of, who, "ring_bore", not_read="true")
    tick_to(session, of, who, "finger_bevel")
    made = drillings.get_drilling(session, of.id)
    bore = not_none(made.bore)
    assert (made.state, bore.depth_in, bore.shim_in, bore.datum) == ("drilled", PLANNED_IN, Fraction(1, 8), "collar")


def test_a_bore_a_32nd_too_deep_takes_a_shim_of_a_32nd(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 25/32 collar")
    assert stopped_at(session, of) == bored.position
    decide(session, of, who, "shim", shim="1/32")
    assert (stopped_at(session, of), of.stops[0].shim_in) == (None, Fraction(1, 32))


def test_a_shim_is_no_reason_for_what_it_does_not_mend(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 25/32 collar", bit="1 3/8")
    with pytest.raises(InvalidError) as refused:
        decide(session, of, who, "shim", shim="1/32")
    assert set(refused.value.fields) == {"reason"}
    assert "Sleeve in its bore" in refused.value.fields["reason"].message
    assert "Bore depth" not in refused.value.fields["reason"].message


def test_a_shim_too_thin_for_the_sleeve_needs_a_reason(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 7/8 collar")
    with pytest.raises(InvalidError, match=r"A shim does not mend this \(Sleeve: 3/32 sunk\)"):
        decide(session, of, who, "shim", shim="1/32")
    decide(session, of, who, "shim", shim="1/32", reason="the inner stands proud by as much")
    assert stopped_at(session, of) is None


def test_planning_the_rest_again_without_a_change_needs_a_reason(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 3/4 collar", bit="1 3/8")
    assert stopped_at(session, of) == bored.position
    with pytest.raises(InvalidError) as refused:
        decide(session, of, who, "plan_rest")
    assert set(refused.value.fields) == {"reason"}
    decide(session, of, who, "plan_rest", reason="its sleeve is turned down")
    assert stopped_at(session, of) is None


def test_carrying_on_needs_a_reason_and_history_tells_it(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 7/8 collar")
    with pytest.raises(InvalidError) as refused:
        decide(session, of, who, "carry_on")
    assert set(refused.value.fields) == {"reason"}
    decide(session, of, who, "carry_on", reason="its sleeve is long enough")
    line = session.scalars(select(Change).order_by(Change.id.desc()).where(Change.field.startswith("stop"))).first()
    assert (not_none(line).new, not_none(line).why) == ("carried on", "its sleeve is long enough")
    assert [stop.decision for stop in of.stops] == ["carried_on"]


def test_a_hand_over_leaves_the_stop_to_the_next_person(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 7/8 collar")
    decide(session, of, who, "hand_over", reason="shims are in the drawer")
    assert stopped_at(session, of) == bored.position
    assert of.stops[0].handed_over == "shims are in the drawer"


def test_a_tick_taken_back_ends_its_stop_and_its_numbers_and_keeps_the_reading(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    planned = {s.position: s.numbers for s in of.steps}
    bored = tick_to(session, of, who, "bore", depth="2 11/16 collar")
    assert stopped_at(session, of) == bored.position
    decide(session, of, who, "take_back")
    assert (stopped_at(session, of), of.as_met) == (None, None)
    assert {s.position: s.numbers for s in bench.get_drilling(session, of.id).steps} == planned
    lines = session.scalars(select(Change).where(Change.new == "taken back")).all()
    assert [line.old for line in lines] == ["2 11/16 collar"]
    tick_to(session, of, who, "bore", depth="2 3/4 collar")
    assert stopped_at(session, of) is None


def test_a_stop_ends_with_the_plug(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 7/8 collar")
    decide(session, of, who, "plug", reason="through the core")
    made = drillings.get_drilling(session, of.id)
    assert (made.state, bench.get_drilling(session, of.id).stops[0].decision) == ("plugged", "plugged")


def test_a_wrong_finger_bit_is_caught_and_the_spans_that_follow_are_those_measured_against(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    tick_to(session, of, who, "middle_bore", depth="1 crown", bit="1 1/32")
    assert stopped_at(session, of) is not None
    decide(session, of, who, "carry_on", reason="a wider insert is here")
    assert not_none(of.as_met).grip.fingers["middle"].cut_in == 33 / 32
    before = work_out(not_none(of.plan)).predicted_in("middle")
    after = work_out(not_none(of.as_met)).predicted_in("middle")
    assert after == pytest.approx(before, abs=0.0005)  # every bit is set by its own near edge, which is marked
    tick_to(session, of, who, "finger_bevel")
    typed = {"who": who, "version": str(drillings.get_drilling(session, of.id).version)}
    typed |= {"middle": f"{after:.4f}", "ring": f"{work_out(not_none(of.as_met)).predicted_in('ring'):.4f}"}
    assert measurements.record_measurement(session, of.id, FinishForm.read(typed)).verdict == "within"
    session.flush()
    made = drillings.get_drilling(session, of.id)
    assert abs(not_none(measurements.compare_built(made)).parts["middle"].difference_in) < 1e-4


def test_the_rest_is_planned_again_with_another_inner(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "bore", depth="2 7/8 collar")
    fixes = {f"{fix.field}={fix.value}" for fix in bench_stops.list_fixes(bench.get_drilling(session, of.id))}
    size = next(fix for fix in sorted(fixes) if fix.startswith("inner="))
    decide(session, of, who, "plan_rest", fix=size, reason="walls")
    wanted = float(sum(map(Fraction, size.removeprefix("inner=").split())))
    assert not_none(not_none(of.as_met).inner).outside_in == wanted
    lock_in = next(s for s in of.steps if s.action == "lock_in")
    assert [n.value_in for n in lock_in.numbers if isinstance(n, LengthNumber)] == [wanted]
    with pytest.raises(ConflictError):
        decide(session, of, who, "carry_on", reason="again")


# Skipped, not read, finished on paper ---------------------------------------------------------------------------------


def test_a_skipped_step_is_not_done_and_nothing_is_recorded_that_it_would_have_made(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    tick_to(session, of, who, "zero")
    for step in bench.get_drilling(session, of.id).steps:
        if step.action == "drill_inner":
            skipped = bench.skip(session, of.id, step.position, SkipForm.read({"who": who, "reason": "by hand"}))
            assert (skipped.is_done, skipped.is_skipped) == (False, True)
        elif not step.ticked_at and step.action != "measure":
            typed = {"who": who} | ({"not_read": "true"} if "depth" in step.reads else {})
            bench.tick(session, of.id, step.position, TickForm.read(typed))
    made = drillings.get_drilling(session, of.id)
    assert (made.state, made.inner_id) == ("drilled", None)


def test_a_skipped_pitch_is_unknown_in_the_bore(session: Session, make: Make, who: str) -> None:
    of = make()
    for step in bench.get_drilling(session, of.id).steps:
        if step.is_cut and not of.confirmed_at:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "as asked"}))
        if step.action in {"bore_pitch", "notch"}:
            bench.skip(session, of.id, step.position, SkipForm.read({"who": who, "reason": "no gauge"}))
        elif step.action != "measure":
            typed = {"who": who} | ({"not_read": "true"} if "depth" in step.reads else {})
            bench.tick(session, of.id, step.position, TickForm.read(typed))
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bore.forward_in, bore.right_in, bore.notch_deg, bore.depth_in) == (None, None, None, None)


def test_a_ball_of_which_every_cut_was_skipped_is_not_drilled(session: Session, make: Make, who: str) -> None:
    of = make()
    for step in bench.get_drilling(session, of.id).steps:
        if step.action != "measure":
            bench.skip(session, of.id, step.position, SkipForm.read({"who": who, "reason": "not ours"}))
    made = drillings.get_drilling(session, of.id)
    assert (made.state, made.bore_id) == ("planned", None)


def test_a_depth_is_met_or_said_to_be_not_read(session: Session, make: Make, who: str) -> None:
    of = make()
    with pytest.raises(InvalidError) as silent:
        tick_to(session, of, who, "bore")
    with pytest.raises(InvalidError) as both:
        tick_to(session, of, who, "bore", depth="2 3/4", not_read="true")
    assert set(silent.value.fields) == set(both.value.fields) == {"depth"}
    step = tick_to(session, of, who, "bore", not_read="true")
    assert step.is_depth_unread


def test_a_bare_depth_is_asked_where_it_was_measured_from(session: Session, make: Make, who: str) -> None:
    of = make()
    with pytest.raises(InvalidError) as bare:
        tick_to(session, of, who, "bore", depth="2 3/4", datum="")
    assert set(bare.value.fields) == {"datum"}
    session.expire_all()
    step = tick_to(session, of, who, "bore", depth="2 3/4", datum="collar")
    assert (step.met_datum, stopped_at(session, of)) == ("collar", None)
    line = session.scalars(select(Change).where(Change.field == f"step {step.position}: {step.words}")).one()
    assert line.new == "2 3/4 collar setting"


def test_a_datum_that_is_written_needs_no_choice(session: Session, make: Make, who: str) -> None:
    of = make()
    assert tick_to(session, of, who, "bore", depth="2 3/4 collar", datum="").met_datum == "collar"


def test_a_datum_chosen_against_the_one_written_is_asked_about(session: Session, make: Make, who: str) -> None:
    with pytest.raises(InvalidError) as both:
        tick_to(session, make(), who, "bore", depth="2 3/4 collar", datum="crown")
    assert set(both.value.fields) == {"datum"}


def test_what_is_finished_on_paper_is_done_and_answered(session: Session, make: Make, who: str) -> None:
    of = make()
    typed = {"who": who, "version": str(of.version), "depth": "2 7/8 collar", "datum": "collar"}
    with pytest.raises(InvalidError) as refused:
        bench_paper.finish_on_paper(session, of.id, DrilledForm.read(typed))
    assert set(refused.value.fields) == {"reason"}
    session.rollback()


def test_on_paper_with_a_reason_every_later_number_follows(session: Session, make: Make, who: str) -> None:
    of = make()
    typed = {"who": who, "version": str(of.version), "depth": "2 7/8 collar", "datum": "collar", "reason": "shimmed"}
    made = bench_paper.finish_on_paper(session, of.id, DrilledForm.read(typed))
    steps = bench.get_drilling(session, of.id).steps
    assert (made.state, not_none(not_none(made.as_met).bore).depth_in) == ("drilled", 2.875)
    assert {s.action for s in steps if not s.is_done} == {"measure"}


def fail_a_check(session: Session, of: Drilling, who: str) -> None:
    """Carries on, with a reason, from a bore so deep that checks fail; the plan as kept and read back fails none."""
    of.planned_reason = ""
    for step in bench.get_drilling(session, of.id).steps:
        if step.is_cut and not of.confirmed_at:
            of.confirmed_at = now()  # no check fails yet, or nobody gave a reason
        if step.action == "bore":
            break
        bench.tick(session, of.id, step.position, TickForm.read({"who": who}))
        session.flush()
    tick_to(session, of, who, "bore", depth="4 1/2 collar")


def test_a_reason_at_a_stop_is_the_reason_at_the_last_tick(session: Session, make: Make, who: str) -> None:
    of = make()
    fail_a_check(session, of, who)
    decide(session, of, who, "carry_on", reason="its core is deeper down")
    tick_to(session, of, who, "finger_bevel")
    assert (of.state, of.confirmed_reason, of.planned_reason) == ("drilled", "", "")


def test_a_failing_check_that_nobody_gave_a_reason_for_stops_the_last_tick(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    fail_a_check(session, of, who)
    decide(session, of, who, "carry_on", reason="taken away below")
    of.stops[0].reason = ""
    last = tick_to(session, of, who, "finger_bevel")
    assert (of.state, stopped_at(session, of)) == ("planned", last.position)
    decide(session, of, who, "carry_on", reason="its core is deeper down")
    assert of.state == "drilled"


def test_a_decision_meant_for_an_earlier_stop_decides_no_later_one(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "middle_bore", depth="1 crown", bit="3")  # such a bit cannot be worked out
    seen = of.version
    decide(session, of, who, "carry_on", reason="plugged there")
    tick_to(session, of, who, "ring_bore", depth="1 crown", bit="3")
    form = {"who": who, "version": str(seen), "decision": "carry_on", "reason": "plugged there"}
    with pytest.raises(ConflictError):
        bench.decide(session, of.id, DecisionForm.read(form))


def test_only_what_is_offered_is_changed_of_the_rest(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "middle_bore", depth="1 crown", bit="1 1/32")  # its inner is drilled by now
    for fix in ("inner=1 3/8", "finger_depth=9", "point=180"):
        with pytest.raises(InvalidError) as refused:
            decide(session, of, who, "plan_rest", fix=fix, reason="wanted")
        assert set(refused.value.fields) == {"fix"}
