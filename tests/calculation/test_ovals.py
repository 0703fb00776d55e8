import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calculation.errors import CannotBuildError
from app.calculation.ovals import oval_plan

SAMPLED_IN = 2e-4


@pytest.mark.parametrize(("spacing", "cusp"), [(1 / 16, 0.0010), (1 / 8, 0.0039), (1 / 4, 0.0159)])
def test_the_scallop_formula(spacing: float, cusp: float) -> None:
    # textbook scallop height of a 1 in bit: r - sqrt(r² - (s/2)²), printed to four places
    plan = oval_plan(1.0, spacing, 0, cusp + 5e-5)
    assert len(plan.plunges) == 2
    assert plan.cusp_in == pytest.approx(cusp, abs=5e-5)


def test_no_oval_is_one_plunge() -> None:
    plan = oval_plan(1.0, 0.0, 45, 0.002)
    assert [(p.along_in, p.across_in) for p in plan.plunges] == [(0.0, 0.0)]
    assert (plan.cusp_in, plan.width_in) == (0.0, 1.0)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.6, 1.2), st.floats(0.001, 0.5), st.floats(-360, 360), st.floats(0.0003, 0.05))
def test_the_fewest_plunges_that_keep_the_cusp(bit: float, oval: float, turn: float, limit: float) -> None:
    plan = oval_plan(bit, oval, turn, limit)
    assert plan.cusp_in <= limit + 1e-12
    count = len(plan.plunges)
    if count > 2:
        wider = oval / (count - 2)
        assert bit / 2 - math.sqrt(max((bit / 2) ** 2 - (wider / 2) ** 2, 0)) > limit - 1e-9
    first, last = plan.plunges[0], plan.plunges[-1]
    assert math.hypot(last.along_in - first.along_in, last.across_in - first.across_in) == pytest.approx(oval)
    assert plan.width_in == pytest.approx(bit + oval)


def test_the_cusp_is_what_a_union_of_discs_leaves() -> None:
    # outside source: the union itself, sampled by numpy along the oval's side
    plan = oval_plan(1.0, 0.25, 90, 0.005)
    across = np.array([p.across_in for p in plan.plunges])
    at = np.linspace(across[0], across[-1], 20_001)
    reach = np.sqrt(0.25 - np.min(np.abs(at[:, None] - across), axis=1) ** 2)
    assert 0.5 - reach.min() == pytest.approx(plan.cusp_in, abs=SAMPLED_IN)


def test_plunges_run_along_the_clock_from_one_end_to_the_other() -> None:
    # geometry, section 4: from −oval/2 to +oval/2 along the direction; 2:00 is 60° clockwise of the fingers
    plan = oval_plan(1.0, 0.25, 60, 0.004)
    places = [(p.along_in, p.across_in) for p in plan.plunges]
    ends = (0.125 * math.cos(math.radians(60)), 0.125 * math.sin(math.radians(60)))
    assert np.array(places) == pytest.approx(np.array([(-ends[0], -ends[1]), (0.0, 0.0), ends]), abs=1e-12)
    assert oval_plan(1.0, 0.25, 60, 0.5).cusp_in == pytest.approx(0.5 - math.sqrt(0.25 - 0.125**2), abs=1e-12)


def test_an_oval_of_just_so_many_plunges_has_no_more() -> None:
    # by hand: circles of 1/2 whose crossing lies 0.4 off the line are 2 × 0.3 apart, the sides being 3, 4 and 5 tenths
    plan = oval_plan(1.0, 1.2, 0, 0.1)
    assert [p.along_in for p in plan.plunges] == pytest.approx([-0.6, 0.0, 0.6], abs=1e-12)


@pytest.mark.parametrize("limit", [0.0, -0.1, 0.6])
def test_a_limit_that_means_nothing_is_refused(limit: float) -> None:
    with pytest.raises(CannotBuildError):
        oval_plan(1.0, 0.1, 0, limit)
