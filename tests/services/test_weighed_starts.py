"""What a weighing before drilling tells after the grip was put elsewhere, against a rotation that scipy fits."""

import math
from collections.abc import Callable
from datetime import timedelta
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from sqlalchemy.orm import Session

from app.calculation.layouts import AxisPoint as Point
from app.calculation.layouts import Layout as Numbers
from app.calculation.layouts import solve_layout
from app.calculation.marking_lists import find_spot_doubt_in
from app.calculation.sphere import place
from app.models import AxisPoint, Drilling, Layout, Scale, Weighing, now
from app.services import balance_starts, balances
from app.services.balance_starts import TypedStart
from tests.conftest import not_none
from tests.services.test_balances import DENSITY, contract_plan

READ = (0.375, -1.0, 2.0)
RADIUS = 13.5 / math.pi
OLD, NEW = (4, 35, 40), (5, 70, 20)
LayOut = Callable[[tuple[int, int, int], int], Layout]  # numbers, days before the weighing


@pytest.fixture
def weighed(session: Session, plan: Drilling, who: str) -> Drilling:
    plan.plan = contract_plan(not_none(plan.plan))
    plan.ball.weight_lb = Fraction(15)
    scale = Scale(shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 64))
    session.add(scale)
    session.flush()
    right, finger, top = (Fraction(value) for value in READ)
    session.add(
        Weighing(
            ball_id=plan.ball_id, drilling_id=plan.id, scale_id=scale.id, stage="before", staff_id=int(who), typed={},
            right_1_oz=right, finger_1_oz=finger, top_1_oz=top, at=now() - timedelta(days=10),
        )
    )  # fmt: skip
    session.flush()
    return plan


@pytest.fixture
def lay_out(session: Session, weighed: Drilling, who: str) -> LayOut:
    point = AxisPoint(
        bowler_id=weighed.ball.bowler_id, hand="right", over_in=Fraction(9, 2), up_in=Fraction(1, 2), found_by="ring",
        staff_id=int(who), typed={},
    )  # fmt: skip
    session.add(point)
    session.flush()

    def add(numbers: tuple[int, int, int], before_days: int) -> Layout:
        arc, line, drilling = (Fraction(number) for number in numbers)
        made = Layout(
            ball_id=weighed.ball_id, axis_point_id=point.id, hand="right", pin_axis_in=arc, axis_line_deg=line,
            drilling_deg=drilling, staff_id=int(who), typed={}, chosen_at=now() - timedelta(days=10 + before_days),
        )  # fmt: skip
        session.add(made)
        session.flush()
        return made

    return add


def find_start(session: Session, drilling: Drilling) -> balance_starts.Start:
    return not_none(balances.predict(session, drilling, density=DENSITY)).start


def vector(start: balance_starts.Start) -> np.ndarray:
    spot = not_none(start.spot)
    return not_none(start.top_oz) * np.array(place(spot.along_in, spot.across_in, RADIUS))


def test_a_ball_laid_out_anew_has_its_heavy_spot_elsewhere_from_the_grip(
    session: Session, weighed: Drilling, lay_out: LayOut
) -> None:
    # outside reference: scipy's least-squares rotation between the two layouts' pin, mark and their normal
    old = lay_out(OLD, 1)
    held = vector(find_start(session, weighed))
    assert held == pytest.approx(READ, abs=1e-9)
    old.dropped_at = now() - timedelta(days=1)
    lay_out(NEW, -5)
    start = find_start(session, weighed)
    laid = [solve_layout(27.0, "right", Point(4.5, 0.5), Numbers(*map(float, n))) for n in (OLD, NEW)]
    before, after = ([one.pin, one.mark, tuple(np.cross(one.pin, one.mark))] for one in laid)
    turn, misfit = Rotation.align_vectors(after, before)
    assert misfit < 1e-9
    assert vector(start) == pytest.approx(turn.apply(READ), abs=1e-9)
    size = math.hypot(*READ)
    x, y, z = (part / size for part in turn.apply(READ))
    spots = [(READ[0] / size, READ[1] / size, READ[2] / size), (x, y, z)]
    marking_in = [find_spot_doubt_in(*pair) for pair in zip(laid, spots, strict=True)]  # both grips were marked
    assert not_none(start.spot).u_in == pytest.approx(
        math.hypot(*marking_in, RADIUS * start.top_u_oz / math.hypot(*READ))
    )
    assert start.is_weighed


@pytest.mark.parametrize("days", [(), (-5,)])
def test_a_grip_that_nobody_recorded_is_kept_until_another_is_chosen(
    session: Session, weighed: Drilling, lay_out: LayOut, days: tuple[int, ...]
) -> None:
    for day in days:
        lay_out(NEW, day)
    start = find_start(session, weighed)
    assert start.is_weighed == (not days)
    assert (start.spot is not None) == (not days)
    assert bool(start.left_out) == bool(days)


def test_a_layout_dropped_since_leaves_the_grip_unknown(session: Session, weighed: Drilling, lay_out: LayOut) -> None:
    lay_out(OLD, 1).dropped_at = now() - timedelta(days=1)
    start = find_start(session, weighed)
    assert start.spot is None
    assert start.left_out


def read_again(session: Session, **ways: Fraction | None) -> None:
    """Writes what was read before drilling anew: `right`, `finger`, `top`; None is not read."""
    weighed = session.query(Weighing).one()
    for way in ("right", "finger", "top"):
        setattr(weighed, f"{way}_1_oz", ways.get(way))
    session.flush()


def test_a_ball_that_is_even_all_three_ways_starts_from_nothing_with_the_doubt_of_the_readings(
    session: Session, weighed: Drilling
) -> None:
    read_again(session, right=Fraction(0), finger=Fraction(0), top=Fraction(0))
    found = not_none(balances.predict(session, weighed, density=DENSITY))
    start = found.start
    assert (start.is_weighed, start.top_oz) == (True, 0.0)
    balance = not_none(found.balance)
    assert balance.ounces[:3] == pytest.approx(found.change[:3], abs=1e-12)
    # by hand: each way the reading's own doubt beside those of what is drilled and put in
    own = {doubt.source: doubt.change for doubt in not_none(balance.doubts)}
    for i, way in enumerate(("right", "finger", "top")):
        assert own[f"weighing before drilling, {way}"][i] == pytest.approx(start.top_u_oz)
        low, high = not_none(balance.find_interval(i))
        others = [own[name][i] for name in ("density of what is drilled away", "density of what is put in")]
        assert (high - low) / 2 == pytest.approx(1.959964 * math.hypot(start.top_u_oz, *others), rel=1e-6)


def test_a_ball_heavy_on_one_way_alone_is_carried_to_another_layout(
    session: Session, weighed: Drilling, lay_out: LayOut
) -> None:
    lay_out(OLD, 1).dropped_at = now() - timedelta(days=1)
    lay_out(OLD, 1)
    lay_out(NEW, -5)
    read_again(session, right=Fraction(0), finger=Fraction(1), top=Fraction(0))
    start = find_start(session, weighed)
    assert not_none(start.top_oz) == pytest.approx(1.0, abs=1e-12)


def test_a_way_that_was_not_read_keeps_what_is_known_of_it(session: Session, weighed: Drilling) -> None:
    read_again(session, right=Fraction(1, 2))
    assert "finger or thumb side and top or bottom not read" in find_start(session, weighed).left_out
    typed = TypedStart(Fraction(3), Fraction(0), Fraction(1))  # 3 oz, 1 in to the right
    known = not_none(balances.predict(session, weighed, typed, DENSITY))
    before = not_none(known.balance).ounces.plus(known.change, -1.0)
    assert before[:3] == pytest.approx((0.5, 0.0, 3 * math.cos(1 / RADIUS)), abs=1e-12)
    doubts = not_none(known.start.each_u_oz)
    assert doubts[0] == pytest.approx(math.hypot(1 / 64 / math.sqrt(12), 1 / 16, 1 / 8))  # read once
    # by hand: the spot's 1/8 in along moves 3 oz of it to the finger side, and the top weight's own 1/8 oz is on top
    assert doubts[1] == pytest.approx(3 / 8 / RADIUS * math.cos(1 / RADIUS), rel=1e-6)
    on_top = math.hypot(math.cos(1 / RADIUS) / 8, 3 / 8 / RADIUS * math.sin(1 / RADIUS))
    assert doubts[2] == pytest.approx(on_top, rel=1e-6)


def test_a_weight_that_was_weighed_alone_before_drilling_counts(session: Session, weighed: Drilling) -> None:
    read_again(session)
    session.query(Weighing).update({"weight_oz": Fraction(241)})
    session.expire_all()
    start = find_start(session, weighed)
    assert (start.weight_oz, start.is_weight_weighed, start.is_weighed) == (241.0, True, False)
