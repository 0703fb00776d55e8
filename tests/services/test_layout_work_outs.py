"""A layout worked out on its ball: the contract's numbers, which arc the mass mark takes, conflicts and limits."""

import math
from dataclasses import astuple
from fractions import Fraction

import pytest
from pyproj import Geod

from app.calculation.grip_solver import solve_grip
from app.calculation.layouts import AxisPoint as Point
from app.calculation.layouts import read_layout
from app.calculation.sphere import arc_angle
from app.errors import InvalidError
from app.models import AxisPoint, BallMarks
from app.schemas.calc_grips import GripIn
from app.services.heavy_spots import sign_angle
from app.services.layout_work_outs import OnBall, TypedNumbers, work_out_layout
from app.services.shop_limits import LIMITS, SetLimit
from tests.calculation.grips import example

RADIUS_IN = 27 / 2 / math.pi
LIMITS_SET = {of.name: SetLimit(of, Fraction(of.default), of.default, "") for of in LIMITS if of.name[:8] == "least_to"}
NUMBERS = TypedNumbers(Fraction(4), Fraction(35), Fraction(40))


def point(track: str = "") -> AxisPoint:
    track_in = Fraction(track) if track else None
    return AxisPoint(hand="right", over_in=Fraction(9, 2), up_in=Fraction(1, 2), track_in=track_in)


def marks(has_mass_mark: bool = True, pin_mark: str = "", pin_centre: str = "", mark_centre: str = "") -> BallMarks:
    arcs = {"pin_mark_in": pin_mark, "pin_centre_in": pin_centre, "mark_centre_in": mark_centre}
    return BallMarks(
        has_mass_mark=has_mass_mark, **{name: Fraction(text) if text else None for name, text in arcs.items()}
    )


def on(of: BallMarks | None = None, track: str = "", has_grip: bool = True) -> OnBall:
    solved = solve_grip(GripIn.model_validate(example()).to_grip()) if has_grip else None
    return OnBall(27.0, "right", point(track), of, solved, None, LIMITS_SET)


def test_the_worked_example() -> None:
    """Source: the project's geometry contract, 27 in, 4 1/2 over and 1/2 up, 4 in by 35° by 40°."""
    worked = work_out_layout(NUMBERS, on())
    assert worked.laid.places["mark"] == pytest.approx((-3.685229, 2.108438), abs=1e-6)
    assert (worked.marking.grip_pin_in, worked.marking.grip_mark_in) == pytest.approx((3.670435, 4.106627), abs=1e-6)
    assert worked.is_mark_arc_measured is False


def test_a_mark_measured_elsewhere_is_drawn_there_and_without_one_the_heavy_spot_takes_its_part() -> None:
    own = work_out_layout(NUMBERS, on(marks(pin_mark="13/2")))
    assert RADIUS_IN * arc_angle(own.laid.pin, own.laid.mark) == pytest.approx(6.5, abs=1e-9)
    without = work_out_layout(NUMBERS, on(marks(has_mass_mark=False, pin_centre="5/2")))
    assert RADIUS_IN * arc_angle(without.laid.pin, without.laid.mark) == pytest.approx(2.5, abs=1e-9)
    assert without.heavy.at == without.laid.mark


def test_a_heavy_spot_stands_its_arcs_from_pin_and_mass_mark() -> None:
    """Against pyproj's geodesics on a sphere, in the frame of the grip."""
    worked = work_out_layout(NUMBERS, on(marks(pin_mark="27/4", pin_centre="5/2", mark_centre="47/8")))
    geod = Geod(a=RADIUS_IN, b=RADIUS_IN)
    at = worked.heavy.at
    assert at is not None and worked.heavy.is_side_assumed
    for end, arc_in in ((worked.laid.pin, 2.5), (worked.laid.mark, 5.875)):
        degrees = [(math.degrees(math.atan2(y, z)), math.degrees(math.asin(x))) for x, y, z in (at, end)]
        assert geod.inv(*degrees[0], *degrees[1])[2] == pytest.approx(arc_in, abs=1e-9)
    on_a_line = work_out_layout(NUMBERS, on(marks(pin_mark="27/4", pin_centre="5/2", mark_centre="17/4")))
    assert not on_a_line.heavy.is_side_assumed


def test_marks_that_contradict_each_other_draw_no_heavy_spot_and_keep_the_layout() -> None:
    worked = work_out_layout(NUMBERS, on(marks(pin_mark="27/4", pin_centre="1", mark_centre="1")))
    assert worked.heavy.at is None
    assert "contradict" in worked.heavy.problem
    assert RADIUS_IN * arc_angle(worked.laid.pin, worked.laid.mark) == pytest.approx(6.75, abs=1e-9)


def test_a_pin_under_a_hole_and_a_track_through_one_are_conflicts_with_their_limits() -> None:
    """A pin in the middle of the ring hole lies half its bore inside the rim: 31/32 in across, a little more as arc."""
    here = on(track="33/8")
    assert here.solved is not None
    ring = here.solved.fingers["ring"].centre
    found = read_layout(27.0, "right", Point(4.5, 0.5), ring, (0.0, -1.0, 0.0))
    worked = work_out_layout(TypedNumbers(*(Fraction(v) for v in astuple(found)[:3])), here)
    by_name = {(one.hole, one.spot): one for one in worked.conflicts}
    assert by_name["ring", "pin"].gap_in == pytest.approx(-0.96875 / 2, abs=0.01)
    assert by_name["ring", "pin"].limit_in == 0.25
    assert by_name["ring", "track"].is_over
    assert [one.gap_in for one in worked.conflicts] == sorted(one.gap_in for one in worked.conflicts)
    assert work_out_layout(NUMBERS, on(has_grip=False)).clearances == ()


@pytest.mark.parametrize(("numbers", "field"), [(("0", "35", "40"), "pin_axis"), (("13.5", "35", "40"), "pin_axis")])
def test_what_cannot_be_built_is_told_at_its_field(numbers: tuple[str, str, str], field: str) -> None:
    with pytest.raises(InvalidError) as refused:
        work_out_layout(TypedNumbers(*map(Fraction, numbers)), on())
    assert list(refused.value.fields) == [field]


@pytest.mark.parametrize(("angle", "signed"), [("0", 0), ("180", 180), ("181", -179), ("359.5", -0.5)])
def test_an_angle_of_more_than_half_a_turn_is_swung_the_other_way(angle: str, signed: float) -> None:
    assert sign_angle(Fraction(angle)) == signed
