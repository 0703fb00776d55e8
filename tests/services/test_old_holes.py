"""Old holes: recorded, revised, left by a drilling, and frozen into the plan of the next one."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Change, Drilling, Fit, OldHole, now
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan, read_plan, write_plan
from app.schemas.balls import BallForm
from app.schemas.drillings import ConfirmationForm, PlanForm, PluggingForm, TickForm
from app.schemas.old_holes import OldHoleForm
from app.schemas.personal import ErasureForm
from app.services import balls, bench, bowlers, checks, drillings, old_holes, personal, plans, portable
from app.services.work_outs import build_solids, work_out
from tests.conftest import not_none
from tests.services.conftest import Make

TYPED = {
    "hole": "thumb", "hand": "right", "along": "1 3/4", "along_way": "palm", "across": "3/8", "across_way": "left",
    "size": "1 1/2", "pitch": "1/4 reverse, 1/8 left", "depth": "2 3/4", "state": "filled", "filling": "two-part resin",
    "filled_by": "another shop", "filled_on": "2026-01-02", "drill_from": "2026-01-04",
}  # fmt: skip


@pytest.fixture
def used(session: Session) -> Ball:
    made = not_none(session.scalar(select(Ball).where(Ball.bowler_id == 1)))
    ball = Ball(bowler_id=1, label="Used", circumference_in=made.circumference_in)
    session.add(ball)
    session.flush()
    return ball


def record(session: Session, ball: Ball, who: str, **typed: str) -> OldHole:
    return old_holes.add(session, ball, OldHoleForm.read({"who": who} | TYPED | typed))


def plan(session: Session, ball: Ball, who: str, **typed: str) -> Drilling:
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == 1, Fit.state == "in force")))
    form = {"who": who, "fit_id": str(fit.id), "system_id": str(fit.system_id), "reason": "knowingly"} | typed
    made = plans.plan_drilling(session, ball, PlanForm.read(form))
    session.flush()
    return bench.get_drilling(session, made.id)


def frozen(of: Drilling) -> tuple[PlannedOldHole, ...]:
    return not_none(of.plan).old_holes


def test_a_hole_is_kept_with_its_signs_its_texts_and_a_line_of_history(session: Session, used: Ball, who: str) -> None:
    made = record(session, used, who)
    kept = (made.along_in, made.across_in, made.cut_in, made.forward_in, made.right_in, made.depth_in)
    assert kept == tuple(map(Fraction, ("-7/4", "-3/8", "3/2", "-1/4", "-1/8", "11/4")))
    assert (made.typed["pitch"], made.drill_from) == ("1/4 reverse, 1/8 left", date(2026, 1, 4))
    edited = old_holes.edit(
        session, made.id, OldHoleForm.read({"who": who, "version": str(made.version)} | TYPED | {"depth": "2 1/2"})
    )
    lines = session.scalars(select(Change).where(Change.noun == "old_hole").order_by(Change.id)).all()
    assert [(line.field, line.old, line.new, line.bowler_id) for line in lines] == [
        ("made", "", "thumb hole in Used", 1), ("depth_in", "2 3/4", "2 1/2", 1),
    ]  # fmt: skip
    assert edited.depth_in == Fraction(5, 2)


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("across", "7"),  # more than a quarter of the ball beside the centre line
        ("along", "13.8"),
        ("depth", "4 3/8"),  # through the middle
        ("size", "2 1/2"),
        ("size", ""),
        ("along", "unknown"),
        ("along_way", ""),
        ("filled_on", (date.today() + timedelta(days=2)).isoformat()),
    ],
)
def test_a_hole_that_cannot_be_is_asked_about_at_its_field(
    session: Session, used: Ball, who: str, field: str, text: str
) -> None:
    with pytest.raises(InvalidError) as refused:
        record(session, used, who, **{field: text})
    assert list(refused.value.fields) == [field]
    assert old_holes.list_of_ball(session, used.id) == []


def test_a_removed_ball_takes_no_old_hole(session: Session, used: Ball, who: str) -> None:
    used.removed_at = now()
    with pytest.raises(ConflictError):
        record(session, used, who)


def test_a_plan_freezes_the_holes_as_its_grip_sees_them(session: Session, used: Ball, who: str) -> None:
    record(session, used, who)
    record(session, used, who, state="not there")
    on_mark = plan(session, used, who)
    (hole,) = frozen(on_mark)
    assert (hole.shape.along_in, hole.shape.across_in, hole.shape.forward_in) == (-1.75, -0.375, -0.25)
    drillings.plug(
        session, on_mark.id, PluggingForm.read({"who": who, "version": str(on_mark.version), "reason": "given up"})
    )
    # half an inch nearer the fingers, on the centre line: half an inch farther back from there
    moved = plan(session, used, who, mark_along="1/2", mark_along_way="fingers")
    assert frozen(moved)[0].shape.along_in == pytest.approx(-2.25)
    assert frozen(moved)[0].shape.across_in == pytest.approx(-0.375)
    written = write_plan(moved.plan)
    assert read_plan(written) == moved.plan
    assert isinstance(written, dict)
    older = {name: value for name, value in written.items() if name not in {"old_holes", "grip_mark"}}
    assert not_none(read_plan(older)).old_holes == ()


def test_a_grip_that_goes_no_way_from_the_mark_is_asked_about(session: Session, used: Ball, who: str) -> None:
    record(session, used, who)
    with pytest.raises(InvalidError) as refused:
        plan(session, used, who, mark_along="1")
    assert list(refused.value.fields) == ["mark_along_way"]


def test_an_unknown_of_an_old_hole_stays_unknown_and_nothing_over_it_is_green(
    session: Session, used: Ball, who: str
) -> None:
    record(session, used, who, hole="finger", along="3 7/8", along_way="fingers", across="2 1/2", across_way="right")
    far = {"hole": "finger", "along": "3 7/8", "along_way": "fingers", "across": "2 1/2", "across_way": "left"}
    unknown = record(session, used, who, **far, size="unknown", pitch="unknown", depth="unknown")
    assert (unknown.cut_in, unknown.forward_in, unknown.right_in, unknown.depth_in) == (None, None, None, None)
    made = not_none(plan(session, used, who).plan)
    shape = made.old_holes[1].shape
    assert (shape.cut_in, shape.forward_in, shape.depth_in, len(made.old_holes[1].unknown)) == (1.0, 0.0, 1.0, 3)
    old = [check for check in checks.run_checks(made, work_out(made)) if "old finger hole" in check.what]
    assert [check.holds for check in old] == [True, None]
    told = [wall.describe("middle").endswith(", ASSUMED") for wall in work_out(made).old_walls]
    assert told == [False, True]


def test_a_ball_is_not_made_smaller_than_its_old_holes(session: Session, used: Ball, who: str) -> None:
    hole = record(session, used, who, across="6 1/2")
    smaller = {"who": who, "label": "Used", "circumference": "25.9"}
    with pytest.raises(InvalidError) as refused:
        balls.edit(session, used.id, BallForm.read(smaller | {"version": str(used.version)}))
    assert list(refused.value.fields) == ["circumference"]
    hole.state = "not there"
    assert balls.edit(
        session, used.id, BallForm.read(smaller | {"version": str(used.version)})
    ).circumference_in == Fraction("25.9")


# From drillings -------------------------------------------------------------------------------------------------------


def cut_until(session: Session, of: Drilling, action: str, who: str) -> None:
    bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "knowingly"}))
    for step in of.steps:
        if step.action == action:
            break
        unread = {"not_read": "true"} if "depth" in step.reads else {}
        bench.tick(session, of.id, step.position, TickForm.read({"who": who} | unread))
        session.flush()


def plug(session: Session, of: Drilling, who: str, **typed: str) -> list[OldHole]:
    form = {"who": who, "version": str(bench.get_drilling(session, of.id).version), "reason": "redrill"} | typed
    bench.plug(session, of.id, PluggingForm.read(form))
    session.flush()
    return list(old_holes.list_of_ball(session, of.ball_id))


def test_a_filling_of_holes_that_are_not_ticked_is_asked_about(session: Session, used: Ball, who: str) -> None:
    of = plan(session, used, who)
    with pytest.raises(InvalidError) as refused:
        plug(session, of, who, filling="slug resin")
    assert list(refused.value.fields) == ["filling"]
    assert plug(session, of, who) == []


def test_what_was_cut_stays_as_old_holes_when_a_drilling_is_plugged(session: Session, used: Ball, who: str) -> None:
    of = plan(session, used, who)
    assert plug(session, plan(session, untouched(session), who), who) == []  # nothing was cut in that one
    cut_until(session, of, "ring_pitch", who)
    tomorrow = date.today() + timedelta(days=1)
    thumb, middle = plug(session, of, who, filling="slug resin", drill_from=tomorrow.isoformat(), open_middle="true")
    worked = work_out(not_none(of.plan))
    assert float(thumb.along_in) == pytest.approx(worked.places["thumb"][0], abs=1e-6)
    assert (thumb.cut_in, thumb.forward_in) == (Fraction(3, 2), Fraction(-1, 4))
    assert float(not_none(thumb.depth_in)) == pytest.approx(worked.bore_floor_in, abs=1e-6)
    assert (thumb.state, thumb.filling, thumb.filled_on, thumb.drill_from) == (
        "filled",
        "slug resin",
        date.today(),
        tomorrow,
    )
    assert (middle.name, middle.digit, middle.state, middle.filling) == ("middle hole", "finger", "open", "")
    assert {thumb.drilling_id, middle.drilling_id} == {of.id}


def untouched(session: Session) -> Ball:
    ball = Ball(bowler_id=1, label="Untouched", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    return ball


def test_holes_of_two_drillings_are_measured_from_the_one_mark(session: Session, used: Ball, who: str) -> None:
    first = plan(session, used, who)
    cut_until(session, first, "middle_pitch", who)
    plug(session, first, who)
    second = plan(session, used, who, mark_along="5/8", mark_along_way="palm", mark_turn="5:00")
    solids = build_solids(not_none(second.plan), work_out(not_none(second.plan)).solved)
    cut_until(session, second, "middle_pitch", who)
    thumbs = plug(session, second, who)
    third = plan(session, used, who, mark_along="5/8", mark_along_way="palm", mark_turn="5:00")
    seen = frozen(third)[1].shape.find_axis(solids["thumb"][0].axis.radius_in)
    assert len(thumbs) == 2
    assert seen.centre == pytest.approx(solids["thumb"][0].axis.centre, abs=1e-6)
    assert seen.inwards == pytest.approx(solids["thumb"][0].axis.inwards, abs=1e-6)


def test_an_oval_thumb_hole_without_a_bore_stays_as_wide_as_its_oval(session: Session, make: Make, who: str) -> None:
    of = make(kind="none", hand="right", thumb_hole="15/16 + 1/8 @ 45 right", middle_pitch="0", ring_pitch="0")
    cut_until(session, of, "middle_pitch", who)
    (thumb,) = plug(session, of, who)
    assert thumb.cut_in == Fraction(17, 16)


def test_the_texts_of_a_hole_that_a_drilling_left_read_back_as_its_numbers(
    session: Session, used: Ball, who: str
) -> None:
    of = plan(session, used, who)
    cut_until(session, of, "ring_pitch", who)
    for hole in plug(session, of, who):
        before = {
            c: getattr(hole, c) for c in ("along_in", "across_in", "cut_in", "forward_in", "right_in", "depth_in")
        }
        form = {"who": who, "hand": "right", "version": str(hole.version)} | old_holes.list_texts(hole)
        old_holes.edit(session, hole.id, OldHoleForm.read(form))
        assert before == {c: getattr(hole, c) for c in before}


def test_a_ball_plugged_from_elsewhere_has_holes_that_nobody_recorded(session: Session, used: Ball, who: str) -> None:
    of = plan(session, used, who)
    plug(session, of, who)
    of.plan = of.fit_id = None  # as a drilling of another shop
    session.flush()
    asked = "The ball's old holes are known"
    made = not_none(plan(session, used, who).plan)
    assert [check.holds for check in checks.run_checks(made, work_out(made)) if check.what == asked] == [None]
    made = not_none(plan_with_hole(session, used, who))
    assert not [check for check in checks.run_checks(made, work_out(made)) if check.what == asked]


def test_a_ball_that_may_be_drilled_is_no_green_plan_until_somebody_looked(
    session: Session, used: Ball, who: str
) -> None:
    texts = {"label": "Blue", "who": who}
    balls.edit(session, used.id, BallForm.read({**texts, "holes": "unknown", "version": str(used.version)}))
    asked = "The ball's old holes are known"
    made = not_none(plan(session, used, who).plan)
    assert [check.holds for check in checks.run_checks(made, work_out(made)) if check.what == asked] == [None]
    balls.edit(session, used.id, BallForm.read({**texts, "version": str(used.version)}))
    assert not used.is_perhaps_drilled


def plan_with_hole(session: Session, ball: Ball, who: str) -> Plan | None:
    """The next plan of a ball whose first old hole was recorded by hand."""
    (planned,) = [d for d in drillings.list_of_balls(session, [ball.id]) if d.state == "planned"]
    plug(session, planned, who)
    record(session, ball, who)
    return plan(session, ball, who).plan


def test_a_plug_that_is_not_cured_waits(session: Session, used: Ball, who: str) -> None:
    tomorrow = date.today() + timedelta(days=1)
    hole = record(session, used, who, drill_from=tomorrow.isoformat())
    of = plan(session, used, who)
    made = not_none(of.plan)
    cured = next(c for c in checks.run_checks(made, work_out(made)) if "Cure of" in c.what)
    assert (cured.holds, cured.limit_words) == (False, f"from {tomorrow.isoformat()}")
    with pytest.raises(ConflictError):
        bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "knowingly"}))
    typed = TYPED | {"who": who, "version": str(hole.version), "drill_from": date.today().isoformat()}
    old_holes.edit(session, hole.id, OldHoleForm.read(typed))
    session.flush()
    assert bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "knowingly"})).confirmed_at
    assert not old_holes.have_changed(session, of)


def test_a_plan_says_when_the_old_holes_were_changed_since(session: Session, used: Ball, who: str) -> None:
    of = plan(session, used, who)
    assert not old_holes.have_changed(session, of)
    hole = record(session, used, who, hole="finger", size="1", along_way="fingers", along="5", across="3")
    assert old_holes.have_changed(session, of)
    drillings.plug(session, of.id, PluggingForm.read({"who": who, "version": str(of.version), "reason": "again"}))
    counted = plan(session, used, who)
    unknown = OldHoleForm.read(
        {"who": who, "version": str(hole.version)} | TYPED
        | {"hole": "finger", "size": "unknown", "along_way": "fingers", "along": "5", "across": "3"}
    )  # fmt: skip
    old_holes.edit(session, hole.id, unknown)  # it counts as 1 in now, ASSUMED
    assert old_holes.have_changed(session, counted)


def test_erasing_takes_the_words_of_old_holes_out_of_plans_and_bench(session: Session, used: Ball, who: str) -> None:
    record(session, used, who, label="Anna's old thumb", filling="Anna's own resin")
    of = plan(session, used, who)
    assert any("Anna's" in line for step in of.steps for line in step.cautions)
    bowler = bowlers.get_bowler(session, 1)
    form = {"who": who, "name": bowler.name, "version": str(bowler.version)}
    personal.erase(session, 1, ErasureForm.read(form))
    session.flush()
    lines = list(portable.export_lines(session.connection(), "0"))
    assert not [line for line in lines if "Anna's" in line]
    session.expire_all()
    (hole,) = frozen(bench.get_drilling(session, of.id))
    assert (hole.name, hole.filling, hole.shape.cut_in) == ("thumb hole", "", 1.5)


def test_old_holes_are_exported_and_imported_and_nameless_after_erasing(session: Session, used: Ball, who: str) -> None:
    hole = record(session, used, who, label="Anna's old ring")
    of = plan(session, used, who)
    lines = list(portable.export_lines(session.connection(), "0"))
    assert any('"old_hole"' in line and "two-part resin" in line for line in lines)
    personal._blank_rows(session, personal._select_parts([1]))
    session.expire_all()
    assert (hole.label, hole.filling, hole.filled_by, hole.cut_in) == ("", "", "", Fraction(3, 2))
    assert isinstance(of.plan, Plan)


SLEEVE = {"label": "old sleeve", "along": "2.521823", "across": "0", "across_way": "", "pitch": "1/4 reverse, 0"}
MIDDLE = {
    "hole": "finger", "label": "old middle", "along": "", "along_way": "fingers", "across": "0.607117", "size": "31/32",
    "pitch": "1/4 reverse, 0", "depth": "1", "span": "3.735459",
}  # fmt: skip


def test_a_hole_is_placed_by_its_span_to_a_known_one(session: Session, used: Ball, who: str) -> None:
    # sleeve-to-cut and place of the middle finger in the worked grip of the calculation contract
    sleeve = record(session, used, who, **SLEEVE)
    session.flush()
    middle = record(session, used, who, **MIDDLE, span_from=str(sleeve.id))
    assert float(middle.along_in) == pytest.approx(2.430544, abs=2e-6)
    assert (middle.across_in, middle.typed["span"]) == (Fraction("-0.607117"), "3.735459")
    session.flush()
    again = old_holes.list_texts(middle) | {"who": who, "hand": "right", "version": str(middle.version)}
    assert (again["along"], again["span_from"], again["along_way"]) == ("", str(sleeve.id), "fingers")
    edited = old_holes.edit(session, middle.id, OldHoleForm.read(again | {"along_way": "palm"}))
    assert edited.along_in < sleeve.along_in


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"along": "2"}, "span"),
        ({"span_from": ""}, "span_from"),
        ({"span_from": "999"}, "span_from"),
        ({"span": "7 3/4"}, "span"),
        ({"span": "", "span_from": ""}, "along"),
        ({"size": "unknown"}, "size"),
        ({"along_way": ""}, "along_way"),
    ],
)
def test_a_span_that_says_no_place_is_asked_about_at_its_field(
    session: Session, used: Ball, who: str, typed: dict[str, str], field: str
) -> None:
    sleeve = record(session, used, who, **SLEEVE)
    session.flush()
    with pytest.raises(InvalidError) as refused:
        record(session, used, who, **(MIDDLE | {"span_from": str(sleeve.id)} | typed))
    assert list(refused.value.fields) == [field]


@pytest.mark.parametrize("unknown", ["size", "pitch"])
def test_no_span_runs_to_an_edge_that_nobody_knows(session: Session, used: Ball, who: str, unknown: str) -> None:
    sleeve = record(session, used, who, **(SLEEVE | {unknown: "unknown"}))
    session.flush()
    with pytest.raises(InvalidError) as refused:
        record(session, used, who, **MIDDLE, span_from=str(sleeve.id))
    assert list(refused.value.fields) == ["span_from"]


def test_a_bore_that_went_through_the_middle_stays_as_it_was_drilled(session: Session, used: Ball, who: str) -> None:
    of = plan(session, used, who)
    of.state = "plugged"
    left = record(session, used, who)
    left.depth_in, left.drilling_id = Fraction(23, 4), of.id
    session.flush()
    assert [old.shape.depth_in for old in frozen(plan(session, used, who))] == [5.75]
    old_holes.require_in_ball(session, used.id, Fraction("26.9"))


def test_a_hole_that_is_called_old_is_not_old_twice(session: Session, used: Ball, who: str) -> None:
    assert (record(session, used, who, label="old thumb").name, record(session, used, who).name) == (
        "thumb",
        "thumb hole",
    )
