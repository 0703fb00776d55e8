"""Every check of a plan made by hand: on its limit it holds, a millionth beyond it fails; values worked by hand."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Fit
from app.models.plans import Plan, PlannedInner, PlannedLimit, PlannedLimits
from app.schemas.drillings import DrilledForm, PlanChoices
from app.services import checks, drillings, plans
from app.services.checks import Check, pick_failing, run_checks
from app.services.finger_depths import set_depth
from app.services.grips import FINGERS
from app.services.unsettled import OUTSIDE
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_work_outs import BORES, LIMITS, found, planned

pytestmark = pytest.mark.once  # numbers, which no database changes

LIKE = planned(BORES["like the thumb"])
DRILL = "Drill clears the slug and spares the lock"
LIMIT_OF = {
    "Least wall of the inner": "least_wall",
    "Wall between the finger holes": "least_web",
    "Wall, thumb to middle": "least_web",
    "Wall, thumb to ring": "least_web",
    "Bridge as cut": "least_bridge",
    "Surface left between sleeve and fingers": "least_surface",
    "Bore within the ball's safe depth": "safe_depth",
}


def checked(plan: Plan) -> dict[str, Check]:
    return {check.what: check for check in run_checks(plan, work_out(plan))}


def limited(plan: Plan, name: str, value: float, is_assumed: bool = False) -> Plan:
    return replace(plan, limits=replace(not_none(plan.limits), **{name: PlannedLimit(value, is_assumed)}))


def test_every_check_tells_its_value_and_its_limit() -> None:
    told, worked = checked(LIKE), work_out(LIKE)
    values = {
        "Least wall of the inner": (0.125, 1 / 16),  # (1 1/4 less 15/16 less 1/16) / 2, parallel to its bore
        "Inner wider than the thumb hole": (0.25, 1 / 8),
        DRILL: (2.375 - 1.875 - worked.window.point_in if worked.window else None, 0.0),
        "Wall between the finger holes": (worked.walls["middle_ring"].least_in, 1 / 32),
        "Wall, thumb to middle": (worked.walls["thumb_middle"].least_in, 1 / 32),
        "Wall, thumb to ring": (worked.walls["thumb_ring"].least_in, 1 / 32),
        "Bridge as cut": (0.3125, 3 / 16),
        "Surface left between sleeve and fingers": (worked.predicted_in("middle"), 1.0),  # the shorter of the two
        "Bore within the ball's safe depth": (2.75, 3.25),
        "In stock at this size": (None, None),
    }
    assert set(told) == set(values)
    for what, (value, limit) in values.items():
        assert told[what].value_in == (None if value is None else pytest.approx(value, abs=1e-9)), what
        assert told[what].limit_in == (None if limit is None else pytest.approx(limit, abs=1e-12)), what
        assert told[what].holds
    assert pick_failing(list(told.values())) == []
    assert told["Surface left between sleeve and fingers"].reason == "to the middle finger"
    assert told["Least wall of the inner"].limit_words == "at least 1/16, ASSUMED"
    assert told["Wall between the finger holes"].reason.endswith("; depth of the ring ASSUMED")
    assert "ASSUMED" not in told["Wall, thumb to middle"].reason


@pytest.mark.parametrize(("what", "name"), LIMIT_OF.items())
def test_a_check_holds_on_its_limit_and_fails_just_beyond_it(what: str, name: str) -> None:
    value = not_none(checked(LIKE)[what].value_in)
    beyond = -1e-6 if name == "safe_depth" else 1e-6
    for limit, holds in ((value, True), (value - beyond, True), (value + beyond, False)):
        check = checked(limited(LIKE, name, limit))[what]
        assert (check.holds, check.limit_in) == (holds, limit), limit
        assert "ASSUMED" not in check.limit_words
        assert (check in pick_failing([check])) is not holds


@pytest.mark.parametrize(("limit", "holds"), [(0.125, True), (0.1250005, False)])
def test_an_inner_is_wider_than_its_hole_by_two_walls(limit: float, holds: bool) -> None:
    check = checked(limited(LIKE, "least_wall", limit))["Inner wider than the thumb hole"]
    assert (check.holds, check.limit_in) == (holds, 2 * limit)
    assert check.limit_words.startswith("at least 1/4")
    assert check.reason == "a 1 1/4 inner about a hole 1 wide"  # 15/16 and an oval of 1/16


def test_an_inner_of_unknown_length_settles_its_wall_only_where_its_hole_runs_as_its_bore() -> None:
    for name, holds in (("like the thumb", True), ("straight", None), ("aside", None)):
        plan = limited(planned(BORES[name]), "least_wall", -1.0)
        plan = replace(plan, system=replace(not_none(plan.system), inner_length_in=None))
        assert checked(plan)["Least wall of the inner"].holds is holds
    told = limited(planned(), "least_wall", -1.0)
    assert checked(told)["Least wall of the inner"].holds is True
    assert checked(replace(told, system=None))["Least wall of the inner"].holds is True


def test_over_an_unknown_outside_an_owned_inner_is_not_known() -> None:
    what = "The bowler's own inner is known"
    assert checked(replace(LIKE, unknown=(OUTSIDE,)))[what].holds is None
    assert what not in checked(LIKE)


def test_stock_offers_the_smallest_inner_whose_wall_is_on_the_limit_or_more() -> None:
    # by hand, parallel to its bore: (1 1/4 less 15/16 less 1/16) / 2 = 1/8, and 3/16 of 1 3/8
    system = replace(not_none(LIKE.system), stock={"1 1/4": 1, "1 3/8": 1})
    for limit, size in ((0.125, "1 1/4"), (0.125001, "1 3/8"), (0.1875, "1 3/8")):
        fix = checked(limited(replace(LIKE, system=system), "least_wall", limit))["In stock at this size"].fix
        assert not_none(fix).value == size
    none_left = checked(limited(replace(LIKE, system=system), "least_wall", 0.187501))["In stock at this size"]
    assert none_left.fix is None


def test_another_finger_depth_is_offered_only_where_a_wall_is_thinner_than_the_limit() -> None:
    # the walls themselves are held against solids elsewhere; a middle of 1 in and a ring of 1/2 in, both to one depth
    def least_of(plan: Plan) -> float:
        return min(wall.least_in for wall in work_out(plan).walls.values())

    what, uneven = "Wall between the finger holes", set_depth(set_depth(LIKE, ("middle",), 1.0), ("ring",), 0.5)
    now, least, deeper = least_of(uneven), *(least_of(set_depth(LIKE, FINGERS, n / 64)) for n in (33, 34))
    assert least > now > deeper
    assert checked(limited(uneven, "least_web", now))[what].fix is None
    offered = not_none(checked(limited(uneven, "least_web", now + 1e-6))[what].fix)
    assert (offered.field, offered.value) == ("finger_depth", "33/64")
    assert offered.words == "Drill the fingers 33/64 deep"


@pytest.mark.parametrize(
    ("limit", "change"),
    [(0.125, "Use the 1 1/4 inner."), (0.1251, "Use the 1 3/8 inner."), (0.1875, "Use the 1 3/8 inner."), (0.1876, "No inner on offer leaves it: use a blank, or a smaller hole.")],
)  # fmt: skip
def test_the_smallest_inner_that_leaves_the_wall_is_named(limit: float, change: str) -> None:
    check = checked(limited(LIKE, "least_wall", limit))["Least wall of the inner"]
    assert check.change == change
    straight = checked(limited(planned((0.0, 0.1875)), "least_wall", 0.01))["Least wall of the inner"]
    assert straight.change.endswith("Or bore at the thumb's pitch, so that the hole runs parallel.")


@pytest.mark.parametrize(("lock", "holds"), [(1.875, True), (1.8749, False), (2.0, True)])
def test_a_flat_bit_may_just_reach_the_lock(lock: float, holds: bool) -> None:
    system = replace(not_none(LIKE.system), lock_depth_in=lock)
    check = checked(replace(LIKE, point_deg=180.0, system=system))[DRILL]
    assert check.holds is holds
    assert check.value_in == pytest.approx(lock - 1.875, abs=1e-9)
    assert holds or (check.fix, check.change) == (None, "Use a shorter slug.")  # the bit is flat already


def test_a_window_nobody_can_work_out_neither_holds_nor_fails() -> None:
    system = replace(not_none(LIKE.system), lock_depth_in=None)
    assert checked(replace(LIKE, system=system))[DRILL].holds is None
    assert DRILL not in checked(replace(LIKE, inner=None))


def test_a_ball_has_its_own_safe_depth() -> None:
    what = "Bore within the ball's safe depth"
    own = checked(replace(LIKE, safe_depth_in=2.5))[what]
    assert (own.holds, own.limit_in, own.limit_words) == (False, 2.5, "at most 2 1/2")
    shops = checked(LIKE)[what]
    assert (shops.holds, shops.limit_words) == (True, "at most 3 1/4, ASSUMED")
    assert what not in checked(replace(LIKE, bore=None))


@pytest.mark.parametrize(("outside", "holds", "count"), [(1.25, True, 1), (1.375, False, 0)])
def test_stock_counts_the_inner_of_this_size(outside: float, holds: bool, count: int) -> None:
    check = checked(replace(LIKE, inner=PlannedInner(outside, 1.875)))["In stock at this size"]
    assert check.holds is holds
    assert check.reason.startswith(f"{count} of the ")
    assert "In stock at this size" not in checked(replace(LIKE, inner=None))


def test_without_a_sleeve_the_surface_runs_from_the_thumb_hole() -> None:
    plan = replace(LIKE, grip=replace(LIKE.grip, sleeve_od_in=None))
    check = checked(plan)["Surface left between thumb and fingers"]
    assert check.value_in == pytest.approx(4.0, abs=1e-9)
    assert run_checks(replace(LIKE, limits=None), work_out(LIKE)) == []
    assert isinstance(LIMITS, PlannedLimits)


def test_a_sound_plan_holds_every_check(make: Make) -> None:
    assert checks.pick_failing(list(found(make()).values())) == []


@pytest.mark.parametrize(
    ("what", "system", "plan", "fit", "change"),
    [
        ("Least wall of the inner", {"inner_ods": "1 1/4, 1 3/8"}, {"bore_runs": "straight", "inner": "1 1/4"}, {}, "run parallel|runs parallel"),
        ("Least wall of the inner", {}, {"inner": "1 1/4"}, {"thumb_hole": "1 1/16 + 1/8 @ 45 right"}, "1 3/8 inner"),
        ("Inner wider than the thumb hole", {"inner_ods": "1 1/4"}, {}, {"thumb_hole": "1 5/32 + 1/16 @ 45 right"}, "blank"),
        ("Drill clears the slug and spares the lock", {"inner_length": "2 1/4"}, {}, {}, "flat-bottomed"),
        ("Wall between the finger holes", {}, {}, {"middle_depth": "1 1/2", "ring_depth": "1 1/2"}, "less deep"),
        ("Bridge as cut", {}, {}, {"bridge": "1/8"}, "Widen"),
        ("Bore within the ball's safe depth", {"sleeve_length": "3 1/2"}, {}, {}, "Shorten"),
        ("In stock at this size", {"stock": "1 1/4: 0, 1 3/8: 2"}, {}, {}, "Order"),
        ("Surface left between sleeve and fingers", {}, {}, {"spans": "1 1/8 x 1 1/4"}, "narrower"),
    ],
)  # fmt: skip
def test_each_check_fails_with_its_number_limit_reason_and_change(
    make: Make, what: str, system: dict[str, str], plan: dict[str, str], fit: dict[str, str], change: str
) -> None:
    check = found(make(system=system, plan=plan, **fit))[what]
    assert check.holds is False
    assert check.reason
    assert any(word in check.change for word in change.split("|"))
    assert check.limit_words


FAILING: tuple[tuple[str, dict[str, str], dict[str, str], dict[str, str], tuple[str, str] | None], ...] = (
    ("Least wall of the inner", {}, {"inner": "1 1/4"}, {"thumb_hole": "1 1/16 + 1/8 @ 45 right"}, ("inner", "1 3/8")),
    ("Drill clears the slug and spares the lock", {"inner_length": "2 1/4"}, {}, {}, ("point", "180")),
    ("Wall between the finger holes", {}, {}, {"middle_depth": "1 1/2", "ring_depth": "1 1/2"}, ("finger_depth", "")),
    ("In stock at this size", {"stock": "1 1/4: 0, 1 3/8: 2"}, {}, {}, ("inner", "1 3/8")),
    ("Bridge as cut", {}, {}, {"bridge": "1/8"}, None),
)


@pytest.mark.parametrize(("what", "system", "plan", "fit", "fix"), FAILING)
def test_a_fix_offered_makes_its_check_hold(
    session: Session, make: Make, who: str, what: str, system: dict[str, str], plan: dict[str, str],
    fit: dict[str, str], fix: tuple[str, str] | None,
) -> None:  # fmt: skip
    of = make(system=system, plan=plan, **fit)
    offered = found(of)[what].fix
    if fix is None:
        assert offered is None
        return
    assert offered is not None
    assert (offered.field, offered.value if fix[1] else "") == fix
    asked = {"fit_id": str(of.fit_id), "system_id": str(of.system_id)} | plan | {offered.field: offered.value}
    mended, worked = plans.preview(session, of.ball, PlanChoices.read(asked))
    assert {check.what: check.holds for check in run_checks(mended, worked)}[what]


def test_the_finger_depth_offered_is_the_deepest_that_keeps_the_wall(make: Make) -> None:
    """The wall by the same solids (checked against manifold3d elsewhere): it holds here, and not a 64th deeper."""
    of = make(middle_depth="1 1/2", ring_depth="1 1/2")
    plan = not_none(of.plan)
    deepest = not_none(found(of)["Wall between the finger holes"].fix).value
    depth = float(sum(map(Fraction, deepest.split())))
    limit = not_none(plan.limits).least_web.value_in
    for deeper, holds in ((0.0, True), (1 / 64, False)):
        tried = set_depth(plan, ("middle", "ring"), depth + deeper)
        assert (min(w.least_in for w in work_out(tried).walls.values()) >= limit - 1e-9) is holds


def test_a_fit_without_finger_depths_gets_the_usual_or_what_keeps_the_wall(make: Make) -> None:
    usual = not_none(make(middle_depth="", ring_depth="").plan)
    assert [getattr(usual.grip, finger).depth_in for finger in ("middle", "ring")] == [1.0, 1.0]
    towards = {"middle_pitch": "1/4 reverse, 3/8 left", "ring_pitch": "1/4 reverse, 3/8 right"}
    plan = not_none(make(system={"label": "other"}, middle_depth="", ring_depth="", **towards).plan)
    depth = plan.grip.fingers["middle"].depth_in
    assert (plan.grip.fingers["ring"].depth_in, plan.assumed_depths) == (depth, ("middle", "ring"))
    assert 0.5 <= depth < 1.0
    limit = not_none(plan.limits).least_web.value_in
    for deeper, holds in ((0.0, True), (1 / 64, False)):
        tried = set_depth(plan, ("middle", "ring"), depth + deeper)
        assert (min(w.least_in for w in work_out(tried).walls.values()) >= limit - 1e-9) is holds


def test_a_failing_plan_is_kept_only_with_a_reason_and_says_it(session: Session, make: Make, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        make(plan={"reason": ""}, bridge="1/8")
    assert "bridge as cut" in refused.value.fields["reason"].message
    kept = make(plan={"reason": "small child's hand"}, system={"label": "again"}, bridge="1/8")
    assert kept.planned_reason == "small child's hand"
    assert make(plan={"reason": ""}, system={"label": "sound"}).planned_reason == ""


def test_a_failing_plan_without_a_reason_is_not_finished_on_paper(session: Session, make: Make, who: str) -> None:
    of = make(bridge="1/8")
    of.planned_reason = ""  # a plan of an older version
    session.flush()
    met = {"who": who, "version": str(of.version), "depth": "2 3/4", "datum": "collar"}
    with pytest.raises(InvalidError) as refused:
        drillings.mark_drilled(session, of.id, DrilledForm.read(met))
    assert "bridge as cut" in refused.value.fields["reason"].message
    done = drillings.mark_drilled(session, of.id, DrilledForm.read(met | {"reason": "bowler insists"}))
    assert done.state == "drilled"


def test_holes_that_break_into_each_other_are_told_with_their_depth(make: Make) -> None:
    of = make(middle_depth="1 1/2", ring_depth="1 1/2")
    check, wall = found(of)["Wall between the finger holes"], work_out(not_none(of.plan)).walls["middle_ring"]
    assert (check.value_in, wall.least_in) == (0, 0)
    assert 0.8 < not_none(wall.meets_from_in) < 1.5
    assert check.reason == f"they break into each other from {wall.meets_from_in:.2f} in down"


def test_the_window_closes_when_the_hole_is_tilted_in_a_straight_bore(make: Make) -> None:
    # 1/2 reverse in a straight bore: 6.7° of tilt, 0.055 in deeper on one side and shallower on the other
    tight = {"inner_length": "2 1/8", "lock_depth": "2 1/4"}
    like = found(make(system=tight, plan={"point": "180"}, thumb_pitch="1/2 reverse, 0"))
    straight = found(
        make(
            system=tight | {"label": "other"},
            plan={"point": "180", "bore_runs": "straight"},
            thumb_pitch="1/2 reverse, 0",
        )
    )
    name = "Drill clears the slug and spares the lock"
    assert like[name].value_in == pytest.approx(0.125)
    assert not_none(straight[name].value_in) < 0.02


def test_a_flat_bit_opens_the_window_that_a_point_closes(make: Make) -> None:
    of = make(system={"inner_length": "2 1/4"}, plan={"point": "180"})
    assert found(of)["Drill clears the slug and spares the lock"].holds


def test_an_unknown_lock_depth_is_unknown_and_not_a_pass(make: Make) -> None:
    assert found(make(system={"lock_depth": ""}))["Drill clears the slug and spares the lock"].holds is None


def test_no_stock_is_checked_where_none_is_kept(make: Make) -> None:
    assert "In stock at this size" not in found(make(system={"stock": ""}))


def test_old_plans_without_checks_still_work_out(session: Session) -> None:
    of = drillings.get_drilling(session, 1)
    old = replace(not_none(of.plan), limits=None, system=None)
    assert checks.run_checks(old, work_out(old)) == []
    assert session.get(Fit, of.fit_id)
