import math
import random
from collections.abc import Callable

import numpy as np
import pytest

from app.calculation.bores import Bore, flushness
from app.calculation.errors import CannotBuildError
from app.calculation.loose import CLOCKS_DEG
from app.calculation.rim_diagnosis import Cause, Diagnosis, diagnose_rim
from app.calculation.trims import best_new_inner

MADE = Bore(27.0, 1.5, 2.75, -0.25)
SPREAD_IN = 0.003
EXHAUSTIVE_IN = 0.0005


def lips(made: Bore, fitted: Bore, turn: float = 0.0) -> list[float]:
    result = flushness(1.25, made, fitted, turn)
    return [result.front_in, result.right_in, result.back_in, result.left_in]


def diagnosed(readings: list[float], fitted: Bore = MADE, turn: float = 0.0) -> Diagnosis:
    return diagnose_rim(readings, 1.25, MADE, fitted, turn, SPREAD_IN)


def noisy(values: list[float], pick: random.Random) -> list[float]:
    return [v + pick.gauss(0, SPREAD_IN) for v in values]


def test_each_cause_is_named_first_in_most_noisy_cases() -> None:
    # simulation with known causes, readings of spread 0.003 in, seeded
    pick = random.Random(5)
    deeper = Bore(27.0, 1.5, 2.75 + 1 / 32, -0.25)
    cases: dict[Cause, Callable[[], list[float]]] = {
        "as predicted": lambda: lips(MADE, MADE),
        "depth": lambda: lips(MADE, deeper),
        "slanted trim": lambda: [x + 0.03 * math.cos(math.radians(c - 150)) for c, x in zip(CLOCKS_DEG, lips(MADE, MADE), strict=True)],
        "turned lock": lambda: lips(MADE, MADE, 40.0),
    }  # fmt: skip
    for cause, make in cases.items():
        first = [diagnosed(noisy(make(), pick)).suspects[0].cause for _ in range(200)]
        # a turned lock is a tilt too, of just the size its pitch allows; a slant of another size is not
        assert first.count(cause) / 200 >= (0.7 if cause in {"turned lock", "as predicted"} else 0.85), (
            cause,
            first.count(cause),
        )


def test_a_cause_costs_4_for_each_number_it_is_free_to_choose() -> None:
    # by hand: twice Akaike's 2; readings that a cause explains wholly leave no misfit of their own
    even = diagnosed([x + 0.01 for x in lips(MADE, MADE)])
    slanted = diagnosed([x + 0.01 * math.cos(math.radians(c - 150)) for c, x in zip(CLOCKS_DEG, lips(MADE, MADE), strict=True)])  # fmt: skip
    misfits = [
        next(s.misfit for s in d.suspects if s.cause == c) for d, c in ((even, "depth"), (slanted, "slanted trim"))
    ]
    assert misfits == pytest.approx([4, 8], abs=1e-6)
    assert [s.misfit for s in diagnosed(lips(MADE, MADE)).suspects] == pytest.approx([0, 4, 4, 8], abs=1e-6)


@pytest.mark.parametrize("clock", [0.0, 60.0, 150.0, 210.0, 330.0])
def test_a_slant_is_told_with_the_direction_of_its_highest_place(clock: float) -> None:
    # by hand: a rim that leans 0.02 in towards a clock direction stands highest there
    slope = [0.02 * math.cos(math.radians(c - clock)) for c in CLOCKS_DEG]
    found = diagnosed([x + y for x, y in zip(slope, lips(MADE, MADE), strict=True)])
    slanted = next(s for s in found.suspects if s.cause == "slanted trim")
    assert (slanted.size, math.cos(math.radians(slanted.turn_deg - clock))) == pytest.approx((0.02, 1.0), abs=1e-9)


def test_readings_no_cause_explains_are_a_wrong_inner() -> None:
    assert diagnosed([0.05, -0.05, 0.05, -0.05]).suspects[0].cause == "wrong inner"


def test_a_depth_is_told_with_its_size() -> None:
    shallow = Bore(27.0, 1.5, 2.75 - 1 / 32, -0.25)
    first = diagnosed(lips(MADE, shallow)).suspects[0]
    assert first.cause == "depth"
    assert first.size == pytest.approx(1 / 32, abs=1e-6)


@pytest.mark.parametrize(("turn", "more"), [(40.0, 0.0), (40.0, 30.0), (310.0, 90.0)])
def test_a_lock_turned_more_than_expected_is_told_with_its_turn(turn: float, more: float) -> None:
    fitted = Bore(27.0, 1.5, 2.75, -0.125, 0.1875)  # pitches of both ways: a turn back looks like no turn on
    first = diagnosed(lips(MADE, fitted, turn + more), fitted, turn).suspects[0]
    assert first.cause == ("turned lock" if more else "as predicted")
    assert first.turn_deg == pytest.approx(more, abs=1e-9)  # every other degree is tried
    assert first.misfit < 10


def test_a_new_inner_for_a_ball_turned_alone_is_turned_back() -> None:
    # by hand: the same bore with its notch 37.3° on wants an inner whose notch is 37.3° back, as high as the old one
    made = Bore(27.0, 1.5, 2.75, -0.25, 0.125)
    best = best_new_inner(1.25, made, [(made, 37.3)])
    assert best.notch_turn_deg == pytest.approx(360 - 37.3, abs=0.02)
    assert best_new_inner(1.25, made, [(made, 0.5)]).notch_turn_deg == pytest.approx(359.5, abs=0.02)
    assert (best.lower_in, best.worst_in) == pytest.approx((0.0, 0.0), abs=2e-5)


def test_flat_evidence_cannot_tell() -> None:
    # half way between a small offset and nothing
    assert not diagnosed([0.0035] * 4).is_clear


def test_three_readings_are_refused() -> None:
    with pytest.raises(CannotBuildError):
        diagnosed([0.0, 0.0, 0.0])


@pytest.mark.parametrize("seed", range(6))
def test_the_best_new_inner_equals_an_exhaustive_search(seed: int) -> None:
    pick = random.Random(seed)
    fitted = [
        (
            Bore(27.0, 1.5, pick.uniform(2.7, 2.8), pick.uniform(-0.4, 0.1), pick.uniform(-0.15, 0.15)),
            pick.uniform(0, 360),
        )
        for _ in range(4)
    ]
    best = best_new_inner(1.25, MADE, fitted)
    worst = []
    for turn in np.arange(0, 360, 0.5):
        sits = [flushness(1.25, MADE, bore, turned + turn) for bore, turned in fitted]
        worst.append((max(s.highest_in for s in sits) - min(s.lowest_in for s in sits)) / 2)
    assert best.worst_in == pytest.approx(min(worst), abs=EXHAUSTIVE_IN)
