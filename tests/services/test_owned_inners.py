"""An inner that the bowler owns in a new ball, and a new inner that becomes a record.

Heights are held against the formulas of a bore's surface written out with numpy, felt pitches against rotations of
scipy (see the modules of the calculation's tests that they come from).
"""

from dataclasses import replace
from fractions import Fraction
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from app.calculation.bores import Bore
from app.calculation.inners import felt_pitch
from app.closed_sets import RIM_PLACES, InnerKind
from app.errors import ConflictError, InvalidError
from app.models import Ball, DepthObservation, Drilling, DrillingStep, Inner, InsertSystem, Measurement, now
from app.models.numbers import TextNumber
from app.models.plans import Plan
from app.schemas.drillings import ConfirmationForm, DecisionForm, DrilledForm, PlanForm, SkipForm, TickForm
from app.schemas.fits import FitForm, InForceForm
from app.schemas.shops import LimitForm
from app.schemas.systems import RouteForm, SystemForm
from app.services import (
    bench,
    bench_stops,
    changes,
    checks,
    drillings,
    fits,
    inners,
    owned_rims,
    owned_routes,
    plans,
    routes,
    shop_limits,
    systems,
)
from app.services.as_met import put_in_met
from app.services.work_outs import work_out
from seed_demo.world import FIT, TWIST_LOCK
from tests.calculation.test_owned_inners import felt_by_rotation, surface
from tests.conftest import Client, not_none
from tests.services.test_inners_in_bores import proud

pytestmark = pytest.mark.once  # numbers, which no database changes

CUTS_INNER = {a for a, kind in routes.ACTIONS.items() if kind.hole == "thumb" and kind.is_cut} - {
    "pilot", "bore", "ream", "flush", "bevel",
}  # fmt: skip
CUTS_SLEEVE = {"pilot", "bore", "ream", "flush", "bevel", "flush_slug"}


@pytest.fixture
def own(session: Session) -> Inner:
    """Anna's inner, made 1/4 reverse and 2 3/4 deep in her first ball, its notch at 6 o'clock."""
    return inners.get_inner(session, 1)


def new_ball(session: Session, bowler_id: int = 1, circumference: Fraction = Fraction(27)) -> Ball:
    ball = Ball(bowler_id=bowler_id, label="Green", serial="", circumference_in=circumference)
    session.add(ball)
    session.flush()
    return ball


def planned(session: Session, who: str, ball: Ball | None = None, **choices: str) -> Drilling:
    form = {"who": who, "fit_id": "1", "system_id": "1", "reason": "tried here"} | choices
    made = plans.plan_drilling(session, ball or new_ball(session), PlanForm.read(form))
    session.flush()
    return bench.get_drilling(session, made.id)


def refused_at(session: Session, who: str, ball: Ball | None = None, **choices: str) -> dict[str, str]:
    with pytest.raises(InvalidError) as refused:
        planned(session, who, ball, **({"inner_id": "1"} | choices))
    return {name: error.message for name, error in refused.value.fields.items()}


UNREAD = {"not_read": "true"}


def plan_of(drilling: Drilling) -> Plan:
    return not_none(drilling.plan)


def ticked_through(session: Session, of: Drilling, who: str, **typed: str) -> Drilling:
    """Every step ticked but the last, with what was read at the rim."""
    for step in of.steps[:-1]:
        if step.is_cut:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "asked for"}))
            session.flush()
        more = typed if step.action == "read_rim" else {"depth": "2 3/4 collar"} if step.action == "bore" else UNREAD
        bench.tick(session, of.id, step.position, TickForm.read({"who": who} | more))
        session.flush()
    session.expire_all()
    return drillings.get_drilling(session, of.id)


def count(session: Session, model: type) -> int:
    return not_none(session.scalar(select(func.count()).select_from(model)))


# The bore for an owned inner --------------------------------------------------------------------------------------


@pytest.mark.parametrize("tilt", ["0", "-1/16"])
def test_a_plan_for_an_inner_of_unknown_outside_is_not_settled_where_its_rim_leans(
    session: Session, who: str, own: Inner, tilt: str
) -> None:
    limit = LimitForm.read({"who": who, "value": "1/8", "source": "tests"})
    shop_limits.set_limit(session, "lip", limit)
    own.forward_in = Fraction(tilt)
    own.outside_in = own.counted_outside_in
    session.flush()
    settled = not_none(owned_rims.predict_rim(plan_of(planned(session, who, inner_id="1"))))
    own.outside_in = None
    session.flush()
    drilling = planned(session, who, inner_id="1")
    plan, rim = plan_of(drilling), not_none(owned_rims.predict_rim(plan_of(drilling)))
    assert (settled.verdict, settled.flushness) == ("flush", rim.flushness)
    assert rim.verdict == ("measure" if tilt != "0" else "flush")
    assert ("outside of the inner" in rim.advice[0]) == (tilt != "0")
    assert plan.unknown == ("inner outside",)
    told = next(c for c in checks.run_checks(plan, work_out(plan)) if c.what == "The bowler's own inner is known")
    assert told.holds is None


def test_an_inner_made_for_this_fit_gets_the_bore_it_was_made_in(session: Session, who: str, own: Inner) -> None:
    plan = plan_of(planned(session, who, inner_id="1"))
    owned, bore = not_none(plan.owned), not_none(plan.bore)
    assert (bore.forward_in, bore.right_in, owned.chosen.turn_deg) == pytest.approx((-0.25, 0, 0), abs=1e-5)
    assert bore.depth_in == pytest.approx(2.75, abs=1e-5)  # as that ball was read, not as our collar usually bores
    assert plan.notch_deg == 180
    assert owned.other is None
    assert not_none(not_none(owned_rims.predict_rim(plan)).flushness).highest_in == pytest.approx(0, abs=1e-5)
    thumb = plan.grip.require_thumb()
    assert (thumb.hole_in, thumb.oval_in, thumb.oval_deg) == (0.9375, 0.0625, 45)
    assert (thumb.forward_in, thumb.right_in) == pytest.approx((-0.25, 0), abs=1e-6)
    worked = work_out(plan)
    assert worked.cuts_of("thumb") == []
    assert len(worked.cuts_of("bore")) == 1
    names = {check.what for check in checks.run_checks(plan, worked)}
    assert not names & {"Least wall of the inner", "Drill clears the slug and spares the lock", "In stock at this size"}


def tilted(session: Session, own: Inner) -> None:
    """Gives Anna's inner a tilt of its own, and the bore it was made in a lateral pitch."""
    own.forward_in, own.right_in = Fraction(-1, 8), Fraction(1, 16)
    own.trimmed_in.forward_in, own.trimmed_in.right_in = Fraction(-3, 8), Fraction(1, 8)
    own.trimmed_in.notch_deg, own.oval_deg = Fraction(200), Fraction(75)
    session.flush()


MADE = Bore(27.0, 1.5, 2.75, -0.375, 0.125)
MADE_FOR_ANNA = Bore(27, 1.5, 2.75, -0.25, 0)


def test_felt_first_feels_as_the_fit_says_with_the_smallest_equal_lips(session: Session, who: str, own: Inner) -> None:
    tilted(session, own)
    ball = new_ball(session, circumference=Fraction("26.8"))
    plan = plan_of(planned(session, who, ball, inner_id="1"))
    owned, bore = not_none(plan.owned), not_none(plan.bore)
    turn = owned.chosen.turn_deg
    felt = felt_by_rotation(26.8, (bore.forward_in, bore.right_in), (-0.125, 0.0625), turn)
    assert felt == pytest.approx((-0.25, 0.0), abs=1e-5)
    assert (75 + turn) % 180 == pytest.approx(45)  # the oval lies as the fit has it
    assert plan.notch_deg == pytest.approx((200 + turn) % 360)
    fitted = Bore(26.8, 1.5, bore.depth_in, bore.forward_in, bore.right_in)
    rim = proud(MADE, fitted, turn)
    assert rim.max() == pytest.approx(-rim.min(), abs=1e-5)
    assert rim.max() == pytest.approx(not_none(owned.chosen.highest_in), abs=1e-6)
    for other in (turn + 180,):  # the other turn that has the oval right
        again = felt_by_rotation(26.8, (0.0, 0.0), (-0.125, 0.0625), other)
        bored = Bore(26.8, 1.5, 0.0, -0.25 - again[0], -again[1])
        assert np.ptp(proud(MADE, bored, other)) > np.ptp(rim) - 0.002


def test_flush_first_is_flush_and_its_felt_difference_is_told(session: Session, who: str, own: Inner) -> None:
    tilted(session, own)
    plan = plan_of(planned(session, who, inner_id="1", fitted_by="flush"))
    owned, bore = not_none(plan.owned), not_none(plan.bore)
    rim = proud(MADE, Bore(27.0, 1.5, bore.depth_in, bore.forward_in, bore.right_in), owned.chosen.turn_deg)
    assert np.abs(rim).max() < 5e-5
    felt = felt_by_rotation(27.0, (bore.forward_in, bore.right_in), (-0.125, 0.0625), owned.chosen.turn_deg)
    thumb = plan.grip.require_thumb()
    assert (thumb.forward_in, thumb.right_in) == pytest.approx(felt, abs=1e-5)
    assert abs(thumb.forward_in + 0.25) + abs(thumb.right_in) > 0.1  # not what the fit asks: it is told
    other = not_none(owned.other)
    assert (other.felt_forward_in, other.felt_right_in) == pytest.approx((-0.25, 0), abs=1e-6)
    by_feel = not_none(plan_of(planned(session, who, inner_id="1")).owned)
    assert (by_feel.chosen, by_feel.other) == (other, owned.chosen)


def test_where_flush_cannot_be_had_what_can_be_undone_is_told_and_no_trim(
    session: Session, who: str, own: Inner
) -> None:
    tilted(session, own)
    rim = not_none(owned_rims.predict_rim(plan_of(planned(session, who, inner_id="1"))))
    assert rim.verdict != "flush"
    words = " ".join(rim.advice)
    assert rim.advice[-1] == owned_rims.NO_TRIM
    assert "shim" in words
    assert "differs from the fit by" in words


def test_spans_follow_from_the_inners_own_hole(session: Session, who: str, own: Inner) -> None:
    own.hole_in, own.oval_in = Fraction(1), Fraction(0)
    session.flush()
    plan = plan_of(planned(session, who, inner_id="1"))
    assert not_none(plan.owned).asked[:2] == (0.9375, 0.0625)
    assert (plan.grip.require_thumb().hole_in, plan.grip.require_thumb().oval_in) == (1, 0)
    spans = work_out(plan).solved.spans["middle"]
    assert spans.cut_in == pytest.approx(4)  # the fit's span, from the edge of the hole that will be there
    new = work_out(plan_of(planned(session, who))).solved.spans["middle"]
    assert not_none(spans.sleeve_to_cut_in) > not_none(new.sleeve_to_cut_in)


def test_a_depth_of_unknown_datum_widens_the_interval(session: Session, who: str, own: Inner) -> None:
    known = not_none(plan_of(planned(session, who, inner_id="1")).owned).half_width_in
    own.trimmed_in.datum = "unknown"
    session.flush()
    owned = not_none(plan_of(planned(session, who, inner_id="1")).owned)
    assert owned.half_width_in > known
    assert owned.made_words == "measured, but nobody knows from what"


def test_another_shops_inner_is_bored_for_as_that_shop_bores(session: Session, who: str) -> None:
    inner = inners.get_inner(session, 2)  # Northgate told 2 11/16; 1/4 reverse; nobody was asked about its tilt
    typed = FIT | {"who": who, "hand": "right", "system_id": "1"}
    draft = fits.add_draft(session, inner.bowler, FitForm.read(typed))
    session.flush()
    fit = fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
    ball, chosen = new_ball(session, inner.bowler_id), {"fit_id": str(fit.id), "inner_id": "2"}
    assert "notch" in not_none(plan_of(planned(session, who, ball, **chosen)).owned).unknown[0]
    ball = new_ball(session, inner.bowler_id)
    inner.trimmed_in.notch_deg = Fraction(180)
    session.flush()
    plan = plan_of(planned(session, who, ball, **chosen))
    owned, bore = not_none(plan.owned), not_none(plan.bore)
    assert bore.depth_in == pytest.approx(2.6875, abs=1e-5)
    assert (bore.forward_in, bore.right_in) == pytest.approx((-0.25, 0), abs=1e-5)
    assert owned.doubts == ("the tilt of its hole (straight, or never asked)",)
    assert owned.made_words == "Northgate Drilling usually bores so"
    assert owned.half_width_in > 1 / 64
    assert (plan.grip.require_thumb().hole_in, owned.asked[0]) == (31 / 32, 15 / 16)
    rim = not_none(owned_rims.predict_rim(plan))
    assert rim.flushness
    assert rim.verdict == "measure"  # a word of another shop does not make it green


def test_only_an_inner_that_can_go_in_is_taken(session: Session, who: str, own: Inner) -> None:
    assert set(refused_at(session, who, inner_id="2")) == {"inner_id"}  # of another bowler
    assert set(refused_at(session, who, inner_id="999")) == {"inner_id"}
    assert set(refused_at(session, who, system_id="2")) == {"inner_id"}
    assert set(refused_at(session, who, system_id="")) == {"inner_id"}
    assert set(refused_at(session, who, notch="6:00")) == {"notch"}
    own.trimmed_in.hand = "left"
    assert "left" in refused_at(session, who)["inner_id"]
    own.trimmed_in.hand, own.retired_at = "", now()
    assert "retired" in refused_at(session, who)["inner_id"]


@pytest.mark.parametrize(("field", "words"), [("forward_in", "tilt"), ("hole_in", "thumb hole")])
def test_without_tilt_or_hole_nothing_can_be_said_and_what_to_measure_is(
    session: Session, who: str, own: Inner, field: str, words: str
) -> None:
    setattr(own, field, None)
    session.flush()
    told = refused_at(session, who)["inner_id"]
    assert words in told
    assert "Cannot say" in told


def surfaces(od: float, bores: list[Bore]) -> np.ndarray:
    """Heights of the ball over the seats of these bores around a rim, straight from the sphere."""
    return np.array([surface(bore, od / 2, 0.0) + bore.depth_in for bore in bores])


def test_an_unknown_pitch_gives_a_range_of_depth_and_rim_and_the_felt_pitch_all_the_same(
    session: Session, who: str, own: Inner
) -> None:
    own.trimmed_in.forward_in = own.trimmed_in.right_in = None
    own.trimmed_in.datum = "collar"
    session.flush()
    of = planned(session, who, inner_id="1")
    plan = plan_of(of)
    owned, bore, rim = not_none(plan.owned), not_none(plan.bore), not_none(owned_rims.predict_rim(plan))
    assert owned.made_in is None
    assert "pitch" in owned.unknown[0]
    assert (bore.forward_in, bore.right_in) == pytest.approx((-0.25, 0), abs=1e-5)  # its tilt is known to be none
    fitted = Bore(27, 1.5, bore.depth_in, -0.25, 0)
    made = [Bore(27, 1.5, 2.75, forward, 0) for forward in np.linspace(0, 0.5, 9)]
    every, ours = surfaces(1.25, made), surface(fitted, 0.625, 0.0) + bore.depth_in
    balanced = [np.roll(one, turn) - ours for one in every for turn in range(0, 360, 5)]
    needed = [bore.depth_in + (heights.max() + heights.min()) / 2 for heights in balanced]
    assert owned.depths_in == pytest.approx((min(needed), max(needed)), abs=0.0005)
    assert bore.depth_in == pytest.approx(min(needed), abs=0.0005)  # shallow first: it can be deepened
    possible = not_none(rim.range)
    assert (possible.lowest_in, possible.highest_in) == pytest.approx(
        (min(h.min() for h in balanced), max(h.max() for h in balanced)), abs=0.0005
    )
    assert rim.verdict == "measure"
    assert rim.flushness is None
    names = {check.what: check.holds for check in checks.run_checks(plan, work_out(plan))}
    assert names["The bowler's own inner is known"] is None
    assert_spared([s.action for s in of.steps])
    assert "dry" in next(s.words for s in of.steps if s.action == "bore")
    read = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert {r.foreseen_in for r in read.readings} == {None}
    assert read.range == possible
    met = {"who": who, "version": str(of.version), "depth": "2 7/8", "datum": "collar"}
    owned_rims.mark_drilled(session, of.id, DrilledForm.read(met))
    session.flush()
    again = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    sunk = 2.875 - bore.depth_in
    assert not_none(again.range).highest_in == pytest.approx(possible.highest_in - sunk, abs=1e-5)
    assert "pitch" in refused_at(session, who, new_ball(session), fitted_by="flush")["fitted_by"]


def test_an_unknown_depth_says_so_and_gives_no_height(session: Session, who: str, own: Inner) -> None:
    session.execute(delete(DepthObservation))
    own.trimmed_in.depth_in = None
    session.flush()
    of = planned(session, who, inner_id="1")
    plan = plan_of(of)
    owned, rim = not_none(plan.owned), not_none(owned_rims.predict_rim(plan))
    assert "depth" in owned.unknown[0]
    assert (owned.chosen.highest_in, owned.depths_in, rim.range, rim.verdict) == (None, None, None, "measure")
    assert not_none(plan.bore).forward_in == pytest.approx(-0.25, abs=1e-5)
    told = next(s for s in of.steps if s.action == "read_rim").numbers
    assert [isinstance(n, TextNumber) and n.words.startswith("cannot say") for n in told] == [True]


def test_an_unknown_notch_leaves_the_notch_unknown_and_the_rim_a_range(session: Session, who: str, own: Inner) -> None:
    own.trimmed_in.notch_deg = None
    session.flush()
    plan = plan_of(planned(session, who, inner_id="1"))
    owned, rim = not_none(plan.owned), not_none(owned_rims.predict_rim(plan))
    assert plan.notch_deg is None
    made = Bore(27, 1.5, 2.75, -0.25, 0)
    fitted = replace(made, depth_in=not_none(plan.bore).depth_in)
    every = [proud(made, fitted, turn) for turn in range(0, 360, 5)]
    found = (not_none(owned.chosen.lowest_in), not_none(owned.chosen.highest_in))
    assert found == pytest.approx((min(h.min() for h in every), max(h.max() for h in every)), abs=0.0005)
    assert rim.verdict == "measure"


# Its route --------------------------------------------------------------------------------------------------------


def assert_spared(actions: list[str]) -> None:
    assert not set(actions) & CUTS_INNER
    assert not set(actions) & {"thumb_pitch", "thumb_check", "zero_inner"}
    home = actions.index("lock_in")
    assert not set(actions[home:]) & CUTS_SLEEVE
    assert actions.count("lock_in") == actions.count("read_rim") == 1
    assert home < actions.index("read_rim")


@given(
    st.one_of(
        st.sampled_from(list(routes.ROUTES.values())), st.lists(st.sampled_from(list(routes.ACTIONS)), unique=True)
    )
)
def test_no_route_cuts_an_owned_inner(route: list[str]) -> None:
    adapted = owned_routes.adapt_route([(a, f"our words for {a}") for a in route])
    actions = [action for action, _ in adapted]
    assert_spared(actions)
    assert all(words for _, words in adapted)
    left = [a for a in route if a in actions and a not in {"clean", "lock_in", "free_turn", "read_rim"}]
    assert [a for a in actions if a in left] == left  # in their own order


@pytest.mark.parametrize("kind", ["bore_floor", "ball_surface", "by_hand"])
@pytest.mark.parametrize("is_own_route", [False, True])
def test_a_drilling_on_each_hardware_spares_the_inner(
    session: Session, who: str, own: Inner, kind: str, is_own_route: bool
) -> None:
    form = TWIST_LOCK | {"who": who, "label": kind, "height_set_by": kind}
    lock = systems.add(session, SystemForm.read(form))
    session.flush()
    if is_own_route:
        posted = {"who": who, "version": str(lock.version)}
        mixed = sorted(routes.ACTIONS)
        posted |= {f"keep-{a}": "1" for a in mixed} | {f"place-{a}": str(i) for i, a in enumerate(mixed)}
        routes.edit(session, lock.id, RouteForm.read(posted))
    own.system_id = lock.id
    session.flush()
    session.expire_all()
    of = planned(session, who, inner_id="1", system_id=str(lock.id))
    assert_spared([s.action for s in of.steps])
    assert of.inner_id == 1
    rim = next(s for s in of.steps if s.action == "read_rim")
    assert [n.what for n in rim.numbers] == ["front", "right", "back", "left"]
    assert rim.reads == ["rim"]
    predicted = not_none(owned_rims.predict_rim(plan_of(of)))
    assert predicted.verdict == "measure"  # no height of this hardware is measured yet
    assert "ASSUMED" in predicted.advice[0]
    depth = not_none(plan_of(of).bore).depth_in
    assert depth == pytest.approx(2.75, abs=1e-5)  # the flange's own height, or as the inner was made


def test_the_rim_is_read_and_held_against_the_plan(session: Session, who: str, own: Inner) -> None:
    before, stock = count(session, Inner), dict(own.system.stock)
    of = planned(session, who, inner_id="1")
    rim = {"rim_12": "1/64 proud", "rim_3": "flush", "rim_6": "1/64 sunk", "rim_9": ""}
    drilled = ticked_through(session, of, who, **rim)
    assert drilled.state == "drilled"
    read = not_none(owned_rims.compare_rim(session, drilled)).readings
    assert [(r.place, r.read_in) for r in read] == [
        ("front", Fraction(1, 64)), ("right", 0), ("back", Fraction(-1, 64)), ("left", None),
    ]  # fmt: skip
    assert not_none(read[0].difference_in) == pytest.approx(1 / 64, abs=1e-5)
    rows = session.scalars(select(Measurement).where(Measurement.drilling_id == of.id)).all()
    assert {(m.what, m.inner_id, m.stage) for m in rows} == {(w, 1, "built") for w in ("rim_12", "rim_3", "rim_6")}
    assert inners.list_findings(session, 1) == []  # what was built is no finding
    assert any("front 1/64 proud" in line.new for line in changes.list_record_lines(session, drilled))
    assert (drilled.inner_id, count(session, Inner)) == (1, before)
    assert not_none(session.get(InsertSystem, 1)).stock == stock
    assert {d.id for d in inners.list_drillings(session, 1)} == {1, 2, of.id}


def ticked_to_the_rim(session: Session, who: str, depth: str = "2 3/4 collar") -> tuple[Drilling, DrillingStep]:
    """An owned inner locked in, all ticked up to reading its rim."""
    of = planned(session, who, inner_id="1")
    for step in of.steps:
        if step.is_cut:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "asked for"}))
            session.flush()
        if step.action == "read_rim":
            return of, step
        bench.tick(
            session,
            of.id,
            step.position,
            TickForm.read({"who": who} | ({"depth": depth} if step.action == "bore" else UNREAD)),
        )
        session.flush()
        if bench_stops.find_open_stop(of):
            typed = {"who": who, "version": str(of.version), "decision": "carry_on", "reason": "as it came out"}
            bench.decide(session, of.id, DecisionForm.read(typed))
            session.flush()
    raise AssertionError


@pytest.mark.parametrize(
    ("height", "stops"), [("1/64 sunk", False), ("flush", False), ("1/32 sunk", True), ("1/32 proud", True)]
)
def test_a_rim_read_beyond_its_limit_stops_the_bench(
    session: Session, who: str, own: Inner, height: str, stops: bool
) -> None:
    of, step = ticked_to_the_rim(session, who)
    bench.tick(session, of.id, step.position, TickForm.read({"who": who, "rim_12": height, "rim_6": "flush"}))
    session.flush()
    stop = bench_stops.find_open_stop(of)
    assert (stop is not None) == stops
    if stop:
        assert [line for line in stop.lines if "front" in line] == [
            f"Rim, front: flush planned, {describe(height)} now"
        ]
        assert stop.position == step.position
    told = dict((s.action, a) for s, a in bench_stops.list_answers(session, of))
    assert [t.is_beyond for t in told["read_rim"].terms] == [stops, False]


def describe(height: str) -> str:
    return f"{'+' if 'proud' in height else ''}2/64 {height.split()[1]}"


def test_a_rim_as_sunk_as_was_accepted_at_the_bore_does_not_stop_again(session: Session, who: str, own: Inner) -> None:
    of, step = ticked_to_the_rim(session, who, "2 7/8 collar")
    assert len(of.stops) == 1
    bench.tick(session, of.id, step.position, TickForm.read({"who": who, "rim_12": "1/8 sunk"}))
    session.flush()
    assert bench_stops.find_open_stop(of) is None


def test_an_owned_inner_is_tried_in_the_dry_sleeve_before_the_glue(session: Session, who: str, own: Inner) -> None:
    steps = planned(session, who, inner_id="1").steps
    dry = next(s for s in steps if s.action == "drop_in")
    assert "lock the owned inner in the dry sleeve and look at its rim before any glue" in dry.words


@pytest.mark.parametrize("at_bench", [True, False])
def test_the_rim_is_held_against_the_bore_as_it_was_made(
    session: Session, who: str, own: Inner, at_bench: bool
) -> None:
    """Depth and notch met differ from the plan's: 2 7/8 for 2 3/4, and at the paper form a notch a quarter turned."""
    of = planned(session, who, inner_id="1")
    turn = 0.0
    if at_bench:
        for step in of.steps[: next(i for i, s in enumerate(of.steps) if s.action == "read_rim")]:
            if step.is_cut:
                bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "asked for"}))
                session.flush()
            depth = {"depth": "2 7/8 collar"} if step.action == "bore" else UNREAD
            bench.tick(session, of.id, step.position, TickForm.read({"who": who} | depth))
            session.flush()
            if step.action == "bore":
                version = str(bench.get_drilling(session, of.id).version)
                typed = {"who": who, "version": version, "decision": "carry_on", "reason": "as it came out"}
                bench.decide(session, of.id, DecisionForm.read(typed))
                session.flush()
    else:
        met = {"depth": "2 7/8", "datum": "collar", "notch": "9:00", "rim_12": "1/8 sunk"}
        owned_rims.mark_drilled(session, of.id, DrilledForm.read({"who": who, "version": str(of.version)} | met))
        session.flush()
        turn = 90.0
    session.expire_all()
    rim = proud(MADE_FOR_ANNA, Bore(27, 1.5, 2.875, -0.25, 0), turn)
    quarters = tuple(rim[:: len(rim) // 4][:4])
    found = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert tuple(not_none(r.foreseen_in) for r in found.readings) == pytest.approx(quarters, abs=1e-5)
    assert found.words != "from the bore as planned"
    if at_bench:
        told = next(s for s in bench.get_drilling(session, of.id).steps if s.action == "read_rim").numbers
        assert told == owned_routes.write_heights(dict(zip(RIM_PLACES, quarters, strict=True)))
    else:
        assert found.readings[0].read_in == Fraction(-1, 8)
        drilled = drillings.get_drilling(session, of.id)
        assert any("front 1/8 sunk" in line.new for line in changes.list_record_lines(session, drilled))
        assert "rim_12" not in not_none(drilled.bore).typed


def test_the_rim_is_foreseen_in_the_bore_as_met_with_what_lies_under_its_sleeve(
    session: Session, who: str, own: Inner
) -> None:
    """Pitched 1/8 reverse and 2 7/8 deep, with 3/32 under the sleeve: the sphere over a seat 2 25/32 deep."""
    of = planned(session, who, inner_id="1")
    bored, pitched = (next(s for s in of.steps if s.action == action) for action in ("bore", "bore_pitch"))
    for step in of.steps[: bored.position]:
        step.ticked_at = now()
    pitched.met_forward_in, bored.met_depth_in, bored.met_datum = Fraction(-1, 8), Fraction(23, 8), "collar"
    of.as_met = put_in_met(plan_of(of), of.steps, shim_in=3 / 32)
    routes.renumber_steps(of, of.as_met)
    session.flush()
    session.expire_all()
    rim = proud(MADE_FOR_ANNA, Bore(27, 1.5, 2.78125, -0.125, 0), 0.0)
    quarters = tuple(rim[:: len(rim) // 4][:4])
    found = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert tuple(not_none(r.foreseen_in) for r in found.readings) == pytest.approx(quarters, abs=1e-5)
    told = next(s for s in bench.get_drilling(session, of.id).steps if s.action == "read_rim").numbers
    assert told == owned_routes.tell_rim(not_none(drillings.get_drilling(session, of.id).as_met))


def carry_on(session: Session, of: Drilling, who: str) -> None:
    """Goes on where the bench has stopped; nothing where it has not."""
    at_bench = bench.get_drilling(session, of.id)
    if bench_stops.find_open_stop(at_bench):
        typed = {"who": who, "version": str(at_bench.version), "decision": "carry_on", "reason": "as it came out"}
        bench.decide(session, of.id, DecisionForm.read(typed))
        session.flush()


@pytest.mark.parametrize("depth", ["2 7/8 collar", ""])
@pytest.mark.parametrize("skipped", ["bore_pitch", "notch"])
@pytest.mark.parametrize("is_over", [False, True])
def test_over_a_pitch_or_notch_that_nobody_set_the_rim_is_foreseen_as_a_range(
    session: Session, who: str, own: Inner, depth: str, skipped: str, is_over: bool
) -> None:
    """Every pitch up to 1/2 any way, or every turn at the pitch as planned, each on the sphere."""
    of = planned(session, who, inner_id="1")
    for step in of.steps[:-1]:
        if step.action == "read_rim" and not is_over:
            break
        if step.is_cut:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "asked for"}))
        if step.action == skipped:
            bench.skip(session, of.id, step.position, SkipForm.read({"who": who, "reason": "no gauge"}))
        else:
            met = {"depth": depth} if step.action == "bore" and depth else UNREAD
            bench.tick(session, of.id, step.position, TickForm.read({"who": who} | met))
        session.flush()
        carry_on(session, of, who)
    session.expire_all()
    found = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert [r.foreseen_in for r in found.readings] == [None] * 4
    assert not_none(found.range).highest_in > not_none(found.range).lowest_in + 0.05
    if depth:
        pitches = np.linspace(0, 0.5, 9) if skipped == "bore_pitch" else [0.25]
        turns = range(0, 360, 15)
        rims = [proud(MADE_FOR_ANNA, Bore(27, 1.5, 2.875, p, 0), t) for p in pitches for t in turns]
        assert not_none(found.range).highest_in == pytest.approx(np.max(rims), abs=1e-5)
        assert not_none(found.range).lowest_in == pytest.approx(np.min(rims), abs=1e-5)
    if not is_over:
        told = next(s for s in bench.get_drilling(session, of.id).steps if s.action == "read_rim").numbers
        assert told == owned_routes.write_heights({}, found.range)


def test_the_rim_over_a_depth_not_read_is_that_of_the_pitch_as_met(session: Session, who: str, own: Inner) -> None:
    of = planned(session, who, inner_id="1")
    for step in of.steps:
        if step.is_cut:
            break
        met = {"pitch": "1/8 reverse, 0"} if step.action == "bore_pitch" else {}
        bench.tick(session, of.id, step.position, TickForm.read({"who": who} | met))
        session.flush()
        carry_on(session, of, who)
    session.expire_all()
    met_bore = not_none(not_none(drillings.get_drilling(session, of.id).as_met).bore)
    rim = proud(MADE_FOR_ANNA, Bore(27, 1.5, met_bore.depth_in, -0.125, 0), 0.0)
    found = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert [not_none(r.foreseen_in) for r in found.readings] == pytest.approx(rim[:: len(rim) // 4][:4], abs=1e-5)


def test_before_its_bore_is_made_the_rim_is_foreseen_as_planned(session: Session, who: str, own: Inner) -> None:
    of = planned(session, who, inner_id="1")
    found = not_none(owned_rims.compare_rim(session, drillings.get_drilling(session, of.id)))
    assert [not_none(r.foreseen_in) for r in found.readings] == pytest.approx([0, 0, 0, 0], abs=1e-5)
    new = planned(session, who, new_ball(session))
    assert owned_rims.compare_rim(session, drillings.get_drilling(session, new.id)) is None


# A new inner ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bore_runs", "outside"), [("like_thumb", "5/4"), ("straight", "11/8")])
def test_a_new_inner_becomes_a_record_and_leaves_the_shelf(
    session: Session, who: str, bore_runs: str, outside: str
) -> None:
    """A tilted hole in a straight bore leaves less than 1/16 of a 1 1/4 inner."""
    of = planned(session, who, bore_runs=bore_runs, inner_kind="blank")
    assert plan_of(of).inner_kind == "blank"
    lock = not_none(session.get(InsertSystem, 1))
    stock, before = dict(lock.stock), count(session, Inner)
    drilled = ticked_through(session, of, who)
    made = inners.get_inner(session, not_none(drilled.inner_id))
    assert (made.bowler_id, made.label, made.system_id, made.trimmed_in_id) == (1, "inner of Green", 1, drilled.bore_id)
    assert (made.outside_in, made.hole_in, made.oval_in, made.oval_deg) == (
        Fraction(outside), Fraction(15, 16), Fraction(1, 16), Fraction(45),
    )  # fmt: skip
    bore = made.trimmed_in
    felt = felt_pitch(27.0, *(float(v or 0) for v in (bore.forward_in, bore.right_in, made.forward_in, made.right_in)))
    assert (felt.forward_in, felt.right_in) == pytest.approx((-0.25, 0), abs=1e-6)
    assert not made.is_tilt_unsaid
    size = {"5/4": "1 1/4", "11/8": "1 3/8"}[outside]
    assert lock.stock == stock | {size: stock[size] - 1}
    typed = SystemForm.read(TWIST_LOCK | {"who": who, "stock": lock.typed["stock"]}).stock_by_size
    assert {words: number for words, (_, number) in typed.items()} == lock.stock
    assert changes.list_record_lines(session, made)[0].initials == "TB"
    assert changes.list_record_lines(session, lock)[0].new == f"{size}: {stock[size] - 1}"
    assert count(session, Inner) == before + 1
    with pytest.raises(ConflictError):
        form = {"who": who, "version": str(drilled.version), "depth": "2 3/4 collar"}
        drillings.mark_drilled(session, of.id, DrilledForm.read(form))
    assert count(session, Inner) == before + 1


def test_what_a_new_inner_is_decides_its_steps(session: Session, who: str) -> None:
    """Common practice, no source: a solid inner is piloted before its drill; a moulded one has its hole already."""
    of = {kind: planned(session, who, new_ball(session), inner_kind=kind) for kind in get_args(InnerKind)}
    actions = {kind: [s.action for s in drilling.steps] for kind, drilling in of.items()}
    loaded, blank, moulded = (set(actions[kind]) for kind in ("loaded", "blank", "moulded"))
    assert {"thumb_pitch", "thumb_check", "drill_inner", "oval"} < loaded
    assert blank - loaded == {"pilot_inner"}
    assert loaded <= blank
    assert actions["blank"].index("pilot_inner") == actions["blank"].index("drill_inner") - 1
    assert loaded - moulded == {"thumb_pitch", "thumb_check", "drill_inner", "oval", "zero_inner"}
    assert {"lock_in", "flush_inner", "bevel_thumb", "free_turn"} < moulded
    worked = {kind: work_out(plan_of(drilling)) for kind, drilling in of.items()}
    assert [bool(worked[kind].cuts_of("thumb")) for kind in ("loaded", "blank", "moulded")] == [True, True, False]
    assert (worked["moulded"].window, worked["blank"].window) == (None, worked["loaded"].window)
    names = {check.what for check in checks.run_checks(plan_of(of["moulded"]), worked["moulded"])}
    assert "Drill clears the slug and spares the lock" not in names
    assert "Least wall of the inner" in names
    no_inner = planned(session, who, new_ball(session), inner_kind="moulded", system_id="")
    assert "drill_thumb" in [s.action for s in no_inner.steps]


def test_nobody_has_measured_the_hole_of_a_moulded_inner(session: Session, who: str) -> None:
    drilled = ticked_through(session, planned(session, who, inner_kind="moulded"), who)
    made = inners.get_inner(session, not_none(drilled.inner_id))
    assert [made.hole_in, made.oval_in, made.oval_deg, made.forward_in, made.right_in] == [None] * 5
    assert made.typed == {"thumb_hole": "unknown", "tilt": "unknown"}
    assert made.outside_in == Fraction(not_none(plan_of(drilled).inner).outside_in)


def test_no_hardware_makes_no_inner(session: Session, who: str) -> None:
    before = count(session, Inner)
    drilled = ticked_through(session, planned(session, who, system_id=""), who)
    assert (drilled.inner_id, count(session, Inner)) == (None, before)


# Pages ------------------------------------------------------------------------------------------------------------


def test_the_pages_of_a_plan_for_an_owned_inner(client: Client, session: Session, who: str) -> None:
    session.rollback()
    form = {"who": who, "version": "", "fit_id": "1", "system_id": "1", "inner_id": "1", "fitted_by": "feel"}
    assert client.post("/balls/1/drillings", form).status_code == 409  # that ball is drilled
    add = {"who": who, "label": "Green", "circumference": "27"}
    moulded = client.post("/bowlers/1/balls", add | {"label": "Grey"}).headers["location"]
    kept = client.post(f"{moulded}/drillings", form | {"inner_id": "", "inner_kind": "moulded"}).headers["location"]
    for url in (kept, f"{kept}/bench", f"{kept}/sheet"):
        assert client.get(url).status_code == 200
    ball = client.post("/bowlers/1/balls", add).headers["location"]
    wrong = client.post(f"{ball}/drillings", form | {"inner_id": "2", "inner": "1 3/8", "notes": "keep this"})
    assert wrong.status_code == 422
    assert 'id="inner_id-error"' in wrong.text
    assert 'value="1 3/8"' in wrong.text
    assert "keep this" in wrong.text
    refused = client.post("/balls/1/drillings", form | {"only": "work_out", "inner_id": "2", "notes": "keep this"})
    assert 'id="inner_id-error"' in refused.text
    assert "keep this" in refused.text
    page = client.get("/balls/1/drillings/new?inner_id=1").text
    assert "Felt first" in page
    assert "no cut" in page
    kept = client.post(f"{ball}/drillings", form).headers["location"]
    for url in (kept, f"{kept}/bench", f"{kept}/sheet", "/drillings/2", "/inners/1"):
        assert client.get(url).status_code == 200
    assert f'href="{kept}"' in client.get("/inners/1").text
    paper = {"who": who, "version": "1", "depth": "2 3/4", "datum": "collar", "rim_3": "1/32 sideways"}
    refused = client.post(f"{kept}/drilled", paper)
    assert refused.status_code == 422
    assert 'value="1/32 sideways"' in refused.text
    assert client.post(f"{kept}/drilled", paper | {"rim_3": "1/32 proud"}).status_code == 303
    assert "2/64 proud" in client.get(kept).text


@pytest.mark.parametrize(("beyond_in", "stops"), [(0.0, False), (0.015, False), (0.02, True)])
def test_a_bore_deepened_by_the_trial_of_an_inner_of_unknown_pitch_is_no_fault(
    session: Session, who: str, own: Inner, beyond_in: float, stops: bool
) -> None:
    """The trial may lead to every depth that a possible pitch gives, and a 64th more, the starting limit."""
    own.trimmed_in.forward_in = own.trimmed_in.right_in = None
    own.trimmed_in.datum = "rim_low"
    session.flush()
    of = planned(session, who, inner_id="1")
    depths_in = not_none(not_none(plan_of(of).owned).depths_in)
    assert depths_in[1] - depths_in[0] > 0.03
    for step in of.steps:
        if step.is_cut:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "asked for"}))
        met = {"depth": f"{depths_in[1] + beyond_in:.4f} collar"} if step.action == "bore" else UNREAD
        bench.tick(session, of.id, step.position, TickForm.read({"who": who} | met))
        session.flush()
        if step.action == "bore":
            break
    stop = bench_stops.find_open_stop(bench.get_drilling(session, of.id))
    assert (stop is not None) == stops
