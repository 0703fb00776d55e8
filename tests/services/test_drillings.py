from fractions import Fraction

import pytest
from scipy import stats
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Drilling, Fit, Inner, InsertSystem
from app.schemas.drillings import ClosingForm, DrilledForm, FindingForm, FinishForm, PlanForm, PluggingForm
from app.schemas.fits import FitForm, InForceForm
from app.schemas.systems import SystemForm
from app.services import changes, drillings, fits, grips, measurements, plans, shop_limits, systems
from app.services.work_outs import work_out
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import Client, not_none


@pytest.fixture
def anna(session: Session) -> Bowler:
    return not_none(session.scalar(select(Bowler).where(Bowler.name == "Anna Johnson")))


@pytest.fixture
def plan(session: Session, anna: Bowler, who: str) -> Drilling:
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id, Fit.state == "in force")))
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    ball = Ball(bowler_id=anna.id, label="New red", circumference_in=Fraction(27))
    session.add_all([ball, Ball(bowler_id=anna.id, label="Unbored", circumference_in=Fraction(27))])
    session.flush()
    form = PlanForm.read({"who": who, "fit_id": str(fit.id), "system_id": str(lock.id)})
    made = plans.plan_drilling(session, ball, form)
    session.flush()
    return drillings.get_drilling(session, made.id)


def drilled(session: Session, plan: Drilling, who: str, **typed: str) -> Drilling:
    form = {"who": who, "version": str(plan.version), "depth": "2 3/4", "datum": "collar"} | typed
    made = drillings.mark_drilled(session, plan.id, DrilledForm.read(form))
    session.flush()
    return made


def measured(session: Session, of: Drilling, who: str, middle: str, ring: str) -> Drilling:
    form = {"who": who, "version": str(of.version), "middle": middle, "ring": ring}
    made = measurements.record_measurement(session, of.id, FinishForm.read(form))
    session.flush()
    return drillings.get_drilling(session, made.id)


def test_a_plan_freezes_what_the_fit_works_out_to(session: Session, plan: Drilling) -> None:
    worked = work_out(not_none(plan.plan))
    assert worked.solved.middle_spans.cut_in == pytest.approx(4.0, abs=1e-9)
    assert worked.predicted_in("middle") == worked.solved.middle_spans.sleeve_to_cut_in
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


def test_measured_against_predicted_in_64ths_with_the_span_that_follows(
    session: Session, plan: Drilling, who: str
) -> None:
    of = measured(session, drilled(session, plan, who), who, "3-47/64", "98.2 mm")
    result = not_none(measurements.compare_built(of))
    assert result.verdict == "within"
    assert result.middle.difference_in == pytest.approx(3 + 47 / 64 - result.middle.predicted_in)
    follows = result.as_drilled.middle_spans.finished_in - work_out(not_none(of.plan)).solved.middle_spans.finished_in
    assert follows == pytest.approx(result.middle.difference_in, abs=1e-4)
    assert [m.typed for m in of.measurements] == ["3-47/64", "98.2 mm"]
    assert {c.field for c in changes.list_record_lines(session, of)} >= {"sleeve to cut to middle", "verdict", "state"}


def test_out_of_tolerance_needs_a_reason_that_stays(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 55/64")
    assert of.verdict == "long"
    with pytest.raises(InvalidError) as refused:
        measurements.close_drilling(session, of.id, ClosingForm.read({"who": who, "version": str(of.version)}))
    assert "reason" in refused.value.fields
    closing = {"who": who, "version": str(of.version), "reason": "bowler wants it so"}
    closed = measurements.close_drilling(session, of.id, ClosingForm.read(closing))
    assert (closed.state, closed.verdict_reason) == ("closed", "bowler wants it so")


def test_one_long_and_one_short_is_neither(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 13/16")
    assert of.verdict == "mixed"


def test_measuring_again_keeps_the_first_pair_beside_it(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 55/64")
    of = measured(session, of, who, "3 47/64", "3 55/64")
    assert [m.typed for m in of.measurements if m.what == "span_middle"] == ["3 25/32", "3 47/64"]
    result = not_none(measurements.compare_built(of, shop_limits.load_limits(session)["span_spread"]))
    assert (result.pairs, of.verdict) == (2, "long")
    assert result.middle.measured_in == pytest.approx((3 + 25 / 32 + 3 + 47 / 64) / 2)
    assert not result.is_settled  # the two readings differ by more than the gauge's own doubt


def test_a_verdict_is_that_of_all_pairs_and_not_of_the_last(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3.755", "3.859")
    for middle in ("3.757", "3.754", "3.735"):
        of = measured(session, of, who, middle, "3.859")
    result = not_none(measurements.compare_built(of, shop_limits.load_limits(session)["span_spread"]))
    assert result.pairs == 4
    assert result.middle.measured_in == pytest.approx(3.75025)
    # u² = (8 r² + Σ(x − x̄)²) / 11 / 4 with r 0.0045 stated, coverage 1 − 0.05 / 4, scipy's t at 11: worked by hand
    squares = 8 * 0.0045**2 + sum((x - 3.75025) ** 2 for x in (3.755, 3.757, 3.754, 3.735))
    assert result.half_width_in == pytest.approx(stats.t.ppf(1 - 0.05 / 8, 11) * (squares / 11 / 4) ** 0.5, rel=1e-6)
    assert of.verdict == result.verdict


def test_nothing_closes_unmeasured_and_nothing_is_drilled_twice(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who)
    with pytest.raises(InvalidError):
        measurements.close_drilling(session, of.id, ClosingForm.read({"who": who, "version": str(of.version)}))
    with pytest.raises(ConflictError):
        drilled(session, of, who)


def test_a_bore_without_its_datum_is_kept_as_unknown(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who, depth="2 3/4", datum="unknown")
    assert not_none(drillings.get_drilling(session, of.id).bore).datum == "unknown"


def test_a_depth_that_names_another_datum_than_its_field_is_refused(session: Session, plan: Drilling, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        drilled(session, plan, who, depth="2 3/4 crown", datum="collar")
    assert "datum" in refused.value.fields


def test_the_notch_as_built_is_recorded_apart_from_the_plan(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who, notch="7:00")
    assert not_none(drillings.get_drilling(session, of.id).bore).notch_deg == 210
    assert not_none(of.plan).notch_deg == 180


def test_as_found_is_its_own_record(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 47/64", "3 55/64")
    form = {"who": who, "version": str(of.version), "what": "thumb_hole", "value": "61/64", "note": "sanded at home"}
    measurements.add_finding(session, of.id, FindingForm.read(form))
    session.flush()
    of = drillings.get_drilling(session, of.id)
    assert [(m.stage, m.what) for m in of.measurements][-1] == ("found", "thumb_hole")
    assert not_none(of.plan).grip.thumb.hole_in == 15 / 16
    assert not_none(measurements.compare_built(of)).verdict == "within"


def test_a_plugged_ball_can_be_drilled_again(session: Session, plan: Drilling, who: str, anna: Bowler) -> None:
    drillings.plug(
        session, plan.id, PluggingForm.read({"who": who, "version": str(plan.version), "reason": "wrong ball"})
    )
    session.flush()
    current = drillings.pick_in_force(drillings.list_of_balls(session, [plan.ball_id]))
    assert plan.ball_id not in current


def test_a_drilled_ball_is_not_planned_again_before_it_is_plugged(session: Session, plan: Drilling, who: str) -> None:
    form = PlanForm.read({"who": who, "fit_id": str(plan.fit_id)})
    with pytest.raises(ConflictError, match="Plug it"):
        plans.plan_drilling(session, not_none(session.get(Ball, plan.ball_id)), form)


def test_a_measurement_no_grip_can_have_is_refused_at_its_field(session: Session, plan: Drilling, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        measured(session, drilled(session, plan, who), who, "2 1/2", "5")
    assert refused.value.fields


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


def test_a_straight_bore_predicts_another_sleeve_to_cut(session: Session, plan: Drilling, who: str) -> None:
    form = {"who": who, "fit_id": str(plan.fit_id), "system_id": str(plan.system_id), "bore_runs": "straight"}
    other_ball = not_none(session.scalar(select(Ball).where(Ball.label == "Unbored")))
    straight = plans.plan_drilling(session, other_ball, PlanForm.read(form))
    one, other = work_out(not_none(plan.plan)), work_out(not_none(straight.plan))
    assert one.solved.middle_spans.cut_in == pytest.approx(other.solved.middle_spans.cut_in, abs=1e-9)
    assert (
        abs(one.predicted_in("middle") - other.predicted_in("middle")) > 0.001
    )  # about R·(asin((p + r)/R) − asin(p/R) − asin(r/R))
    assert (
        not_none(one.wall).least_wall_in > not_none(other.wall).least_wall_in
    )  # the tilted hole nears the inner's side


# Spans typed by a sleeve, planned on another ---------------------------------------------------------------------


@pytest.fixture
def by_the_sleeve(session: Session, anna: Bowler, who: str) -> Fit:
    """Anna's fit as a shop types it that measures from the sleeve's outside, 1 1/2 in across."""
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    typed = FIT | {"hand": "right", "system_id": str(lock.id), "spans": "3.75 x 3.875", "span_edges": "sleeve"}
    draft = fits.add_draft(session, anna, FitForm.read({"who": who} | typed))
    fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
    session.flush()
    return fits.get_fit(session, draft.id)


def planned_on(session: Session, fit: Fit, who: str, **choice: str) -> Drilling:
    ball = Ball(bowler_id=fit.bowler_id, label="Green", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    form = PlanForm.read({"who": who, "fit_id": str(fit.id)} | choice)
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


def test_a_draft_typed_by_one_sleeve_asks_before_it_moves_to_another(
    session: Session, anna: Bowler, by_the_sleeve: Fit, who: str
) -> None:
    finished = grips.solve(by_the_sleeve, by_the_sleeve.system).middle_spans.finished_in
    typed = FIT | {"who": who, "hand": "right", "spans": "3.75 x 3.875", "span_edges": "sleeve"}
    draft = fits.add_draft(session, anna, FitForm.read(typed | {"system_id": str(by_the_sleeve.system_id)}))
    session.flush()
    typed |= {"version": str(draft.version), "system_id": str(other_system(session, who, "1 3/8").id)}
    with pytest.raises(InvalidError) as asked:
        fits.edit(session, draft.id, FitForm.read(typed))
    keep, again = asked.value.fields["spans"].choices
    kept = fits.edit(session, draft.id, FitForm.read(typed | {"spans": keep, "span_edges": "finished"}))
    assert float(not_none(kept.span_middle_in)) == pytest.approx(finished, abs=0.00005)
    assert kept.span_edges == "finished"
    assert not_none(FitForm.read(typed | {"spans": again}).spans.value).middle_in == Fraction(15, 4)


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
        assert "instead of 3 3/4" in page


def test_over_a_sleeve_of_unknown_size_the_cut_span_is_predicted(
    session: Session, by_the_sleeve: Fit, who: str
) -> None:
    vague = other_system(session, who, "unknown")
    worked = work_out(not_none(planned_on(session, by_the_sleeve, who, system_id=str(vague.id)).plan))
    assert worked.edges == "cut"
    assert worked.predicted_in("middle") == worked.solved.middle_spans.cut_in


def test_an_unknown_notch_is_not_planned_as_the_hardwares_own(session: Session, anna: Bowler, who: str) -> None:
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id, Fit.state == "in force")))
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    assert not_none(planned_on(session, fit, who, system_id=str(lock.id), notch="unknown").plan).notch_deg is None
    assert not_none(planned_on(session, fit, who, system_id=str(lock.id)).plan).notch_deg == 180


# A left hand's fit of a bowler recorded right-handed --------------------------------------------------------------


def test_the_hand_is_that_of_the_thing_shown(session: Session, client: Client, anna: Bowler, who: str) -> None:
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    left = {"hand": "left", "system_id": str(lock.id), "thumb_pitch": "1/4 reverse, 1/8 under"}
    draft = fits.add_draft(session, anna, FitForm.read({"who": who} | FIT | left))
    fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
    session.flush()
    of = planned_on(session, fits.get_fit(session, draft.id), who, system_id=str(lock.id))
    assert anna.hand == "right"
    of_id, ball_id, bowler_id = of.id, of.ball_id, anna.id
    session.commit()
    bench, tag = client.get(f"/drillings/{of_id}/bench").text, client.get(f"/balls/{ball_id}/tag").text
    assert "Anna Johnson, left hand" in " ".join(bench.split())
    assert "Anna Johnson, left hand" in tag
    met = {"who": who, "version": str(of.version), "depth": "2 3/4", "datum": "collar", "notch": ""}
    session.rollback()
    assert client.post(f"/drillings/{of_id}/drilled", met).status_code == 303
    shown = client.get(f"/drillings/{of_id}").text
    assert "right hand" not in shown
    assert "one-eighth to the left, towards the palm" in shown.split("<h2>As built</h2>")[1]
    session.expire_all()
    bore = not_none(drillings.get_drilling(session, of_id).bore)
    assert (bore.hand, bore.right_in) == ("left", Fraction(-1, 8))
    form = {"who": who, "trimmed_in_id": str(bore.id), "label": "left thumb", "outside": "1 1/4", "thumb_hole": "15/16"}
    session.rollback()
    answer = client.post(f"/bowlers/{bowler_id}/inners", form | {"tilt": "0, 1/8 under", "hand": "right"})
    assert answer.status_code == 303
    assert session.scalar(select(Inner.right_in).order_by(Inner.id.desc()).limit(1)) == Fraction(-1, 8)
