"""Remedies against brute force over whole balances, and their bounds."""

import math
from dataclasses import replace
from itertools import product

import pytest
from pyproj import Geod

from app.calculation.balance_remedies import Allowed, find_remedies, move_grip
from app.calculation.balance_verdicts import BalanceLimits
from app.calculation.balances import UndrilledBall, balance
from app.calculation.errors import CannotBuildError
from tests.calculation.test_balances import BALL, HOLES, RADIUS

HEAVY = replace(BALL, heavy_across_in=3.0)  # 3 oz, nearly 2 of them to the right
LIMITS = BalanceLimits(1.0, 1.0, 3.0)
ALONG, ACROSS = Allowed("grip along", -0.5, 0.5, 0.0625), Allowed("grip across", -1.0, 2.0, 0.0625)
DEEPER, WIDER = Allowed("depth", -0.25, 0.75, 0.0625, 2), Allowed("size", 0.0, 0.25, 1 / 64, 2)


def is_inside(ball: UndrilledBall, holes: object, limits: BalanceLimits = LIMITS, spare: float = 0.0) -> bool:
    got = balance(ball, holes).ounces  # type: ignore[arg-type]
    asked = (limits.right_left_oz, limits.finger_thumb_oz, limits.top_bottom_oz)
    return all(abs(v) <= (math.inf if m is None else m - spare) for v, m in zip(got, asked, strict=False))


def test_the_smallest_move_of_the_grip_is_found() -> None:
    # brute force: whole balances of every step, outwards
    got = find_remedies(HEAVY, HOLES, LIMITS, [ACROSS])
    smallest = next(i / 16 for i in range(1, 33) if is_inside(move_grip(HEAVY, 0.0, i / 16), HOLES))
    assert [remedy.changes for remedy in got] == [((ACROSS, smallest),)]
    assert got[0].size == pytest.approx(smallest / 2.0)
    assert got[0].balance.ounces == balance(move_grip(HEAVY, 0.0, smallest), HOLES).ounces
    assert len(got[0].balance.ounces) == 4


def test_two_changes_are_tried_where_neither_alone_is_enough() -> None:
    narrow = replace(ACROSS, high_in=1.5)
    got = find_remedies(HEAVY, HOLES, LIMITS, [narrow, DEEPER, WIDER])
    assert got
    assert all(len(remedy.changes) == 2 for remedy in got)
    for remedy in got:
        (one, a), (other, b) = remedy.changes
        best = math.inf
        for x, y in product(one.find_steps(), other.find_steps()):
            steps = {one.what: x, other.what: y}
            holes = list(HOLES)
            holes[2] = replace(
                holes[2],
                depth_in=holes[2].depth_in + steps.get("depth", 0.0),
                bore_in=holes[2].bore_in + steps.get("size", 0.0),
            )
            if is_inside(move_grip(HEAVY, 0.0, steps.get("grip across", 0.0)), holes):
                best = min(best, one.find_share(x) + other.find_share(y))
        assert remedy.size == pytest.approx(best) == pytest.approx(one.find_share(a) + other.find_share(b))
    assert [r.size for r in got] == sorted(r.size for r in got)


def test_depth_and_size_of_one_hole_count_together() -> None:
    # the limit is exactly what the two steps lead to, by a whole balance; limits are inclusive
    deeper, wider = Allowed("depth", 0.0, 0.625, 0.625, 2), Allowed("size", 0.0, 0.125, 0.125, 2)
    changed = replace(HOLES[2], depth_in=HOLES[2].depth_in + 0.625, bore_in=HOLES[2].bore_in + 0.125)
    expected = balance(HEAVY, (*HOLES[:2], changed)).ounces
    assert abs(expected.right_oz) < abs(balance(HEAVY, HOLES).ounces.right_oz) - 0.01
    got = find_remedies(HEAVY, HOLES, BalanceLimits(expected.right_oz, None, None), [deeper, wider])
    assert [remedy.changes for remedy in got] == [((deeper, 0.625), (wider, 0.125))]
    assert got[0].balance.ounces == pytest.approx(expected, abs=1e-12)
    assert find_remedies(HEAVY, HOLES, BalanceLimits(expected.right_oz - 1e-6, None, None), [deeper, wider]) == []


def test_holes_and_grip_count_together() -> None:
    across, shallower = Allowed("grip across", 0.0, 1.0, 1.0), Allowed("depth", -0.5, 0.0, 0.5, 1)
    changed = replace(HOLES[1], depth_in=0.5)
    expected = balance(move_grip(HEAVY, 0.0, 1.0), (HOLES[0], changed, HOLES[2])).ounces
    got = find_remedies(HEAVY, HOLES, BalanceLimits(expected.right_oz, None, None), [across, shallower])
    assert [remedy.changes for remedy in got] == [((across, 1.0), (shallower, -0.5))]
    assert find_remedies(HEAVY, HOLES, BalanceLimits(expected.right_oz - 1e-6, None, None), [across, shallower]) == []


def test_remedies_stay_within_what_is_allowed_and_add_no_hole() -> None:
    for remedy in find_remedies(HEAVY, HOLES, LIMITS, [ALONG, ACROSS, DEEPER, WIDER]):
        for one, change in remedy.changes:
            assert one.low_in <= change <= one.high_in
            assert change != 0
            assert change / one.step_in == round(change / one.step_in)


def test_a_spare_keeps_the_balance_farther_inside() -> None:
    plain = find_remedies(HEAVY, HOLES, LIMITS, [ACROSS])[0]
    spare = find_remedies(HEAVY, HOLES, LIMITS, [ACROSS], (0.3, 0.0, 0.0))[0]
    assert spare.changes[0][1] > plain.changes[0][1]
    assert abs(spare.balance.ounces.right_oz) <= 0.7
    assert abs(plain.balance.ounces.right_oz) > 0.7


def test_what_is_inside_needs_no_remedy_and_what_nothing_helps_has_none() -> None:
    assert find_remedies(BALL, HOLES, LIMITS, [ACROSS]) == []
    assert find_remedies(HEAVY, HOLES, BalanceLimits(0.0, 0.0, 0.0), [ALONG, WIDER]) == []
    assert find_remedies(HEAVY, HOLES, LIMITS, []) == []
    no_limit = BalanceLimits(None, None, None)
    assert find_remedies(HEAVY, HOLES, no_limit, [ACROSS]) == []


def test_a_step_that_cannot_be_drilled_is_passed_over() -> None:
    # narrower than its insert the finger hole cannot be; the grip's move helps all the same
    narrower = Allowed("size", -0.25, 0.0, 1 / 32, 2)
    got = find_remedies(HEAVY, HOLES, LIMITS, [narrower, ACROSS])
    assert [remedy.changes[0][0].what for remedy in got] == ["grip across"]


def test_at_most_so_many_are_told() -> None:
    assert len(find_remedies(HEAVY, HOLES, LIMITS, [ACROSS, replace(ACROSS, step_in=0.125)])) == 2
    assert len(find_remedies(HEAVY, HOLES, LIMITS, [ACROSS, replace(ACROSS, step_in=0.125)], most=1)) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        replace(ACROSS, step_in=0.0), replace(ACROSS, low_in=0.1), replace(ACROSS, high_in=-0.1), replace(ACROSS, step_in=0.01),
        replace(DEEPER, hole=3), replace(DEEPER, hole=None), replace(ACROSS, hole=0),
    ],
)  # fmt: skip
def test_what_cannot_be_allowed_is_refused(wrong: Allowed) -> None:
    with pytest.raises(CannotBuildError) as refused:
        find_remedies(HEAVY, HOLES, LIMITS, [wrong])
    assert refused.value.field == "allowed"


def test_steps_run_from_end_to_end_without_nothing() -> None:
    assert Allowed("depth", -0.125, 0.25, 0.125, 0).find_steps() == [-0.125, 0.125, 0.25]
    assert Allowed("depth", -0.1, 0.3, 0.125, 0).find_steps() == [0.125, 0.25]
    assert Allowed("depth", -0.2, 0.4, 0.1, 0).find_share(-0.1) == pytest.approx(0.5)


def test_a_moved_grip_is_as_far_from_the_heavy_spot_as_on_the_ball() -> None:
    # outside source: pyproj on a sphere; the centre line is the equator, along is longitude, across latitude
    ball = replace(BALL, heavy_along_in=2.0, heavy_across_in=-1.5)
    geod, degrees = Geod(a=RADIUS, b=RADIUS), 180 / math.pi / RADIUS
    for along, across in ((0.5, 0.0), (0.0, 0.75), (-1.0, 1.25)):
        moved = move_grip(ball, along, across)
        _, _, before = geod.inv(along * degrees, across * degrees, 2.0 * degrees, -1.5 * degrees)
        _, _, after = geod.inv(0.0, 0.0, moved.heavy_along_in * degrees, moved.heavy_across_in * degrees)
        assert after == pytest.approx(before, abs=1e-9)
    assert move_grip(ball, 0.5, 0.0).heavy_along_in == pytest.approx(1.5)
    assert move_grip(replace(BALL, heavy_across_in=1.0), 0.0, 0.25).heavy_across_in == pytest.approx(0.75)
