"""Which inner and bore a plan takes from its hardware, what it freezes, and what may not be planned."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Drilling, Fit, InsertSystem
from app.schemas.drillings import PlanForm
from app.schemas.systems import SystemForm
from app.services import drillings, grips, plans, systems
from app.services.plans import _choose_inner, _plan_bore
from app.services.target_depths import TargetDepth
from app.services.work_outs import work_out
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client, not_none
from tests.services.conftest import Make

LOCK = InsertSystem(inner_ods=["5/4", "9/8", "1"], inner_length_in=Fraction(15, 8), bore_in=None)


@pytest.mark.parametrize(
    ("hole", "oval", "chosen"),
    [
        (Fraction(15, 16), Fraction(1, 16), 1.125),  # 15/16 + 1/16 + two walls of 1/16 are 1 1/8
        (Fraction(61, 64), Fraction(1, 16), 1.25),  # 1/64 more takes the next
        (Fraction(7, 8), None, 1.0),
        (None, None, 1.0),
        (Fraction(5, 4), Fraction(1, 8), 1.25),  # none is wide enough: the widest
    ],
)
def test_the_smallest_inner_that_leaves_both_walls_is_chosen(
    hole: Fraction | None, oval: Fraction | None, chosen: float
) -> None:
    inner = not_none(_choose_inner(LOCK, None, hole, oval, Fraction(1, 16)))
    assert (inner.outside_in, inner.length_in) == (chosen, 1.875)


def test_the_inner_asked_for_is_taken() -> None:
    assert not_none(_choose_inner(LOCK, Fraction(5, 4), Fraction(7, 8), None, Fraction(1, 16))).outside_in == 1.25
    assert _choose_inner(None, None, Fraction(7, 8), None, Fraction(1, 16)) is None


@pytest.mark.parametrize(
    ("inner", "lock", "sleeve", "length"),
    [
        ("15/8", "19/8", "11/4", 1.875),
        (None, "19/8", "11/4", 2.375),
        (None, None, "11/4", 2.75),
        (None, None, None, 2.0),
    ],
)
def test_an_inner_of_unknown_length_counts_as_long_as_its_lock_or_sleeve(
    inner: str | None, lock: str | None, sleeve: str | None, length: float
) -> None:
    # common practice, no source: an inner of which nothing is known counts as 2 in long
    known = [None if text is None else Fraction(text) for text in (inner, lock, sleeve)]
    system = InsertSystem(
        inner_ods=["5/4"], inner_length_in=known[0], lock_depth_in=known[1], sleeve_length_in=known[2]
    )
    assert not_none(_choose_inner(system, None, Fraction(7, 8), None, Fraction(1, 16))).length_in == length


def test_hardware_without_a_bore_is_bored_1_1_2_wide() -> None:
    # common practice, no source
    bore = _plan_bore(LOCK, TargetDepth(2.75, 0.01, "our collar", False), (-0.25, 0.125))
    assert (bore.bore_in, bore.depth_in, bore.depth_half_width_in) == (1.5, 2.75, 0.01)
    assert (bore.forward_in, bore.right_in) == (-0.25, 0.125)


def test_an_inner_that_is_not_offered_is_refused(make: Make) -> None:
    with pytest.raises(InvalidError) as refused:
        make(plan={"inner": "1 1/8"})
    assert "inner" in refused.value.fields


def test_a_plan_freezes_what_the_fit_works_out_to(session: Session, plan: Drilling) -> None:
    worked = work_out(not_none(plan.plan))
    assert worked.solved.spans["middle"].cut_in == pytest.approx(4.0, abs=1e-9)
    assert worked.predicted_in("middle") == worked.solved.spans["middle"].sleeve_to_cut_in
    assert not_none(not_none(plan.plan).bore).bore_in == 1.5  # common practice, no source: a 1-1/2 in bore
    assert worked.solved.half_span_in == pytest.approx(4.0625 / 2, abs=1e-9)
    fit = not_none(session.get(Fit, plan.fit_id))
    fit.span_middle_in = Fraction(5)
    assert work_out(not_none(plan.plan)).predicted_in("middle") == worked.predicted_in("middle")


def test_the_bore_goes_to_our_collar_about_2_3_4_deep(plan: Drilling) -> None:
    # common practice, no source: pilot and bore of such a system go about 2-3/4 deep
    assert not_none(not_none(plan.plan).bore).depth_in == pytest.approx(2.75, abs=1 / 32)
    assert not_none(not_none(plan.plan).bore).depth_words == "our collar"


def test_the_smallest_inner_that_leaves_a_wall_is_chosen(plan: Drilling) -> None:
    # common practice, no source: inners are 1-1/4 or 1-3/8
    assert not_none(not_none(plan.plan).inner).outside_in == 1.25


def test_a_plan_names_the_insert_of_each_finger(session: Session, make: Make) -> None:
    insert = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "finger")))
    plan = not_none(make(middle_insert=str(insert.id)).plan)
    assert plan.inserts == {"middle": insert.label}


def test_a_bore_runs_like_its_thumb_hole_unless_it_is_to_run_straight(make: Make) -> None:
    for runs, pitch in (("like_thumb", (-0.25, 0.125)), ("straight", (0.0, 0.0))):
        plan = not_none(
            make(system={"label": runs}, plan={"bore_runs": runs}, thumb_pitch="1/4 reverse, 1/8 right").plan
        )
        bore, thumb = not_none(plan.bore), not_none(plan.grip.thumb)
        assert ((bore.forward_in, bore.right_in), (thumb.forward_in, thumb.right_in)) == (pitch, (-0.25, 0.125))


def test_a_drilled_ball_is_not_planned_again_before_it_is_plugged(session: Session, plan: Drilling, who: str) -> None:
    form = PlanForm.read({"who": who, "fit_id": str(plan.fit_id)})
    with pytest.raises(ConflictError, match="Plug it"):
        plans.plan_drilling(session, not_none(session.get(Ball, plan.ball_id)), form)


def test_a_fit_that_is_no_longer_in_force_is_not_drilled_from(
    session: Session, anna: Bowler, plan: Drilling, who: str
) -> None:
    draft = not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id, Fit.state == "draft")))
    ball = not_none(session.scalar(select(Ball).where(Ball.label == "Unbored")))
    with pytest.raises(InvalidError) as refused:
        plans.plan_drilling(session, ball, PlanForm.read({"who": who, "fit_id": str(draft.id)}))
    assert "fit_id" in refused.value.fields


def test_another_bowlers_fit_is_not_drilled_from(session: Session, plan: Drilling, who: str) -> None:
    piet = not_none(session.scalar(select(Bowler).where(Bowler.name == "Piet Olander")))
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == piet.id)))
    ball = not_none(session.scalar(select(Ball).where(Ball.label == "Unbored")))
    with pytest.raises(InvalidError):
        plans.plan_drilling(session, ball, PlanForm.read({"who": who, "fit_id": str(fit.id)}))


def test_a_fit_for_a_larger_ball_cannot_be_drilled_in_a_small_one(session: Session, make: Make, who: str) -> None:
    # by hand: 5 5/8 in and half of two holes of about 1 are 6 9/16, less than a quarter of 27 in and more than of 25 1/2
    fit_id = make(kind="none", spans="5 5/8 x 5 5/8").fit_id
    ball = Ball(bowler_id=not_none(session.get(Fit, fit_id)).bowler_id, label="Small", circumference_in=Fraction(51, 2))
    with pytest.raises(InvalidError) as refused:
        plans.preview(session, ball, PlanForm.read({"who": who, "fit_id": str(fit_id)}))
    why = "The fingers are more than a quarter of the ball away."
    assert refused.value.fields["fit_id"].message == f"This fit cannot be drilled in this ball. {why}"


def planned_on(session: Session, fit: Fit, who: str, **choice: str) -> Drilling:
    ball = Ball(bowler_id=fit.bowler_id, label="Green", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    form = PlanForm.read({"who": who, "fit_id": str(fit.id), "reason": "tried here"} | choice)
    return drillings.get_drilling(session, plans.plan_drilling(session, ball, form).id)


def other_system(session: Session, who: str, sleeve_od: str) -> InsertSystem:
    form = TWIST_LOCK | {"label": f"Twist lock, {sleeve_od}", "sleeve_od": sleeve_od, "bore": "1 1/2"}
    made = systems.add(session, SystemForm.read({"who": who} | form))
    session.flush()
    return made


@pytest.mark.parametrize(
    ("sleeve_od", "runs"), [("1 3/8", "like_thumb"), ("1 7/16", "straight"), ("1 1/2", "straight"), ("", "like_thumb")]
)
def test_the_finished_spans_stay_when_the_sleeve_is_another(
    session: Session, by_the_sleeve: Fit, who: str, sleeve_od: str, runs: str
) -> None:
    wanted = grips.solve(by_the_sleeve, by_the_sleeve.system)
    system_id = str(other_system(session, who, sleeve_od).id) if sleeve_od else ""
    of = planned_on(session, by_the_sleeve, who, system_id=system_id, bore_runs=runs)
    worked = work_out(not_none(of.plan))
    for name, typed in (("middle", 3.75), ("ring", 3.875)):
        built, spans = getattr(worked.solved, f"{name}_spans"), getattr(wanted, f"{name}_spans")
        assert built.finished_in == pytest.approx(spans.finished_in, abs=1e-9)
        assert getattr(not_none(not_none(of.plan).kept).finished_in, name) == pytest.approx(spans.finished_in, abs=1e-9)
        assert getattr(not_none(not_none(of.plan).kept).sleeve_to_cut_in, name) == typed
        if sleeve_od == "1 3/8":  # outside source: half of 1/8 in more ball is left; 0.001 for the ball's curve
            assert worked.predicted_in(name) == pytest.approx(typed + 1 / 16, abs=0.001)


def test_the_sleeve_that_a_fit_was_typed_by_keeps_its_numbers(session: Session, by_the_sleeve: Fit, who: str) -> None:
    of = planned_on(session, by_the_sleeve, who, system_id=str(by_the_sleeve.system_id))
    assert not_none(of.plan).kept is None
    worked = work_out(not_none(of.plan))
    assert worked.predicted_in("middle") == pytest.approx(3.75, abs=1e-9)
    assert not_none(of.plan).grip.span_edges == "sleeve"


def test_what_was_kept_is_told_before_and_after_the_plan_is_kept(
    session: Session, client: Client, by_the_sleeve: Fit, who: str
) -> None:
    other = other_system(session, who, "1 3/8")
    ball = Ball(bowler_id=by_the_sleeve.bowler_id, label="Told", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    ids = {"fit_id": str(by_the_sleeve.id), "system_id": str(other.id), "bore_runs": "like_thumb"}
    ball_id = ball.id
    session.commit()
    preview = client.get(f"/balls/{ball_id}/drillings/new?" + "&".join(f"{k}={v}" for k, v in ids.items())).text
    kept = client.post(f"/balls/{ball_id}/drillings", {"who": who} | ids)
    where = kept.headers["location"]
    for page in (preview, client.get(where).text, client.get(f"{where}/sheet").text):
        assert "Finished spans kept." in page
        assert "instead of 3\u00a03/4" in page


def test_an_unknown_notch_is_not_planned_as_the_hardwares_own(session: Session, anna: Bowler, who: str) -> None:
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id, Fit.state == "in force")))
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    assert not_none(planned_on(session, fit, who, system_id=str(lock.id), notch="unknown").plan).notch_deg is None
    assert not_none(planned_on(session, fit, who, system_id=str(lock.id)).plan).notch_deg == 180
