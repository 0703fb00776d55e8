"""Owned inners against brute force over depth and turn with numpy, rotations of scipy, and worked values of geometry."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from app.calculation.bores import Bore, flushness
from app.calculation.errors import CannotBuildError
from app.calculation.inners import FeltPitch
from app.calculation.owned_inners import (
    OwnedInner,
    bore_pitch_for_felt,
    collar_depth,
    fit_by_feel,
    fit_flush,
    inner_tilt_for_felt,
)

RIM = np.radians(np.arange(0, 360, 1.0))


def surface(bore: Bore, reach: float, turn_deg: float | np.ndarray) -> np.ndarray:
    """Height of the ball over the seat of a bore 0 deep, around the rim, the bore turned clockwise: straight from the sphere."""
    radius, pitch = bore.circumference_in / (2 * math.pi), math.hypot(bore.forward_in, bore.right_in)
    stop = math.sqrt(radius**2 - (bore.bore_in / 2 - pitch) ** 2)
    turn = np.radians(turn_deg)
    forward = bore.forward_in * np.cos(turn) - bore.right_in * np.sin(turn)
    right = bore.forward_in * np.sin(turn) + bore.right_in * np.cos(turn)
    off = (forward + reach * np.cos(RIM)) ** 2 + (right + reach * np.sin(RIM)) ** 2
    return np.asarray(np.sqrt(radius**2 - off) - stop)


def lips(od: float, made: Bore, fitted: Bore, turn_deg: float) -> tuple[float, float]:
    """(depth with equal and opposite lips, lip) by brute force around the rim."""
    proud = surface(made, od / 2, turn_deg) + made.depth_in - surface(fitted, od / 2, 0.0)
    return float(proud.max() + proud.min()) / 2, float(proud.max() - proud.min()) / 2


def felt_by_rotation(
    circumference: float, bore: tuple[float, float], tilt: tuple[float, float], turn: float
) -> tuple[float, float]:
    """Felt (forward, right) pitch with scipy's rotations, at a place whose outward normal is z, forward x, right y."""
    radius = circumference / (2 * math.pi)

    def tilted(forward: float, right: float) -> Rotation:
        size = math.hypot(forward, right)
        if size == 0:
            return Rotation.identity()
        axis = np.cross([0, 0, -1], [forward / size, right / size, 0])
        return Rotation.from_rotvec(axis * math.asin(size / radius))

    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    own = tilted(tilt[0] * c - tilt[1] * s, tilt[0] * s + tilt[1] * c)
    hole = (tilted(*bore) * own).apply([0.0, 0.0, -1.0])
    return radius * hole[0], radius * hole[1]


@pytest.mark.parametrize(
    ("made", "fitted", "turn", "expected"),
    [
        (Bore(27, 1.5, 2.75, -0.25, 0), Bore(27, 1.5, 0, 0, 0), 0.0, (2.705716, 0.036817, 0.0)),
        (Bore(27, 1.5, 2.6875, -0.25, 0.125), Bore(27, 1.5, 0, -0.25, 0), 0.0, (2.682265, 0.018417, 0.0)),
        (Bore(27, 1.5, 2.6875, -0.25, 0.125), Bore(27, 1.5, 0, -0.25, 0), None, (2.682265, 0.004364, 26.565)),
    ],
)
def test_worked_values(made: Bore, fitted: Bore, turn: float | None, expected: tuple[float, float, float]) -> None:
    """Source: the project's geometry, section "collar depth for an owned inner"; the best turn is atan(1/2)."""
    got = collar_depth(1.25, made, fitted, turn)
    assert (got.depth_in, got.highest_in) == pytest.approx(expected[:2], abs=1e-6)
    assert got.turn_deg == pytest.approx(expected[2], abs=0.01)
    assert got.lowest_in == -got.highest_in


def random_bore(chance: random.Random, depth: float = 0.0) -> Bore:
    return Bore(chance.uniform(26.7, 27.0), 1.5, depth, chance.uniform(-0.75, 0.75), chance.uniform(-0.5, 0.5))


CASES = 500
FINE_IN = 0.0005


def try_all(od: float, made: Bore, fitted: Bore, turns: np.ndarray, depths: np.ndarray) -> np.ndarray:
    """The worst lip, inches, at each of these turns (rows) and depths (columns)."""
    ours = surface(fitted, od / 2, 0.0)
    stands = surface(made, od / 2, turns[:, None]) + made.depth_in - ours  # in a bore 0 deep
    worst: np.ndarray = np.maximum(stands.max(axis=1)[:, None] - depths, depths - stands.min(axis=1)[:, None])
    return worst


def search(od: float, made: Bore, fitted: Bore, at_deg: float | None) -> tuple[float, float, float, bool]:
    """(depth, lip, turn, whether the turn matters) by trying depths and turns, at first wide and then close together.

    The turn matters where the lips grow by more than 0.0005 in within 5 degrees; of equal ones it is the nearest to 0.
    """
    turns, depths = np.arange(-180.0, 180.0, 3), made.depth_in + np.arange(-0.3, 0.3, 0.002)
    if at_deg is not None:
        turns = np.array([at_deg])
    worst = try_all(od, made, fitted, turns, depths)
    best = int(np.lexsort((np.abs(turns), np.round(worst.min(axis=1), 5)))[0])
    if at_deg is None:
        turns = turns[best] + np.arange(-3, 3, 0.1)
    depths = depths[worst[best].argmin()] + np.arange(-0.01, 0.01, 0.0002)
    worst = try_all(od, made, fitted, turns, depths)
    row, column = np.unravel_index(int(worst.argmin()), worst.shape)
    wide = made.depth_in + np.arange(-0.3, 0.3, 0.0002)
    near = try_all(od, made, fitted, turns[row] + np.array([-5.0, 5.0]), wide).min(axis=1)
    return float(depths[column]), float(worst.min()), float(turns[row]), bool(near.min() - worst.min() > FINE_IN)


def test_depth_lips_and_turn_agree_with_brute_force_over_depth_and_turn() -> None:
    """Straight from the sphere with numpy; thumb pitches of either hand, lateral ones among them."""
    chance, mattered = random.Random(13), 0
    for number in range(CASES):
        made, fitted = random_bore(chance, chance.uniform(2, 3.25)), random_bore(chance)
        od = chance.uniform(1.0, 1.375)
        asked = chance.uniform(-180, 180) if number % 5 == 0 else None
        depth, lip, turn, matters = search(od, made, fitted, asked)
        got = collar_depth(od, made, fitted, asked)
        assert (got.depth_in, got.highest_in) == pytest.approx((depth, lip), abs=FINE_IN)
        assert got.lowest_in == -got.highest_in
        centre = made.depth_in + surface(made, 0.0, got.turn_deg)[0] - surface(fitted, 0.0, 0.0)[0]
        assert got.centre_in == pytest.approx(centre - got.depth_in, abs=1e-9)
        if matters and asked is None:
            mattered += 1
            assert abs((got.turn_deg - turn + 180) % 360 - 180) <= 1
        again = flushness(od, made, replace(fitted, depth_in=got.depth_in), got.turn_deg)
        assert again.highest_in == pytest.approx(-again.lowest_in, abs=1e-12)
    assert mattered > CASES / 4  # else the turn is not tested


def test_the_mirror_image_is_the_other_hand() -> None:
    chance = random.Random(2)
    for _ in range(20):
        made, fitted = random_bore(chance, 2.75), random_bore(chance)
        left = replace(made, right_in=-made.right_in), replace(fitted, right_in=-fitted.right_in)
        one, other = collar_depth(1.25, made, fitted, None), collar_depth(1.25, *left, None)
        assert (one.depth_in, one.highest_in) == pytest.approx((other.depth_in, other.highest_in), abs=1e-7)
        assert one.turn_deg == pytest.approx(-other.turn_deg, abs=0.05)


def test_where_every_turn_is_alike_it_is_0() -> None:
    straight = Bore(27, 1.5, 2.75)
    assert collar_depth(1.25, straight, Bore(27, 1.5, 0, 0.25, 0.125), None).turn_deg == 0
    assert collar_depth(1.25, Bore(27, 1.5, 2.75, 0.25, 0.125), straight, None).turn_deg == 0


@pytest.mark.parametrize(("forward", "right"), [(0.25, 0.0), (0.15, -0.2)])
def test_a_bore_pitched_the_other_way_wants_half_a_turn(forward: float, right: float) -> None:
    # by hand: half a turn brings one pitch on to the other, and is told as 180° and not as −180°
    made, fitted = Bore(27, 1.5, 2.75, forward, right), Bore(27, 1.5, 0, -forward, -right)
    best = collar_depth(1.25, made, fitted, None)
    assert (best.turn_deg, best.highest_in, best.depth_in) == pytest.approx((180, 0, 2.75), abs=1e-9)


def test_an_inner_wider_than_the_bore_is_refused() -> None:
    with pytest.raises(CannotBuildError, match="wider than the bore"):
        collar_depth(1.6, Bore(27, 1.5, 2.75), Bore(27, 1.5, 0))


def random_inner(chance: random.Random, oval: bool) -> OwnedInner:
    tilt = (0.0, 0.0) if chance.random() < 0.3 else (chance.uniform(-0.5, 0.5), chance.uniform(-0.375, 0.375))
    return OwnedInner(1.25, random_bore(chance, 2.75), *tilt, chance.uniform(0, 180) if oval else None)


@pytest.mark.parametrize("oval", [False, True])
def test_by_feel_the_pitch_and_the_oval_are_the_fits(oval: bool) -> None:
    """Five hundred cases together; felt pitch by scipy's rotations, lips by brute force over the turns left free."""
    chance = random.Random(31)
    for _ in range(460 if oval else 40):
        inner, felt = random_inner(chance, oval), FeltPitch(chance.uniform(-0.75, 0.5), chance.uniform(-0.5, 0.5))
        wanted = chance.uniform(0, 180) if oval else None
        got = fit_by_feel(inner, Bore(27.0, 1.5, 0), felt, wanted)
        turn, tilt = got.collar.turn_deg, (inner.forward_in, inner.right_in)
        assert -180 < turn <= 180
        assert felt_by_rotation(27.0, (got.bore.forward_in, got.bore.right_in), tilt, turn) == pytest.approx(
            (felt.forward_in, felt.right_in), abs=1e-9
        )
        assert (got.felt.forward_in, got.felt.right_in) == pytest.approx((felt.forward_in, felt.right_in), abs=1e-9)
        depth, lip = lips(1.25, inner.made_in, got.bore, turn)
        assert (got.bore.depth_in, got.collar.highest_in) == pytest.approx((depth, lip), abs=0.0001)
        if wanted is not None and inner.oval_deg is not None:
            assert math.sin(math.radians(inner.oval_deg + turn - wanted)) == pytest.approx(0, abs=1e-9)
            free = [turn, turn + 180]
        else:
            free = [float(t) for t in range(-180, 180, 6)]
        for other in free:
            pitch = bore_pitch_for_felt(27.0, felt, inner, other)
            assert got.collar.highest_in <= lips(1.25, inner.made_in, Bore(27.0, 1.5, 0, *pitch), other)[1] + 1e-5


def test_an_oval_that_only_the_inner_or_only_the_fit_has_leaves_the_turn_free() -> None:
    inner = OwnedInner(1.25, Bore(27, 1.5, 2.75, -0.25, 0.125), 0.125, 0.0)
    bore, felt = Bore(27.0, 1.5, 0), FeltPitch(0.25, 0.125)
    for fit in (fit_by_feel, fit_flush):
        free = fit(inner, bore, felt, None)
        assert abs(free.collar.turn_deg) > 1  # else it may be that of a fit that does not turn
        assert fit(inner, bore, felt, 30.0) == free
        assert fit(replace(inner, oval_deg=30.0), bore, felt, None).bore == free.bore


def test_flush_first_leaves_no_lip_on_a_ball_of_the_same_size() -> None:
    """And of the turns it may take, it takes the one that feels most like the fit: brute force over all of them."""
    chance = random.Random(7)
    for number in range(30):
        inner = random_inner(chance, number % 2 == 0)
        felt = FeltPitch(chance.uniform(-0.75, 0.5), chance.uniform(-0.5, 0.5))
        wanted = chance.uniform(0, 180) if inner.oval_deg is not None else None
        got = fit_flush(inner, Bore(inner.made_in.circumference_in, 1.5, 0), felt, wanted)
        assert got.collar.highest_in == pytest.approx(0, abs=1e-9)
        assert got.bore.depth_in == pytest.approx(inner.made_in.depth_in, abs=1e-9)
        turn = got.collar.turn_deg
        turns = [turn, turn + 180] if wanted is not None else [float(t) for t in range(-180, 180, 3)]

        def miss(at: float, of: OwnedInner = inner, asked: FeltPitch = felt) -> float:
            c, s = math.cos(math.radians(at)), math.sin(math.radians(at))
            bore = (
                of.made_in.forward_in * c - of.made_in.right_in * s,
                of.made_in.right_in * c + of.made_in.forward_in * s,
            )
            forward, right = felt_by_rotation(of.made_in.circumference_in, bore, (of.forward_in, of.right_in), at)
            return math.hypot(forward - asked.forward_in, right - asked.right_in)

        assert miss(turn) <= min(map(miss, turns)) + 1e-5
        assert (got.felt.forward_in, got.felt.right_in) == pytest.approx(
            felt_by_rotation(
                inner.made_in.circumference_in,
                (got.bore.forward_in, got.bore.right_in),
                (inner.forward_in, inner.right_in),
                turn,
            ),
            abs=1e-9,
        )


@pytest.mark.parametrize("bore", [(0.0, 0.0), (-0.25, 0.125), (0.375, -0.3125), (2.2, 0.1)])
@pytest.mark.parametrize("asked", [(-0.25, 0.0), (-0.5, 0.1875), (0.125, -0.25), (2.2, 0.1)])
def test_a_new_inners_tilt_is_felt_as_asked(bore: tuple[float, float], asked: tuple[float, float]) -> None:
    tilt = inner_tilt_for_felt(Bore(27, 1.5, 2.75, *bore), FeltPitch(*asked))
    assert felt_by_rotation(27, bore, tilt, 0.0) == pytest.approx(asked, abs=1e-9)
