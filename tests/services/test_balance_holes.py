"""Which bits and fills a plan comes to, by volumes worked by hand."""

import math
from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from app.calculation.bores import Bore, axis_depth_in
from app.calculation.holes import OldHole
from app.calculation.removed import BalanceHole, fill_materials, hole_material
from app.calculation.units import radius_in
from app.models import Drilling
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan, PlannedInner
from app.services.balance_holes import INSERT_OZ_IN3, MOST_BY_TILT_OZ, SLEEVE_OZ_IN3, list_holes
from app.services.work_outs import work_out
from tests.calculation.test_removed import Reference, measure
from tests.conftest import not_none

DENSITY = 0.70
CURVED = 0.12  # share of a volume that the ball's curved surface may add to or take off a flat column


@pytest.fixture
def made(session: Session, plan: Drilling) -> Plan:
    return not_none(plan.plan)


def holes_of(plan: Plan) -> dict[str, BalanceHole]:
    return {one.name: one.hole for one in list_holes(plan, work_out(plan), DENSITY)}


def column(diameter_in: float, depth_in: float) -> float:
    return math.pi / 4 * diameter_in**2 * depth_in


def test_a_bore_is_filled_by_sleeve_inner_and_what_lies_under_the_hole(made: Plan) -> None:
    bore, inner, thumb = not_none(made.bore), not_none(made.inner), made.grip.require_thumb()
    found = holes_of(made)["thumb bore"]
    assert (found.bore_in, found.depth_in, found.digit) == (bore.bore_in, bore.depth_in, "thumb")
    assert (found.forward_in, found.right_in) == (bore.forward_in, bore.right_in)
    sleeve, tube, under = found.fills
    assert (sleeve.od_in, sleeve.id_in) == (made.grip.sleeve_od_in, inner.outside_in)
    assert (tube.od_in, tube.id_in, tube.id_oval_in) == (inner.outside_in, thumb.hole_in, thumb.oval_in)
    assert (under.od_in, under.id_in) == (thumb.hole_in, 0)
    assert under.length_in == pytest.approx(bore.depth_in - inner.length_in)
    assert {fill.density_oz_in3 for fill in found.fills} == {SLEEVE_OZ_IN3}
    volumes = [material.volume_in3 for material in fill_materials(found, made.grip.circumference_in)]
    assert volumes[0] == pytest.approx(
        column(bore.bore_in, bore.depth_in) - column(inner.outside_in, bore.depth_in), rel=CURVED
    )


def test_what_is_put_in_never_weighs_more_than_its_room(made: Plan) -> None:
    for hole in holes_of(made).values():
        room = hole_material(hole, made.grip.circumference_in).volume_in3
        assert 0 < sum(m.volume_in3 for m in fill_materials(hole, made.grip.circumference_in)) < room


def test_fingers_have_an_insert_only_where_they_are_bored_wider(made: Plan) -> None:
    found = holes_of(made)
    middle = not_none(made.grip.middle)
    (insert,) = found["middle"].fills
    assert (insert.od_in, insert.id_in, insert.density_oz_in3) == (middle.cut_in, middle.hole_in, INSERT_OZ_IN3)
    plain = replace(made, grip=replace(made.grip, middle=replace(middle, hole_in=middle.cut_in)))
    assert holes_of(plain)["middle"].fills == ()
    assert found["middle"].depth_in == middle.depth_in


def test_a_thumb_without_an_inner_is_an_open_oval(made: Plan) -> None:
    grip = replace(made.grip, sleeve_od_in=None)
    found = holes_of(replace(made, grip=grip, bore=None, inner=None))["thumb hole"]
    thumb = grip.require_thumb()
    assert (found.bore_in, found.oval_in, found.oval_deg, found.fills) == (
        thumb.hole_in, thumb.oval_in, thumb.oval_deg, (),
    )  # fmt: skip


def test_a_slug_has_no_sleeve_and_its_bottom_stays(made: Plan) -> None:
    grip = replace(made.grip, thumb=replace(made.grip.require_thumb(), depth_in=2.0))
    fills = holes_of(replace(made, grip=grip, inner=None))["thumb bore"].fills
    assert [(fill.od_in, fill.id_in) for fill in fills] == [(1.5, 0.9375), (0.9375, 0.0)]
    assert fills[1].length_in == pytest.approx(not_none(made.bore).depth_in - 2.0)


def test_an_inner_as_wide_as_its_sleeve_is_no_second_tube(made: Plan) -> None:
    wide = replace(made, inner=PlannedInner(1.5, 1.875))
    assert [fill.od_in for fill in holes_of(wide)["thumb bore"].fills] == [1.5, 0.9375]


@pytest.mark.parametrize("is_filled", [True, False])
def test_old_holes_count_open_or_plugged_and_to_the_depth_they_have(made: Plan, is_filled: bool) -> None:
    shape = OldHole(-3.5, 2.0, 1.0, 0.25, 0.0, 2.0, "thumb")
    old = PlannedOldHole(7, "thumb hole", shape, is_filled, "", None, ())
    with_old = replace(made, old_holes=(old,))
    found = holes_of(with_old)["old thumb hole"]
    assert axis_depth_in(Bore(27.0, 1.0, found.depth_in, 0.25, 0.0)) == pytest.approx(2.0)
    taken = hole_material(found, 27.0)
    given = fill_materials(found, 27.0)
    assert len(given) == is_filled
    if is_filled:  # as dense as the ball: nothing changes
        assert given[0].volume_in3 == pytest.approx(taken.volume_in3)
        assert found.fills[0].density_oz_in3 == DENSITY
    weighed = list_holes(with_old, work_out(with_old), DENSITY, has_old=False)
    assert [one.name for one in weighed] == ["thumb bore", "middle", "ring"]


@pytest.mark.parametrize("forward_in", [-0.375, 0.0, 0.375])
@pytest.mark.parametrize("right_in", [-0.375, 0.0, 0.375])
def test_a_thumb_hole_of_another_pitch_than_its_bore_is_off_by_little(forward_in: float, right_in: float) -> None:
    # outside source: manifold3d, the hole's own tilted column in the inner, down to the floor of the bore
    bore = BalanceHole(-2.5, 0.0, 0.0, 0.0, "thumb", 1.25, 2.75, DENSITY)
    straight = hole_material(replace(bore, bore_in=0.9375), 27.0)
    tilted = replace(bore, bore_in=0.9375, depth_in=4.0, forward_in=forward_in, right_in=right_in)
    room, cut = (Reference(27.0, hole).hole_solid(hole, 96) for hole in (bore, tilted))
    _, *moment = SLEEVE_OZ_IN3 * measure(room ^ cut)
    counted = [SLEEVE_OZ_IN3 * part for part in straight.moment_in4]
    off_oz = [abs(a - b) / radius_in(27.0) for a, b in zip(moment, counted, strict=True)]
    assert max(off_oz) < MOST_BY_TILT_OZ
