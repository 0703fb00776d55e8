"""A plan as met always works out, whatever was met; an owned inner's plan follows its bore.

What is felt is held against scipy's rotations, the rim against the sphere, both written out in the tests of the owned
inner's calculation.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calculation.bores import Bore
from app.models import DrillingStep
from app.models.plans import OwnedFit, Plan, PlannedOwned, read_plan, write_plan
from app.services import checks
from app.services.as_met import answer_step, put_in_met
from app.services.met_plans import HOLES, try_put
from app.services.owned_routes import calculate_rim, tell_rim
from app.services.routes import ACTIONS, ROUTES, freeze_steps
from app.services.shop_limits import SetLimit
from app.services.work_outs import work_out
from tests.calculation.test_owned_inners import felt_by_rotation, lips, surface
from tests.conftest import not_none
from tests.services.test_as_met import answer, step, terms
from tests.services.test_as_met import limits as limits  # noqa: PLC0414 - a fixture
from tests.services.test_work_outs import AROUND_IN, planned

pytestmark = pytest.mark.once  # numbers, which no database changes

MADE = Bore(27.0, 1.5, 2.75, -0.25, 0.125)
TILT = (0.125, -0.0625)
PITCH = (-0.25, 0.125)
RIM_IN = 5e-6  # 360 places of a rim against its exact extremes


def owned(pitch: tuple[float, float] = PITCH, turn_deg: float = 40.0) -> Plan:
    """A left hand's plan for an inner made in another ball, with the depth of the smallest lips at this pitch."""
    plan = planned(pitch)
    felt = felt_by_rotation(AROUND_IN, pitch, TILT, turn_deg)
    depth, lip = lips(1.25, MADE, Bore(AROUND_IN, 1.53125, 0.0, *pitch), turn_deg)
    chosen = OwnedFit(*pitch, depth, turn_deg, *felt, 30.0, lip, -lip)
    thumb = replace(plan.grip.require_thumb(), forward_in=felt[0], right_in=felt[1], depth_in=depth)
    return replace(
        plan,
        grip=replace(plan.grip, thumb=thumb),
        bore=replace(not_none(plan.bore), depth_in=depth),
        owned=PlannedOwned(
            1, "feel", 1.25, 0.9375, 0.0625, TILT, MADE, "measured", 0.0, 0.0, 2.75, "", 1 / 64,
            (0.9375, 0.0625, 30.0, *felt), chosen, None,
        ),
    )  # fmt: skip


def test_an_owned_inner_is_felt_and_bored_for_at_the_pitch_of_its_bore(limits: dict[str, SetLimit]) -> None:
    plan, one = owned(), step("bore_pitch", forward="-1/8", right="1/4")
    met = put_in_met(plan, [one])
    felt = felt_by_rotation(AROUND_IN, (-0.125, 0.25), TILT, 40.0)
    assert (met.grip.require_thumb().forward_in, met.grip.require_thumb().right_in) == pytest.approx(felt, abs=1e-9)
    depth, lip = lips(1.25, MADE, Bore(AROUND_IN, 1.53125, 0.0, -0.125, 0.25), 40.0)
    assert not_none(met.bore).depth_in == met.grip.require_thumb().depth_in == pytest.approx(depth, abs=RIM_IN)
    assert met.grip.sleeve_pitch_in == (-0.125, 0.25)
    told = terms(answer(plan, one, limits))
    assert told["Felt pitch"].is_beyond
    rim = not_none(calculate_rim(met))
    assert (rim.highest_in, rim.lowest_in) == pytest.approx((lip, -lip), abs=RIM_IN)
    assert told["Inner's rim, highest / lowest"].is_beyond == (lip > 1 / 64)
    # the bore is then held against the depth that this pitch needs
    then = step("bore", 2, depth=Fraction(depth + 1 / 128), datum="collar")
    got = not_none(answer_step(plan, met, put_in_met(plan, [one, then]), then, "bore_floor", limits))
    assert got.shim_in == pytest.approx(1 / 128, abs=RIM_IN)
    assert not got.terms[0].is_beyond


@pytest.mark.parametrize("bit", ["25/16", "47/32"])
@pytest.mark.parametrize("is_pitched", [True, False])
def test_an_owned_inner_in_a_bore_of_another_bit_is_bored_for_as_the_collar_rests_on_its_rim(
    limits: dict[str, SetLimit], bit: str, is_pitched: bool
) -> None:
    plan = owned()
    pitched = [step("bore_pitch", 1, forward="-1/8", right="1/4")] if is_pitched else []
    pitch = (-0.125, 0.25) if is_pitched else PITCH
    depth, lip = lips(1.25, MADE, Bore(AROUND_IN, float(Fraction(bit)), 0.0, *pitch), 40.0)
    met = put_in_met(plan, [*pitched, step("bore", 2, bit=bit)])
    assert not_none(met.bore).depth_in == met.grip.require_thumb().depth_in == pytest.approx(depth, abs=RIM_IN)
    one = step("bore", 2, bit=bit, depth=Fraction(depth + 1 / 8), datum="collar")
    told = not_none(
        answer_step(plan, put_in_met(plan, pitched), put_in_met(plan, [*pitched, one]), one, "bore_floor", limits)
    )
    shim_in = not_none(told.shim_in)
    assert shim_in == pytest.approx(1 / 8, abs=RIM_IN)
    rim = not_none(calculate_rim(put_in_met(plan, [*pitched, one], shim_in)))
    assert (rim.highest_in, rim.lowest_in) == pytest.approx((lip, -lip), abs=RIM_IN)


@pytest.mark.parametrize("shim", [0.0, 1 / 16])
def test_the_rim_of_an_owned_inner_follows_the_depth_as_met_less_what_lies_under_its_sleeve(
    limits: dict[str, SetLimit], shim: float
) -> None:
    plan = owned()
    planned_in = not_none(plan.bore).depth_in
    one = step("bore", depth=Fraction(planned_in + 1 / 16), datum="collar")
    met = put_in_met(plan, [one], shim_in=shim)
    seat = Bore(AROUND_IN, 1.53125, planned_in + 1 / 16 - shim, *PITCH)
    heights = surface(MADE, 0.625, 40.0) + MADE.depth_in - surface(seat, 0.625, 0.0) - seat.depth_in
    rim = not_none(calculate_rim(met))
    assert (rim.highest_in, rim.lowest_in) == pytest.approx((heights.max(), heights.min()), abs=RIM_IN)
    told = terms(not_none(answer_step(plan, plan, met, one, "bore_floor", limits)))
    assert ("Inner's rim, highest / lowest" in told) == (shim == 0.0)
    if not shim:
        assert told["Inner's rim, highest / lowest"].is_beyond
    assert tell_rim(met) == (tell_rim(plan) if shim else tell_rim(met))


def test_an_owned_inner_of_unknown_datum_has_the_rim_of_the_shallowest_and_of_the_deepest(
    limits: dict[str, SetLimit],
) -> None:
    plan = owned()
    one = step("bore", depth=Fraction(not_none(plan.bore).depth_in), datum="unknown")
    told = terms(answer(plan, one, limits))["Inner's rim, highest / lowest"]
    assert told.is_beyond  # a rim of 1 1/2 lies some 1/16 below the crown: the heights of `test_as_met.py`


def test_depths_are_converted_at_the_pitch_and_bit_that_were_met_in_whatever_order() -> None:
    plan = planned(PITCH)
    deep, pitched = step("bore", 1, depth="11/4", datum="crown"), step("bore_pitch", 2, forward="1/4", right="0")
    found = put_in_met(plan, [deep, pitched])
    assert found == put_in_met(plan, [pitched, deep])
    straight = Bore(AROUND_IN, 1.53125, 2.75, 0.25, 0.0)
    radius = AROUND_IN / (2 * 3.141592653589793)
    crown, collar = (radius**2 - 0.25**2) ** 0.5, (radius**2 - (1.53125 / 2 - 0.25) ** 2) ** 0.5
    assert not_none(found.bore).depth_in == pytest.approx(straight.depth_in - (crown - collar), abs=1e-9)


def test_a_shim_thicker_than_the_bore_is_deep_is_left_out() -> None:
    assert not_none(put_in_met(planned(), [], shim_in=3.0).bore).shim_in == 0.0
    assert not_none(put_in_met(planned(), [], shim_in=0.0625).bore).shim_in == 0.0625
    assert put_in_met(replace(planned(), bore=None), [], shim_in=0.0625).bore is None


def test_a_plan_without_a_bore_meets_nothing_of_one(limits: dict[str, SetLimit]) -> None:
    plan = replace(planned(), bore=None, inner=None)
    one = step("bore", depth="3", datum="collar", bit="3/2")
    assert put_in_met(plan, [one]) == plan
    assert answer_step(plan, plan, plan, one, "bore_floor", limits) is None
    assert try_put(plan, step("mark"), "depth") == (plan, "")


# Whatever was met -----------------------------------------------------------------------------------------------------


def number(low: float, high: float) -> st.SearchStrategy[Fraction]:
    return st.integers(round(low * 128), round(high * 128)).map(lambda n: Fraction(n, 128))


@st.composite
def met_steps(draw: st.DrawFn) -> list[DrillingStep]:
    """Steps with anything that the forms of the bench let somebody type, and more."""
    made = []
    for position, action in enumerate(draw(st.lists(st.sampled_from(list(HOLES)), max_size=6)), 1):
        one = step(
            action, position, datum=draw(st.sampled_from(("", "collar", "crown", "rim_high", "rim_low", "unknown")))
        )
        one.met_depth_in = draw(st.none() | number(-0.5, 8))
        one.met_bit_in = draw(st.none() | number(0.0625, 9))
        one.met_forward_in, one.met_right_in = draw(st.none() | number(-5, 5)), draw(st.none() | number(-0.5, 0.5))
        one.skip_reason = draw(st.sampled_from(("", "", "", "by hand")))
        made.append(one)
    return made


BASES = {
    "inner": planned(PITCH),
    "inner, right hand": planned((0.0, 0.0), "right"),
    "owned": owned(),
    "by the sleeve": replace(planned(PITCH), grip=replace(planned(PITCH).grip, span_edges="sleeve")),
    "finished": replace(planned(PITCH), grip=replace(planned(PITCH).grip, span_edges="finished", bridge_edges="finished")),
    "slug": replace(planned(PITCH), inner=None),
    "none": replace(planned(PITCH), inner=None, bore=None, grip=replace(planned().grip, sleeve_od_in=None)),
}  # fmt: skip


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(list(BASES)), met_steps(), number(0, 1))
def test_whatever_was_met_the_plan_works_out_and_the_bench_answers(
    limits: dict[str, SetLimit], base: str, met: list[DrillingStep], shim: Fraction
) -> None:
    plan = BASES[base]
    before = plan
    for count, one in enumerate(met, 1):
        after = put_in_met(plan, met[:count], float(shim))
        told = answer_step(plan, before, after, one, "bore_floor", limits)
        assert told is None or told.terms[0].what
        before = after
    worked = work_out(before)
    checks.run_checks(before, worked)
    assert read_plan(write_plan(before)) == before
    for kind, route in ROUTES.items():
        if before.bore or kind == "none":
            freeze_steps(before, worked, [(action, ACTIONS[action].words) for action in route])
