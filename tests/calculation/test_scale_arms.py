"""The arm of a scale against its own statics and a simulation of weighings."""

import math
import random

import pytest

from app.calculation.errors import CannotBuildError
from app.calculation.scale_arms import ScaleArm, TapedMass, TwoWayReading, calibrate_arm

RADIUS = 13.5 / math.pi
DRAWS = 3000


def readings(imbalance: float, zero: float = 0.25, count: int = 1) -> list[TwoWayReading]:
    return [TwoWayReading(zero + imbalance, zero - imbalance)] * count


def test_the_zero_of_the_scale_cancels() -> None:
    # common practice, no source: read, turn the ball half about, read again
    assert TwoWayReading(3.25, -2.75).imbalance_oz == 3.0
    assert TwoWayReading(-2.75, 3.25).imbalance_oz == -3.0


def test_a_mass_on_the_surface_tells_the_arm() -> None:
    # by hand: 1 oz at 4.29718 in that moves the scale by 0.8 oz hangs on an arm of R / 0.8
    got = calibrate_arm(27.0, TapedMass(1.0, 0.01), readings(0.5), readings(1.3), 0.01)
    assert got.arm_in == pytest.approx(RADIUS / 0.8, rel=1e-12)
    assert got.change_oz == pytest.approx(0.8, rel=1e-12)
    # a difference of two means of two readings' half difference: u of the change is u of a reading
    assert got.standard_uncertainty_in == pytest.approx(got.arm_in * math.hypot(0.01 / 0.8, 0.01), rel=1e-12)
    half = 1.959964 * got.standard_uncertainty_in
    assert got.interval_in == pytest.approx((got.arm_in - half, got.arm_in + half), rel=1e-7)


def test_the_middle_of_the_mass_stands_above_the_ball() -> None:
    got = calibrate_arm(27.0, TapedMass(1.0, 0.0, 0.25), readings(0.0), readings(1.0), 0.001)
    assert got.arm_in == pytest.approx(RADIUS + 0.25, rel=1e-12)


def test_more_readings_make_the_arm_surer() -> None:
    one = calibrate_arm(27.0, TapedMass(1.0), readings(0.5), readings(1.3), 0.02)
    four = calibrate_arm(27.0, TapedMass(1.0), readings(0.5, count=4), readings(1.3, count=4), 0.02)
    assert four.standard_uncertainty_in == pytest.approx(one.standard_uncertainty_in / 2, rel=1e-12)
    uneven = calibrate_arm(27.0, TapedMass(1.0), readings(0.5), readings(1.3, count=4), 0.02)
    assert uneven.standard_uncertainty_in == pytest.approx(one.standard_uncertainty_in * math.sqrt(5 / 8), rel=1e-12)


def test_the_interval_covers_the_arm() -> None:
    # a simulation of weighings with an arm of 4.1 in
    pick, hits = random.Random(5), 0

    def weigh(imbalance: float) -> TwoWayReading:
        return TwoWayReading(0.3 + imbalance + pick.gauss(0, 0.06), 0.3 - imbalance + pick.gauss(0, 0.06))

    for _ in range(DRAWS):
        mass = 2.0 + pick.gauss(0, 0.02)
        without, taped = [weigh(0.7), weigh(0.7)], [weigh(0.7 + mass * RADIUS / 4.1) for _ in range(3)]
        low, high = calibrate_arm(27.0, TapedMass(2.0, 0.02), without, taped, 0.06).interval_in
        hits += low <= 4.1 <= high
    assert 0.93 < hits / DRAWS < 0.97


@pytest.mark.parametrize("change", [0.0, -0.8, 0.24])
def test_a_mass_that_hardly_moves_the_scale_tells_nothing(change: float) -> None:
    with pytest.raises(CannotBuildError) as refused:
        calibrate_arm(27.0, TapedMass(1.0), readings(0.5), readings(0.5 + change), 0.05)
    assert refused.value.field == "with_mass"
    enough: ScaleArm = calibrate_arm(27.0, TapedMass(1.0), readings(0.5), readings(0.76), 0.05)
    assert enough.change_oz == pytest.approx(0.26)


def test_readings_are_needed_either_way() -> None:
    for without, taped, field in (([], readings(1.0), "without"), (readings(1.0), [], "with_mass")):
        with pytest.raises(CannotBuildError) as refused:
            calibrate_arm(27.0, TapedMass(1.0), without, taped, 0.01)
        assert refused.value.field == field
