"""What is met at the bench against what was planned.

Depths are held against heights read off the sphere round a rim with numpy, walls against solids of manifold3d, spans
against the contract's written values, an owned inner against scipy's rotations and the sphere (`test_owned_inners.py`).
"""

import math
from dataclasses import asdict, replace
from fractions import Fraction

import numpy as np
import pytest
from sqlalchemy.orm import Session

from app.models import DrillingStep, now
from app.models.plans import Plan
from app.schemas.calc_grips import GripIn
from app.services import shop_limits
from app.services.as_met import Answer, Term, answer_step, put_in_met
from app.services.finger_depths import set_depth
from app.services.routes import ACTIONS
from app.services.shop_limits import SetLimit
from app.services.work_outs import work_out
from tests.calculation.grips import EXAMPLE, Json
from tests.calculation.test_walls import MESH_IN, PAIRS, drilled
from tests.conftest import not_none
from tests.services.test_work_outs import RADIUS_IN, planned

pytestmark = pytest.mark.once  # numbers, which no database changes

LIKE_THE_THUMB = (-0.25, 0.1875)
RIM = np.radians(np.arange(0, 360, 0.1))
READ_IN = 1e-6  # the highest of 3600 places of a rim against its exact highest


@pytest.fixture
def limits(session: Session) -> dict[str, SetLimit]:
    return shop_limits.load_limits(session)


def step(action: str, position: int = 1, **met: str | Fraction) -> DrillingStep:
    """A done step with what was met; depths, bits and pitches in inches, as text or fraction."""
    made = DrillingStep(action=action, hole=ACTIONS[action].hole, position=position, ticked_at=now(), skip_reason="")
    made.met_datum = str(met.get("datum", ""))
    for name in ("depth", "bit", "forward", "right"):
        if name in met:
            setattr(made, f"met_{name}_in", Fraction(met[name]))
    return made


def answer(plan: Plan, one: DrillingStep, limits: dict[str, SetLimit], kind: str = "bore_floor") -> Answer:
    return not_none(answer_step(plan, plan, put_in_met(plan, [one]), one, kind, limits))


def terms(told: Answer) -> dict[str, Term]:
    return {term.what: term for term in told.terms}


def heights(size: float, pitch: tuple[float, float]) -> dict[str, float]:
    """Height over the ball's mid-plane of what a depth is measured from, read off the sphere round the rim."""
    across = np.hypot(pitch[0] + size / 2 * np.cos(RIM), pitch[1] + size / 2 * np.sin(RIM))
    rim = np.sqrt(RADIUS_IN**2 - across**2)
    high, low = float(rim.max()), float(rim.min())
    return {
        "collar": high,
        "rim_high": high,
        "rim_low": low,
        "crown": math.sqrt(RADIUS_IN**2 - math.hypot(*pitch) ** 2),
    }


# Depths ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("datum", ["collar", "crown", "rim_high", "rim_low"])
def test_a_depth_of_any_datum_sinks_the_sleeve_by_what_its_seat_is_too_deep(
    limits: dict[str, SetLimit], datum: str, hand: str
) -> None:
    plan = planned(LIKE_THE_THUMB, hand)
    at = heights(1.53125, LIKE_THE_THUMB)
    deeper = 2.875 - (at[datum] - at["collar"]) - 2.75
    got = answer(plan, step("bore", depth="23/8", datum=datum), limits)
    assert got.shim_in == pytest.approx(deeper, abs=READ_IN)
    assert got.deepen_in is None
    assert [term.what for term in got.terms[:2]] == ["Bore depth", "Sleeve"]
    met = put_in_met(plan, [step("bore", depth="23/8", datum=datum)])
    assert not_none(met.bore).depth_in == met.grip.require_thumb().depth_in == pytest.approx(2.75 + deeper, abs=READ_IN)
    shimmed = put_in_met(plan, [step("bore", depth="23/8", datum=datum)], shim_in=deeper)
    again = not_none(answer_step(plan, plan, shimmed, step("bore", depth="23/8", datum=datum), "bore_floor", limits))
    assert "Sleeve" not in terms(again)  # it sits as planned again
    assert work_out(shimmed).walls == work_out(met).walls  # and the cavity is as deep as it was met


def test_a_bore_an_eighth_too_deep_is_told_in_the_terms_that_matter(limits: dict[str, SetLimit]) -> None:
    plan = replace(planned(LIKE_THE_THUMB), safe_depth_in=2.8)
    told = terms(answer(plan, step("bore", depth="23/8", datum="collar"), limits))
    assert told["Bore depth"] == Term("Bore depth", "2 3/4", "2 7/8", True, "± 1/64, ASSUMED")
    assert told["Sleeve"] == Term("Sleeve", "at its height", "1/8 sunk", True, "± 1/64, ASSUMED")
    assert told["Bore within the ball's safe depth"].is_beyond


def test_a_shallow_bore_is_deepened_by_what_is_missing_and_shimmed_by_nothing(limits: dict[str, SetLimit]) -> None:
    got = answer(planned(LIKE_THE_THUMB), step("bore", depth="43/16", datum="collar"), limits)
    assert got.shim_in is None
    assert got.deepen_in == pytest.approx(1 / 16)
    assert terms(got)["Sleeve"].now == "1/16 proud"


@pytest.mark.parametrize("kind", ["ball_surface", "by_hand", "slug", None])
def test_where_the_floor_sets_no_height_nothing_sinks_and_no_shim_helps(
    limits: dict[str, SetLimit], kind: str | None
) -> None:
    plan = planned(LIKE_THE_THUMB)
    deep = step("bore", depth="23/8", datum="collar")
    got = not_none(answer_step(plan, plan, put_in_met(plan, [deep]), deep, kind, limits))
    assert (got.shim_in, "Sleeve" in terms(got), got.is_beyond) == (None, False, False)
    shallow = step("bore", depth="2.7", datum="collar")  # less deep than the sleeve needs, whatever sets its height
    got = not_none(answer_step(plan, plan, put_in_met(plan, [shallow]), shallow, kind, limits))
    assert got.is_beyond
    assert got.deepen_in == pytest.approx(0.05)


def test_a_depth_of_unknown_datum_is_a_range_and_counts_at_its_deepest(limits: dict[str, SetLimit]) -> None:
    plan, at = planned(LIKE_THE_THUMB), heights(1.53125, LIKE_THE_THUMB)
    depths = [2.75 - (height - at["collar"]) for height in at.values()]
    one = step("bore", depth="11/4", datum="unknown")
    got = answer(plan, one, limits)
    assert (got.is_beyond, got.shim_in, got.deepen_in) == (True, None, None)
    assert not_none(put_in_met(plan, [one]).bore).depth_in == pytest.approx(max(depths), abs=READ_IN)
    assert "datum unknown" in got.terms[0].now
    spread = max(max(depths) - 2.75, 2.75 - min(depths))
    wide = replace(limits["met_depth"], value_in=Fraction(spread + 1e-5), typed="wide")
    assert not answer(plan, one, limits | {"met_depth": wide}).is_beyond
    narrow = replace(wide, value_in=Fraction(spread - 1e-5))
    assert answer(plan, one, limits | {"met_depth": narrow}).terms[0].is_beyond


@pytest.mark.parametrize("datum", ["collar", "crown", "rim_high", "rim_low", "unknown"])
def test_a_finger_is_as_deep_as_from_the_surface_on_its_axis(limits: dict[str, SetLimit], datum: str) -> None:
    plan = planned()
    ring, at = plan.grip.fingers["ring"], heights(1.0, (-0.125, -0.125))
    found = put_in_met(plan, [step("ring_bore", depth="9/8", datum=datum)])
    depths = {name: 1.125 + at["crown"] - height for name, height in at.items()}
    expected = depths.get(datum, max(depths.values()))
    assert found.grip.fingers["ring"].depth_in == pytest.approx(expected, abs=READ_IN)
    assert replace(found.grip.fingers["ring"], depth_in=ring.depth_in) == ring
    assert found.assumed_depths == ()  # it was assumed until it was met


# Limits ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("action", "at_limit", "beyond"),
    [
        ("bore", {"depth": "177/64", "datum": "collar"}, {"depth": "2.766", "datum": "collar"}),
        ("bore", {"depth": "175/64", "datum": "collar"}, {"depth": "2.734", "datum": "collar"}),
        ("middle_bore", {"depth": "1", "datum": "crown"}, {"depth": "1.001", "datum": "crown"}),
        ("middle_bore", {"depth": "3/4", "datum": "crown"}, {"depth": "0.749", "datum": "crown"}),
        ("bore_pitch", {"forward": "-9/32"}, {"forward": "-9/32", "right": "0.19"}),
        ("bore_pitch", {"right": "7/32"}, {"right": "5/32", "forward": "-0.255"}),
        ("thumb_pitch", {"forward": "-9/32"}, {"forward": "-0.282"}),
        ("ring_pitch", {"right": "-3/32"}, {"right": "-0.093"}),
        ("ring_bore", {"bit": "129/128"}, {"bit": "1.008"}),
        ("drill_inner", {"bit": "119/128"}, {"bit": "0.929"}),
        ("bore", {"bit": "197/128"}, {"bit": "1.54"}),
    ],
)
def test_what_was_met_is_within_to_its_limit_and_beyond_past_it(
    limits: dict[str, SetLimit], action: str, at_limit: dict[str, str], beyond: dict[str, str]
) -> None:
    plan = planned(LIKE_THE_THUMB, point_deg=180.0)
    assert not answer(plan, step(action, 1, **at_limit), limits).is_beyond
    assert answer(plan, step(action, 1, **beyond), limits).terms[0].is_beyond


def test_the_travel_is_held_against_the_lock_window(limits: dict[str, SetLimit]) -> None:
    """Parallel to its bore and flat: from the slug of 1 7/8 to the lock at 2 3/8, the contract's section 4."""
    plan = planned(LIKE_THE_THUMB, point_deg=180.0)
    for depth, is_beyond in (("15/8", False), ("1.874", True), ("19/8", False), ("2.376", True)):
        got = answer(plan, step("drill_inner", depth=depth), limits)
        assert (got.terms[0].planned, got.is_beyond) == ("1 7/8 to 2 3/8", is_beyond)
        assert got.deepen_in == (pytest.approx(0.001) if depth == "1.874" else None)
    unknown = replace(plan, system=replace(not_none(plan.system), lock_depth_in=None))
    assert not answer(unknown, step("drill_inner", depth="3"), limits).is_beyond
    assert put_in_met(plan, [step("drill_inner", depth="19/8")]) == plan


@pytest.mark.parametrize(
    ("depth", "datum", "shim", "window"),
    [
        ("23/8", "collar", 0.0, "2 to 2 1/2"),  # slug 1 7/8 and lock 2 3/8, as much lower as their sleeve
        ("87/32", "collar", 0.0, "1 27/32 to 2 11/32"),
        ("23/8", "collar", 0.125, "1 7/8 to 2 3/8"),
        ("23/8", "collar", 0.0625, "1 15/16 to 2 7/16"),
    ],
)
def test_slug_and_lock_go_with_their_sleeve_which_stands_on_the_floor_of_the_bore(
    limits: dict[str, SetLimit], depth: str, datum: str, shim: float, window: str
) -> None:
    """Lock and slug are a fixed way up from the floor: below the surface they are as much deeper as that floor."""
    plan = planned(LIKE_THE_THUMB, point_deg=180.0)
    met = put_in_met(plan, [step("bore", 1, depth=depth, datum=datum)], shim)
    travel = step("drill_inner", 2, depth="2")
    told = not_none(answer_step(plan, met, met, travel, "bore_floor", limits))
    assert told.terms[0].planned == window
    by_hand = replace(plan, system=replace(not_none(plan.system), kind="by_hand"))
    met = put_in_met(by_hand, [step("bore", 1, depth=depth, datum=datum)], shim)
    told = not_none(answer_step(by_hand, met, met, travel, "by_hand", limits))
    assert told.terms[0].planned == "1 7/8 to 2 3/8"  # the sleeve is set flush, whatever the floor


def test_over_a_depth_of_unknown_datum_the_drill_keeps_to_what_every_datum_allows(limits: dict[str, SetLimit]) -> None:
    plan = planned(LIKE_THE_THUMB, point_deg=180.0)
    one = step("bore", 1, depth="11/4", datum="unknown")
    window = not_none(work_out(put_in_met(plan, [one])).window)
    rim = heights(1.53125, LIKE_THE_THUMB)
    sunk = [rim["collar"] - height for height in rim.values()]
    assert window.least_in == pytest.approx(1.875 + max(sunk), abs=READ_IN)
    assert window.most_in == pytest.approx(2.375 + min(sunk), abs=READ_IN)
    assert "Lock window" in terms(answer(plan, one, limits))


def test_a_pilot_has_only_to_be_smaller_than_what_follows(limits: dict[str, SetLimit]) -> None:
    assert not answer(planned(), step("pilot", bit="5/4"), limits).is_beyond
    assert answer(planned(), step("pilot", bit="49/32"), limits).is_beyond
    assert answer(planned(), step("pilot_inner", bit="15/16"), limits).is_beyond


def test_nothing_is_said_of_a_step_that_met_nothing_or_was_skipped(limits: dict[str, SetLimit]) -> None:
    plan = planned()
    for quiet in (step("bore"), step("mark"), step("measure"), step("bore_pitch")):
        assert answer_step(plan, plan, plan, quiet, "bore_floor", limits) is None
        assert put_in_met(plan, [quiet]) == plan
    skipped = step("bore", depth="3", datum="collar")
    skipped.skip_reason = "done by hand"
    assert put_in_met(plan, [skipped]) == plan
    assert answer_step(plan, plan, plan, skipped, "bore_floor", limits) is None
    as_planned = step("bore_pitch", forward="-1/4", right="3/16")
    assert put_in_met(planned(LIKE_THE_THUMB), [as_planned]) == planned(LIKE_THE_THUMB)
    assert not answer(planned(LIKE_THE_THUMB), as_planned, limits).is_beyond


def test_what_was_planned_again_is_what_counts(limits: dict[str, SetLimit]) -> None:
    specified = planned(LIKE_THE_THUMB)
    again = set_depth(specified, ("middle",), 0.5)
    one = step("middle_bore", depth="1/2", datum="crown")
    got = not_none(answer_step(specified, again, put_in_met(again, [one]), one, "bore_floor", limits))
    assert (got.terms[0].planned, got.is_beyond, got.deepen_in) == ("1/2", False, None)


# What follows ---------------------------------------------------------------------------------------------------------


def test_the_sleeve_to_cut_that_follows_is_the_written_one(limits: dict[str, SetLimit]) -> None:
    """The contract's example bored straight: 3.732890 and 3.864974 in place of 3.735459 and 3.867543."""
    grip = GripIn.model_validate(EXAMPLE).to_grip()
    bore = replace(not_none(planned().bore), forward_in=-0.25, right_in=0.0)
    plan = replace(planned(hand="right"), grip=replace(grip, sleeve_pitch_in=(-0.25, 0.0)), bore=bore)
    straight = step("bore_pitch", forward="0")
    worked = work_out(put_in_met(plan, [straight]))
    told = [work_out(plan).predicted_in(f) for f in ("middle", "ring")]
    assert told == pytest.approx([3.735459, 3.867543], abs=1e-6)
    told = [worked.predicted_in(f) for f in ("middle", "ring")]
    assert told == pytest.approx([3.732890, 3.864974], abs=1e-6)
    found = terms(answer(plan, straight, limits))
    assert (found["Sleeve to cut, middle"].is_beyond, found["Sleeve to cut, ring"].is_beyond) == (False, False)
    tight = {"tolerance": replace(limits["tolerance"], value_in=Fraction("0.002"), typed="0.002")}
    assert terms(answer(plan, straight, limits | tight))["Sleeve to cut, ring"].is_beyond
    assert found["Least wall of the inner"].is_beyond  # a quarter pitch leaves less than 1/16 of a 1 1/4 inner


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize(
    "met",
    [
        [step("bore", depth="3", datum="collar", bit="49/32")],
        [step("bore_pitch", 1, forward="1/4", right="-1/8"), step("bore", 2, depth="23/8", datum="collar")],
        [step("middle_bore", depth="3/2", datum="crown"), step("ring_pitch", 2, right="1/8", forward="-3/8")],
    ],
)
def test_walls_as_met_are_those_of_solids(met: list[DrillingStep], hand: str) -> None:
    # outside source: manifold3d, the gap between solids made of the met plan's own numbers at the places of the plan
    plan = planned(LIKE_THE_THUMB, hand)
    as_met = put_in_met(plan, met)
    worked = work_out(as_met)
    body: Json = {"grip": asdict(as_met.grip), "bore": asdict(not_none(as_met.bore)), "point_deg": "118"}
    solids = drilled(body | {"inner_od_in": 1.25, "inner_length_in": 1.875}, work_out(plan))
    for one, other in PAIRS:
        told = worked.walls[f"{one}_{other}"].least_in
        gap = min(a.solid().min_gap(b.solid(), told + 0.01) for a in solids[one] for b in solids[other])
        assert told == pytest.approx(gap, abs=MESH_IN + 2e-4)  # a near edge that stays moves its centre by 2e-4


def test_a_check_that_held_and_fails_now_is_beyond_and_one_that_failed_before_is_not(
    limits: dict[str, SetLimit],
) -> None:
    plan = planned(LIKE_THE_THUMB)
    deep = step("middle_bore", depth="1", datum="crown")  # 1/8 deeper, which is within
    name, least = "Wall between the finger holes", work_out(put_in_met(plan, [deep])).walls["middle_ring"].least_in
    before = work_out(plan).walls["middle_ring"].least_in
    assert before - least > 0.0005
    for limit, is_beyond in ((least - 1e-6, False), ((least + before) / 2, True), (before + 1e-6, False)):
        web = replace(not_none(plan.limits).least_web, value_in=limit)
        tried = replace(plan, limits=replace(not_none(plan.limits), least_web=web))
        assert terms(answer(tried, deep, limits))[name].is_beyond is is_beyond


def test_a_wrong_bit_is_told_with_its_insert_its_bridge_and_its_room(limits: dict[str, SetLimit]) -> None:
    plan = planned(LIKE_THE_THUMB)
    wide = terms(answer(plan, step("middle_bore", bit="1"), limits))
    assert wide["Insert, middle"] == Term("Insert, middle", "for 31/32", "1/32 room", True)
    bridge = work_out(put_in_met(plan, [step("middle_bore", bit="1")])).solved.bridge_cut_in
    assert bridge == pytest.approx(0.3125 - 1 / 64, abs=0.002)  # half of 1/32, and the holes' lean
    assert terms(answer(plan, step("middle_bore", bit="15/16"), limits))["Insert, middle"].now == "1/32 too tight"
    bare = replace(plan, grip=replace(plan.grip, middle=replace(plan.grip.fingers["middle"], hole_in=0.96875)))
    assert "Insert, middle" not in terms(answer(bare, step("middle_bore", bit="1"), limits))
    narrow = terms(answer(plan, step("bore", bit="47/32"), limits))["Sleeve in its bore"]
    assert narrow == Term("Sleeve in its bore", "1/32 room", "1/32 too tight", True)


def test_what_cannot_be_worked_out_is_told_and_left_out(limits: dict[str, SetLimit]) -> None:
    plan = planned(LIKE_THE_THUMB)
    for wild in (
        step("bore_pitch", forward="4"),
        step("bore", bit="9"),
        step("ring_bore", bit="9", depth="1", datum="crown"),
        step("middle_pitch", forward="4.3"),
    ):
        told = answer(plan, wild, limits)
        assert told.is_beyond
        assert "cannot be worked out" in told.terms[0].now
    assert put_in_met(plan, [step("bore_pitch", forward="4")]) == plan
    kept = put_in_met(plan, [step("ring_bore", bit="9", depth="1", datum="crown")])  # its depth can be
    assert kept == replace(
        plan, grip=replace(plan.grip, ring=replace(plan.grip.fingers["ring"], depth_in=1.0)), assumed_depths=()
    )
