import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from app.calculation.bores import (
    Bore,
    Datum,
    axis_depth_in,
    collar_depth_in,
    collar_depth_range_in,
    flush_depth_in,
    flushness,
    flushness_range,
    height_in,
    possible_bores,
    surface_above_seat_in,
    trial_pitch_doubt_in,
)
from app.calculation.errors import CannotBuildError
from app.calculation.inners import felt_oval_deg, felt_pitch, inner_wall

SAME_IN = 1e-9
RIM_IN = 1e-9
SAMPLED_IN = 2e-4  # the highest sampled surface point against the exact one, 400,000 samples
PRINTED_IN = 6e-7
WALL_IN = 1.5e-3  # facets, and the gap between a leaning and an upright wall

STRAIGHT = Bore(27.0, 1.5, 2.75)
QUARTER_REVERSE = Bore(27.0, 1.5, 2.75, -0.25)

pitches = st.integers(-500, 500).map(lambda n: n / 1000)
bores = st.builds(
    Bore,
    circumference_in=st.floats(26.704, 27.002),
    bore_in=st.floats(1.35, 1.6),
    depth_in=st.floats(2.0, 3.2),
    forward_in=pitches,
    right_in=pitches,
)


class SolidBore:
    """The same bore in space, independently: a bore at the top of the ball, its frame turned by scipy."""

    def __init__(self, bore: Bore) -> None:
        self.bore = bore
        self.radius = bore.circumference_in / (2 * math.pi)
        v = np.array([bore.right_in, bore.forward_in, 0.0])
        p = np.linalg.norm(v)
        inwards = np.array([0.0, 0.0, -1.0])
        if p:
            # tip the axis from straight down by asin(p / R) towards the pitch vector
            rotation = Rotation.from_rotvec(np.cross(inwards, v / p) * math.asin(p / self.radius))
        else:
            rotation = Rotation.identity()
        self.inwards = rotation.apply(inwards)
        self.right, self.forward = rotation.apply([1.0, 0.0, 0.0]), rotation.apply([0.0, 1.0, 0.0])
        self.surface = np.array([0.0, 0.0, self.radius])

    def seat_height(self) -> float:
        """Along the axis, from the ball's centre plane: highest surface left, less the depth; by sampling."""
        golden = math.pi * (3 - math.sqrt(5))
        i = np.arange(400_000)
        z = 1 - (i + 0.5) / len(i) * 0.06  # the cap round the mouth
        ring = np.sqrt(1 - z * z)
        points = self.radius * np.column_stack([ring * np.cos(golden * i), ring * np.sin(golden * i), z])
        relative = points - self.surface
        along = relative @ self.inwards
        off = np.linalg.norm(relative - np.outer(along, self.inwards), axis=1)
        left = points[off >= self.bore.bore_in / 2]
        return float((left @ -self.inwards).max()) - self.bore.depth_in

    def surface_height(self, right: float, forward: float) -> float:
        """Where the line parallel to the axis through an offset leaves the ball, along the axis."""
        start = self.surface + right * self.right + forward * self.forward
        start = start - (start @ self.inwards) * self.inwards
        return math.sqrt(self.radius**2 - start @ start)


def test_the_written_flushness_example() -> None:
    # source: the project's own calculation contract
    result = flushness(1.25, QUARTER_REVERSE, STRAIGHT)
    assert result.centre_in == pytest.approx(-0.044046, abs=PRINTED_IN)
    assert result.front_in == pytest.approx(-0.007468, abs=PRINTED_IN)
    assert result.back_in == pytest.approx(-0.081101, abs=PRINTED_IN)


@settings(max_examples=25, deadline=None)
@given(bores, bores, st.floats(0, 360))
def test_sitting_agrees_with_solids_turned_by_scipy(made: Bore, fitted: Bore, turn: float) -> None:
    # outside source: scipy rotations and ray against sphere; the stop height by brute-force sampling
    result = flushness(1.25, made, fitted, turn)
    a, b = SolidBore(made), SolidBore(fitted)
    seats = a.seat_height() - b.seat_height()
    for value, clock in ((result.front_in, 0), (result.right_in, 90), (result.back_in, 180), (result.left_in, 270)):
        here, there = math.radians(clock), math.radians(clock - turn)
        expected = a.surface_height(0.625 * math.sin(there), 0.625 * math.cos(there)) - b.surface_height(
            0.625 * math.sin(here), 0.625 * math.cos(here)
        )
        assert value == pytest.approx(expected - seats, abs=SAMPLED_IN)


@settings(max_examples=60, deadline=None)
@given(bores)
def test_an_inner_is_flush_where_it_was_trimmed(bore: Bore) -> None:
    result = flushness(1.25, bore, bore)
    assert max(map(abs, (result.centre_in, result.highest_in, result.lowest_in, *result.heights_in))) < SAME_IN


@settings(max_examples=60, deadline=None)
@given(bores, bores, st.floats(0, 360))
def test_a_full_turn_changes_nothing(made: Bore, fitted: Bore, turn: float) -> None:
    one, other = flushness(1.25, made, fitted, turn), flushness(1.25, made, fitted, turn + 360)
    assert one.heights_in == pytest.approx(other.heights_in, abs=SAME_IN)


@settings(max_examples=60, deadline=None)
@given(bores, bores)
def test_the_mirrored_hand_sits_mirrored(made: Bore, fitted: Bore) -> None:
    def mirror(b: Bore) -> Bore:
        return Bore(b.circumference_in, b.bore_in, b.depth_in, b.forward_in, -b.right_in)

    one, other = flushness(1.25, made, fitted), flushness(1.25, mirror(made), mirror(fitted))
    assert (one.front_in, one.right_in, one.back_in, one.left_in) == pytest.approx(
        (other.front_in, other.left_in, other.back_in, other.right_in), abs=SAME_IN
    )


@settings(max_examples=60, deadline=None)
@given(bores, bores, st.floats(0, 360))
def test_no_rim_point_is_beyond_the_extremes(made: Bore, fitted: Bore, turn: float) -> None:
    result = flushness(1.25, made, fitted, turn)
    assert result.lowest_in - RIM_IN <= min(result.heights_in)
    assert max(result.heights_in) <= result.highest_in + RIM_IN
    assert result.highest_in - max(result.heights_in) < 2e-3


@settings(max_examples=60, deadline=None)
@given(bores, bores)
def test_the_wanted_depth_makes_the_centre_flush(made: Bore, fitted: Bore) -> None:
    wanted = Bore(
        fitted.circumference_in, fitted.bore_in, flush_depth_in(made, fitted), fitted.forward_in, fitted.right_in
    )
    assert flushness(1.25, made, wanted).centre_in == pytest.approx(0.0, abs=SAME_IN)


def test_a_deeper_bore_lets_the_inner_sink_by_as_much() -> None:
    deeper = Bore(27.0, 1.5, 2.75 + 1 / 16)
    assert flushness(1.25, STRAIGHT, deeper).centre_in == pytest.approx(-1 / 16, abs=SAME_IN)


def test_the_mouth_of_a_straight_bore_lies_0066_below_the_crown() -> None:
    # hand-worked: R - sqrt(R² - 0.75²) on a 27 in ball
    radius = 13.5 / math.pi
    saucer = radius - math.sqrt(radius**2 - 0.75**2)
    assert saucer == pytest.approx(0.066, abs=5e-4)
    assert collar_depth_in(STRAIGHT, "crown") == pytest.approx(2.75 - saucer, abs=SAME_IN)
    assert collar_depth_in(STRAIGHT, "rim_high") == 2.75


@given(bores)
def test_depths_from_any_datum_describe_the_same_seat(bore: Bore) -> None:
    seat = height_in(bore, "collar") - bore.depth_in
    for datum in ("crown", "rim_high", "rim_low"):
        as_read = Bore(
            bore.circumference_in, bore.bore_in, height_in(bore, datum) - seat, bore.forward_in, bore.right_in
        )
        assert collar_depth_in(as_read, datum) == pytest.approx(bore.depth_in, abs=SAME_IN)
    low, high = collar_depth_range_in(bore)
    assert low <= bore.depth_in <= high


@pytest.mark.parametrize(("forward", "right"), [(0.0, 0.0), (-0.25, 0.0), (0.1875, -0.25)])
def test_every_datum_lies_where_the_sphere_has_it(forward: float, right: float) -> None:
    # by hand: heights √(R² − x²) above the mid-plane; the edge is 3/4 from the axis, the axis |m| from the centre
    bore, pitch = Bore(27.0, 1.5, 2.75, forward, right), math.hypot(forward, right)
    off: dict[Datum, float] = {
        "collar": 0.75 - pitch,
        "rim_high": 0.75 - pitch,
        "crown": pitch,
        "rim_low": 0.75 + pitch,
    }
    for datum, x in off.items():
        assert height_in(bore, datum) == pytest.approx(math.sqrt((27 / math.tau) ** 2 - x * x), abs=1e-12)
    floor = math.sqrt((27 / math.tau) ** 2 - off["collar"] ** 2) - 2.75
    assert axis_depth_in(bore) == pytest.approx(math.sqrt((27 / math.tau) ** 2 - pitch**2) - floor, abs=1e-12)


@pytest.mark.parametrize("turn", [0.0, 33.0, 201.5])
def test_the_highest_and_lowest_of_a_rim_are_exact(turn: float) -> None:
    # outside source: scipy.optimize.minimize_scalar about the best of 3,600 places of the surfaces themselves
    made, fitted = Bore(27.0, 1.5, 2.70, -0.25, 0.125), Bore(26.9, 1.5, 2.72, 0.0625, -0.1875)

    def lip(t: float) -> float:
        return surface_above_seat_in(made, 0.625, t - math.radians(turn)) - surface_above_seat_in(fitted, 0.625, t)

    places = np.radians(np.arange(0, 360, 0.1))
    found = flushness(1.25, made, fitted, turn)
    for sign, told in ((1, found.lowest_in), (-1, found.highest_in)):
        near = places[np.argmin([sign * lip(t) for t in places])]
        exact = minimize_scalar(lambda t, s=sign: s * lip(t), bounds=(near - 0.01, near + 0.01), method="bounded")
        assert told == pytest.approx(sign * exact.fun, abs=1e-9)


def test_a_range_of_several_bores_has_the_extremes_of_each_pair() -> None:
    made = [Bore(27.0, 1.5, depth, -0.25, 0.125) for depth in (2.70, 2.75)]
    fitted = [Bore(27.0, 1.5, depth, 0.125, -0.0625) for depth in (2.68, 2.72, 2.80)]
    found = flushness_range(1.25, made, fitted)
    every = [flushness(1.25, a, b, turn) for a in made for b in fitted for turn in range(0, 360, 3)]
    assert found.centre_in[0] == pytest.approx(min(s.centre_in for s in every), abs=1e-9)
    assert found.centre_in[1] == pytest.approx(max(s.centre_in for s in every), abs=1e-9)
    assert found.lowest_in == pytest.approx(min(s.lowest_in for s in every), abs=1e-4)
    assert found.highest_in == pytest.approx(max(s.highest_in for s in every), abs=1e-4)


def test_an_inner_wider_than_its_bore_is_refused() -> None:
    with pytest.raises(CannotBuildError) as refused:
        flushness(1.6, STRAIGHT, STRAIGHT)
    assert refused.value.field == "inner_od_in"


# Felt pitch -----------------------------------------------------------------------------------------------------


def test_the_written_felt_pitch_examples() -> None:
    # source: the project's own calculation contract
    felt = felt_pitch(27.0, -0.25, 0.0, -0.25, 0.125, 90)
    assert (felt.forward_in, felt.right_in) == pytest.approx((-0.374259, -0.25), abs=PRINTED_IN)
    assert felt_pitch(27.0, -0.375, 0.0, -0.375, 0.0).forward_in == pytest.approx(-0.747139, abs=PRINTED_IN)


@given(pitches, pitches, pitches, pitches, st.floats(0, 360))
def test_felt_pitch_agrees_with_scipy_rotations(
    forward: float, right: float, inner_forward: float, inner_right: float, turn: float
) -> None:
    # outside source: scipy.spatial.transform.Rotation, tipping the bore and then the hole inside it
    radius = 13.5 / math.pi

    def tipped(direction: np.ndarray, towards: np.ndarray, size: float) -> Rotation:
        if size < 1e-12:
            return Rotation.identity()
        return Rotation.from_rotvec(np.cross(direction, towards / np.linalg.norm(towards)) * math.asin(size / radius))

    down = np.array([0.0, 0.0, -1.0])
    bore = tipped(down, np.array([right, forward, 0.0]), math.hypot(forward, right))
    clock = Rotation.from_rotvec([0.0, 0.0, -math.radians(turn)])  # clockwise seen from outside
    tilt = bore.apply(clock.apply([inner_right, inner_forward, 0.0]))
    axis = bore.apply(down)
    hole = tipped(axis, tilt, math.hypot(inner_forward, inner_right)).apply(axis)
    felt = felt_pitch(27.0, forward, right, inner_forward, inner_right, turn)
    assert (felt.forward_in, felt.right_in) == pytest.approx((radius * hole[1], radius * hole[0]), abs=1e-9)


def test_an_untilted_inner_is_felt_as_its_bore() -> None:
    felt = felt_pitch(27.0, -0.3, 0.1, 0.0, 0.0, 77)
    assert (felt.forward_in, felt.right_in) == pytest.approx((-0.3, 0.1), abs=SAME_IN)


def test_an_oval_turns_with_the_inner() -> None:
    assert felt_oval_deg(45, 90) == 135
    assert felt_oval_deg(170, 20) == 10


# Wall of the inner ----------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    st.floats(0.8, 1.0), st.floats(0, 0.1), st.floats(0, 360), pitches, pitches, st.floats(-0.05, 0.05), st.floats(-0.05, 0.05)
)  # fmt: skip
def test_the_least_wall_agrees_with_dense_slices(
    hole: float, oval: float, turn: float, forward: float, right: float, along: float, across: float
) -> None:
    # outside source: a brute-force section, numpy, every slice of depth and every direction of the hole's rim
    wall = inner_wall(27.0, 1.25, hole, 2.0, oval, turn, forward, right, along, across)
    radius = 13.5 / math.pi
    beta = math.asin(math.hypot(forward, right) / radius)
    lean = np.array([forward, right])
    lean = lean / np.linalg.norm(lean) if beta else lean
    w = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    z = np.linspace(0, 2.0, 41)
    centres = np.array([along, across]) + np.outer(z * math.tan(beta), lean)
    rims = [np.linalg.norm(centres + s * oval / 2 * w, axis=1) + hole / 2 / math.cos(beta) for s in (-1, 1)]
    assert wall.least_wall_in == pytest.approx(0.625 - np.max(rims), abs=1e-12)


def test_a_hole_parallel_to_its_bore_leaves_the_same_wall_all_the_way() -> None:
    wall = inner_wall(27.0, 1.25, 1.0, 2.5)
    assert wall.least_wall_in == pytest.approx(0.125, abs=SAME_IN)
    assert wall.at_depth_in == 0.0


def test_a_quarter_pitch_breaks_a_1_in_hole_out_of_a_1_1_4_inner_past_2_1_8() -> None:
    # hand-worked elsewhere: breaks through at 2.15 in for 1/4 pitch difference, 1.43 in for 3/8
    assert inner_wall(27.0, 1.25, 1.0, 2.10, forward_difference_in=-0.25).least_wall_in > 0
    assert inner_wall(27.0, 1.25, 1.0, 2.20, forward_difference_in=-0.25).least_wall_in < 0
    assert inner_wall(27.0, 1.25, 1.0, 1.38, forward_difference_in=-0.375).least_wall_in > 0
    assert inner_wall(27.0, 1.25, 1.0, 1.48, forward_difference_in=-0.375).least_wall_in < 0


def test_a_broken_wall_shows_as_solids_that_no_longer_hold() -> None:
    # outside source: manifold3d. The inner less its hole: while the wall holds, the outside is whole
    from manifold3d import Manifold

    def outside_is_whole(difference: float) -> bool:
        lean = math.degrees(math.asin(difference / (13.5 / math.pi)))
        body = Manifold.cylinder(2.0, 0.625, circular_segments=512)
        hole = Manifold.cylinder(6.0, 0.5, circular_segments=512).translate([0, 0, -3]).rotate([lean, 0, 0])
        shell = Manifold.cylinder(2.0, 0.625, circular_segments=512) - Manifold.cylinder(
            2.0, 0.6245, circular_segments=512
        )
        return bool((shell - (body ^ hole)).volume() > shell.volume() - 1e-9)

    for difference in (0.05, 0.15, 0.22, 0.30, 0.40):
        wall = inner_wall(27.0, 1.25, 1.0, 2.0, forward_difference_in=difference).least_wall_in
        assert outside_is_whole(difference) == (wall > 0.0005)


@settings(max_examples=25, deadline=None)
@given(st.integers(800, 1000), st.integers(0, 100), st.integers(0, 359), st.integers(0, 300), st.integers(0, 359))
def test_the_least_wall_agrees_with_the_gap_between_solids(
    hole: int, oval: int, turn: int, lean: int, way: int
) -> None:
    # outside source: manifold3d; the hole as a solid against a ring that begins where the inner ends.
    # Between a leaning hole and an upright ring the least gap is the wall across times cos(lean): under 0.3 % less.
    from manifold3d import Manifold

    hole_in, oval_in, lean_in = hole / 1000, oval / 1000, lean / 1000
    way_deg = turn if oval else way  # formula and solid agree best where oval and lean lie along one line
    forward, right = lean_in * math.cos(math.radians(way_deg)), lean_in * math.sin(math.radians(way_deg))
    wall = inner_wall(27.0, 1.5, hole_in, 2.0, oval_in, turn, forward, right).least_wall_in
    beta = math.asin(lean_in / (13.5 / math.pi))
    z = np.array(
        [
            math.sin(beta) * math.sin(math.radians(way_deg)),
            math.sin(beta) * math.cos(math.radians(way_deg)),
            -math.cos(beta),
        ]
    )
    x = np.cross([0.3, 0.5, 0.8], z)
    x /= np.linalg.norm(x)
    made = Manifold.cylinder(6.0, hole_in / 2, circular_segments=256).translate([0, 0, -3])
    made = made.transform(np.column_stack([x, np.cross(z, x), z, [0, 0, 0]]))
    along = np.array([math.sin(math.radians(turn)), math.cos(math.radians(turn)), 0.0]) * oval_in / 2
    swept = (made.translate(along) + made.translate(-along)) if oval else made
    ring = Manifold.cylinder(2.0, 0.95, circular_segments=256) - Manifold.cylinder(2.0, 0.75, circular_segments=256)
    if wall > 0.02:
        assert swept.min_gap(ring.translate([0, 0, -2.0]), 1.0) == pytest.approx(wall, abs=WALL_IN)


@pytest.mark.parametrize(
    "pitches_in", [((-0.25, 0.0), (0.0, 0.0)), ((-0.25, 0.125), (-0.25, 0.0)), ((0.375, -0.25), (-0.5, 0.25))]
)
def test_the_range_over_every_turn_agrees_with_solids_turned_by_scipy(
    pitches_in: tuple[tuple[float, float], tuple[float, float]],
) -> None:
    made, fitted = (Bore(27.0, 1.5, 2.75 + 0.01 * i, *pitch) for i, pitch in enumerate(pitches_in))
    found = flushness_range(1.25, [made], [fitted])
    angles = np.radians(np.arange(0, 360, 2.0))
    over = []
    for solid in (SolidBore(made), SolidBore(fitted)):
        seat = solid.seat_height()
        over.append(np.array([solid.surface_height(0.625 * np.sin(t), 0.625 * np.cos(t)) - seat for t in angles]))
    lips = np.array([np.roll(over[0], turn) - over[1] for turn in range(len(angles))])  # every turn in steps of 2°
    assert found.highest_in == pytest.approx(lips.max(), abs=SAMPLED_IN)
    assert found.lowest_in == pytest.approx(lips.min(), abs=SAMPLED_IN)


def test_two_bores_alike_are_flush_at_one_turn_only() -> None:
    half_reverse = Bore(27.0, 1.5, 2.75, -0.5)
    found = flushness_range(1.25, [half_reverse], [half_reverse])
    turned = [flushness(1.25, half_reverse, half_reverse, turn) for turn in range(0, 360, 2)]
    assert found.highest_in == pytest.approx(max(s.highest_in for s in turned), abs=1e-9)
    assert found.lowest_in == pytest.approx(min(s.lowest_in for s in turned), abs=1e-9)
    assert found.highest_in > 1 / 16


@given(made=bores, fitted=bores, turn=st.integers(0, 359))
@settings(max_examples=60, deadline=None)
def test_no_turn_leaves_the_range(made: Bore, fitted: Bore, turn: int) -> None:
    found, one = flushness_range(1.25, [made], [fitted]), flushness(1.25, made, fitted, turn)
    assert found.lowest_in - 1e-9 <= one.lowest_in
    assert one.highest_in <= found.highest_in + 1e-9
    assert found.centre_in == pytest.approx((one.centre_in, one.centre_in), abs=1e-12)


@pytest.mark.parametrize("datum", ["collar", "crown", "rim_high", "rim_low"])
def test_no_pitch_within_the_limit_leaves_what_a_bore_may_be(datum: Datum) -> None:
    read = Bore(27.0, 1.5, 2.75)
    found = flushness_range(1.25, possible_bores(read, datum), [STRAIGHT])
    rng = np.random.default_rng(11)
    for size, way in zip(rng.uniform(0, 0.5, 80), rng.uniform(0, 2 * math.pi, 80), strict=True):
        bore = replace(read, forward_in=size * math.cos(way), right_in=size * math.sin(way))
        bore = replace(bore, depth_in=collar_depth_in(bore, datum))
        one = flushness(1.25, bore, STRAIGHT, 0.0)
        assert found.lowest_in - 1e-9 <= one.lowest_in <= one.highest_in <= found.highest_in + 1e-9


def test_a_trial_at_an_unknown_pitch_may_be_off_by_what_the_pitch_moves_the_centre() -> None:
    straight, tilted = Bore(27.0, 1.5, 2.75), Bore(27.0, 1.5, 2.75, -0.5)
    assert trial_pitch_doubt_in(straight) == pytest.approx(abs(flushness(1.25, straight, tilted).centre_in), abs=1e-9)


def test_bores_of_unknown_pitch_are_pitched_forward_alone() -> None:
    found = possible_bores(Bore(27.0, 1.5, 2.75, 0.0, 0.25), "collar")
    assert [(one.forward_in, one.right_in) for one in found] == [(i / 16, 0.0) for i in range(9)]
