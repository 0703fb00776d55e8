"""How an inner sits, by the formulas of the surface over a bore's seat written out with numpy: geometry, "Depth"."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats
from sqlalchemy.orm import Session

from app.calculation.bores import Bore
from app.closed_sets import OBTAINED_WORDS
from app.measures.wording import inches, proud_words
from app.models import DepthObservation, Inner, InsertSystem, Shop
from app.schemas.shops import LimitForm
from app.services import depths, drillings, felt, inners_in_bores, shop_limits, shops
from app.services.inners_in_bores import InnerInBore, KnownBore, compose
from app.services.unsettled import Unsettled
from tests.conftest import not_none
from tests.services.test_depths import bore_of, half_of, read_depth, seen

pytestmark = pytest.mark.once  # numbers, which no database changes

LIP_IN = 1 / 64
TURNS = np.linspace(0, 2 * np.pi, 7201)
MADE = Bore(27.0, 1.5, 2.6875, -0.25, 0.125)  # both pitches, so that no side is like the other
FITTED = Bore(26.875, 1.53125, 2.75, -0.125, -0.1875)


def surface(bore: Bore, clock: np.ndarray, reach: float = 0.625) -> np.ndarray:
    """Height of the ball's surface over a bore's seat, `reach` from its axis: H(q) = √(R² − |m + q|²) − h_seat."""
    radius, half = bore.circumference_in / (2 * np.pi), bore.bore_in / 2
    pitch = np.hypot(bore.forward_in, bore.right_in)
    seat = np.sqrt(radius**2 - (half - pitch) ** 2) - bore.depth_in
    forward, right = bore.forward_in + reach * np.cos(clock), bore.right_in + reach * np.sin(clock)
    over: np.ndarray = np.sqrt(radius**2 - forward**2 - right**2) - seat
    return over


def proud(made: Bore, fitted: Bore, turn_deg: float, clock: np.ndarray = TURNS) -> np.ndarray:
    """By how much an inner stands proud round its rim, turned clockwise."""
    lips: np.ndarray = surface(made, clock - np.radians(turn_deg)) - surface(fitted, clock)
    return lips


def known(shape: Bore, notch: float | None = 180.0, half: float = 0.0) -> KnownBore:
    return KnownBore(shape, half, "measured", notch)


def settled(of: Inner, made: KnownBore, fitted: KnownBore) -> InnerInBore:
    how = compose(of, made, fitted, LIP_IN)
    assert isinstance(how, InnerInBore)
    return how


def inner(**more: Fraction | None) -> Inner:
    values = {"outside_in": Fraction(5, 4), "forward_in": Fraction(0), "right_in": Fraction(0)}
    return Inner(**(values | more))


@pytest.mark.parametrize(("made_notch", "fitted_notch", "turn"), [(180, 216, 36), (180, 90, 270), (350, 5, 15)])
def test_an_inner_turns_clockwise_from_one_notch_to_the_other(made_notch: int, fitted_notch: int, turn: int) -> None:
    how = settled(inner(), known(MADE, made_notch), known(FITTED, fitted_notch))
    rim = proud(MADE, FITTED, turn)
    assert how.turn_deg == turn
    quarters = proud(MADE, FITTED, turn, np.radians([0, 90, 180, 270]))
    assert (
        how.flushness.front_in,
        how.flushness.right_in,
        how.flushness.back_in,
        how.flushness.left_in,
    ) == pytest.approx(tuple(quarters), abs=1e-9)
    assert (how.flushness.lowest_in, how.flushness.highest_in) == pytest.approx((rim.min(), rim.max()), abs=1e-6)
    centre = float(surface(MADE, np.zeros(1), 0.0)[0] - surface(FITTED, np.zeros(1), 0.0)[0])
    assert how.flushness.centre_in == pytest.approx(centre, abs=1e-9)
    assert how.wanted_depth_in == pytest.approx(2.75 + centre, abs=1e-9)
    assert how.tilt_left_in == pytest.approx(max(rim.max() - centre, centre - rim.min()), abs=1e-6)


def test_the_tilt_left_is_the_larger_of_what_stands_over_and_under_the_centre() -> None:
    # worked in the geometry paper: made at 1/4 reverse, fitted straight, centre −0.044046, front −0.007468 and back
    # −0.081101; the other way round the rim is its mirror image, and the front stands farther off
    made, straight = Bore(27.0, 1.5, 2.75, -0.25), Bore(27.0, 1.5, 2.75)
    for one, other in ((made, straight), (straight, made)):
        assert settled(inner(), known(one), known(other)).tilt_left_in == pytest.approx(0.081101 - 0.044046, abs=2e-6)


def test_a_bore_of_unknown_pitch_counts_half_way_between_the_depths_it_may_have(
    session: Session, lock: InsertSystem
) -> None:
    # 2 3/4 from the crown of bores straight to 1/2 in pitched: heights of crown and collar from numpy's square roots
    bore = bore_of(session, lock, shops.require_our_shop(session), depth_in=Fraction(11, 4), datum="crown", forward_in=None)  # fmt: skip
    pitches, radius = np.linspace(0, 0.5, 9), 13.5 / np.pi
    collar = 2.75 - (np.sqrt(radius**2 - pitches**2) - np.sqrt(radius**2 - (0.75 - pitches) ** 2))
    found = not_none(inners_in_bores.find_known_bore(bore, None, shop_limits.load_limits(session)))
    assert found.shape.depth_in == pytest.approx((collar.min() + collar.max()) / 2, abs=1e-9)


def test_a_tilt_is_felt_forward_and_right_as_it_is_turned() -> None:
    # worked in the geometry paper: bore 1/4 reverse, inner 1/4 reverse and 1/8 right, turned 90°
    bore = Bore(27.0, 1.5, 2.75, -0.25)
    tilted = inner(forward_in=Fraction(-1, 4), right_in=Fraction(1, 8), oval_in=Fraction(1, 16), oval_deg=Fraction(120))
    how = settled(tilted, known(bore, 0), known(bore, 90))
    assert (not_none(how.felt).forward_in, not_none(how.felt).right_in) == pytest.approx((-0.374259, -0.25), abs=1e-6)
    assert how.felt_oval_deg == 30  # 120 + 90, of an axis without ends
    assert settled(inner(forward_in=None), known(bore), known(bore)).felt is None
    assert settled(inner(), known(bore), known(bore)).felt_oval_deg is None


def test_in_its_own_bore_an_inner_is_as_it_was_made_and_any_other_bore_is_composed(
    session: Session, lock: InsertSystem
) -> None:
    ours = shops.require_our_shop(session)
    home, away = (
        bore_of(session, lock, ours, depth_in=Fraction(11, 4), datum="collar", notch_deg=Fraction(180))
        for _ in range(2)
    )
    tilted = inner(forward_in=Fraction(-1, 4), right_in=Fraction(1, 8), oval_in=Fraction(1, 16), oval_deg=Fraction(120))
    tilted.trimmed_in_id = home.id
    seat = known(drillings.to_bore_shape(home, Fraction(11, 4)), half=0.02)
    how = inners_in_bores.sit_in_bore(tilted, home, seat, seat, LIP_IN)
    assert isinstance(how, InnerInBore)
    same = settled(tilted, seat, seat)
    assert (how.felt, how.felt_oval_deg, how.wanted_depth_in) == (same.felt, 120, 2.75)
    assert (how.verdict, how.advice) == ("flush", ("Lock it in and feel round the rim.",))
    assert inners_in_bores.sit_in_bore(tilted, away, seat, seat, LIP_IN) == same
    assert same.verdict == "measure"
    assert inners_in_bores.sit_in_bore(tilted, away, None, seat, LIP_IN) is None


@pytest.mark.parametrize(
    ("sizes", "hole", "oval", "counted"),
    [
        (["5/4", "11/8"], "15/16", "1/16", "5/4"),
        (["11/8", "5/4"], "5/4", "0", "11/8"),
        (["1", "5/4"], "15/16", "1/16", "5/4"),  # a hole of 1 in leaves no wall in an inner of 1 in
        (["1", "5/4"], "5/4", "1/16", "5/4"),
        (["5/4", "11/8"], None, None, "11/8"),
        ([], "15/16", "0", "5/4"),
    ],
)
def test_an_unknown_outside_counts_as_the_least_size_that_holds_the_hole(
    lock: InsertSystem, sizes: list[str], hole: str | None, oval: str | None, counted: str
) -> None:
    lock.inner_ods = sizes
    nobody = inner(outside_in=None, hole_in=None, oval_in=None)
    if hole and oval:
        nobody.hole_in, nobody.oval_in = Fraction(hole), Fraction(oval)
    nobody.system = lock
    assert nobody.counted_outside_in == Fraction(counted)
    nobody.outside_in = Fraction(9, 8)
    assert nobody.counted_outside_in == Fraction(9, 8)


def test_over_an_unknown_outside_only_what_hangs_on_it_is_unsettled(session: Session, lock: InsertSystem) -> None:
    nobody = inner(outside_in=None)
    nobody.system = lock
    tilted = replace(MADE, forward_in=MADE.forward_in + 0.125)
    known_one = inner(outside_in=nobody.counted_outside_in)
    lip = 0.5
    one, other = compose(known_one, known(MADE), known(tilted), lip), compose(nobody, known(MADE), known(tilted), lip)
    assert isinstance(one, InnerInBore)
    assert isinstance(other, InnerInBore)
    assert (one.verdict, one.doubts, other.verdict, len(other.doubts)) == ("flush", (), "measure", 1)
    assert other.advice[0] == other.doubts[0]
    assert (other.flushness, other.felt, other.wanted_depth_in) == (one.flushness, one.felt, one.wanted_depth_in)
    for deeper in (0.0, 0.01):  # the rim of an equal tilt stands level, whatever its size
        fitted = known(replace(MADE, depth_in=MADE.depth_in + deeper))
        assert compose(nobody, known(MADE), fitted, LIP_IN) == compose(known_one, known(MADE), fitted, LIP_IN)
    gap = compose(nobody, known(MADE), known(tilted, notch=None), lip)
    assert isinstance(gap, Unsettled)
    assert (gap.verdict, len(gap.unknown)) == ("measure", 2)
    home = bore_of(session, lock, shops.require_our_shop(session), depth_in=None, notch_deg=Fraction(180))
    nobody.trimmed_in_id = home.id
    there = inners_in_bores.sit_in_bore(nobody, home, None, None, LIP_IN)
    assert isinstance(there, InnerInBore)
    assert there.verdict == "flush"


def test_two_doubts_add_as_root_of_squares() -> None:
    how = settled(inner(), known(MADE, half=0.006), known(FITTED, half=0.008))
    assert how.half_width_in == pytest.approx(0.010, abs=1e-12)  # 6, 8, 10: a right triangle


@pytest.mark.parametrize(
    ("deeper", "half", "verdict"),
    [
        (0.000, 0.0156, "flush"),
        (0.000, 0.0157, "measure"),
        (0.010, 0.0056, "flush"),
        (0.010, 0.0057, "measure"),
        (0.020, 0.0044, "measure"),
        (0.020, 0.0043, "sunk"),
        (-0.020, 0.0044, "measure"),
        (-0.020, 0.0043, "proud"),
    ],
)  # 1/64 is 0.015625: worst lip and interval together within it, both beyond it, or neither
def test_a_verdict_waits_until_the_whole_interval_is_on_one_side_of_the_limit(
    deeper: float, half: float, verdict: str
) -> None:
    fitted = Bore(27.0, 1.5, 2.6875 + deeper, -0.25, 0.125)
    how = settled(inner(), known(MADE), known(fitted, half=half))
    assert how.verdict == verdict
    assert any(line.startswith("What is known") for line in how.advice) == (verdict == "measure")
    assert how.wanted_depth_in == pytest.approx(MADE.depth_in, abs=1e-9)
    assumed = settled(inner(), known(MADE), replace(known(fitted, half=half), unmeasured="Measure it."))
    assert (assumed.verdict, assumed.advice[0]) == ("measure", "Measure it.")


def test_the_doubt_of_a_seat_counts_half_the_range_of_what_its_bore_may_be() -> None:
    possible = tuple(Bore(27.0, 1.5, depth, 0.0) for depth in (2.70, 2.72, 2.76))
    assert replace(known(MADE, half=0.01), possible=possible).depth_half_in == pytest.approx(0.01 + 0.03, abs=1e-12)
    assert known(MADE, half=0.01).depth_half_in == 0.01


@pytest.mark.parametrize(
    ("deeper", "is_said"), [(0.007, False), (0.009, True), (0.016, True), (-0.007, False), (-0.009, True)]
)
def test_another_depth_is_advised_from_half_the_limit_on(deeper: float, is_said: bool) -> None:
    fitted = Bore(27.0, 1.5, 2.6875 + deeper, -0.25, 0.125)  # 1/128 is 0.0078; an interval that keeps it unsettled
    lines = settled(inner(), known(MADE), known(fitted, half=0.012)).advice
    assert any(line.startswith("In a new ball: set the collar") for line in lines) == is_said


def test_a_depth_from_an_unknown_datum_is_as_doubtful_as_half_the_datums_range(
    session: Session, lock: InsertSystem
) -> None:
    # by hand: straight bores of 1 1/2 in a 27 in ball lie √(R² − 0) − √(R² − 0.75²) = 0.0660 apart by crown and collar
    ours = not_none(session.get(Shop, 1))
    bore = bore_of(session, lock, ours, depth_in=Fraction(11, 4))
    found = not_none(inners_in_bores.find_known_bore(bore, None, shop_limits.load_limits(session)))
    assert found.shape.depth_in == pytest.approx(2.75 - 0.0660 / 2, abs=1e-4)
    read = 1.96 * np.hypot(1 / 128, 1 / 64 / np.sqrt(12))  # the collar's doubt and the division, as shipped
    assert found.half_width_in == pytest.approx(np.hypot(0.0660 / 2, read), abs=1e-4)


def test_a_depth_at_an_unknown_pitch_is_half_way_between_what_it_may_be(
    session: Session, lock: InsertSystem, stranger: Shop
) -> None:
    # by hand: on the axis of bores straight to 1/2 in pitched, the ball stands 0.0660 to −0.0219 in over the collar's
    bore = bore_of(session, lock, stranger, depth_in=Fraction(11, 4), datum="crown", forward_in=None, right_in=None)
    found = not_none(inners_in_bores.find_known_bore(bore, None, shop_limits.load_limits(session)))
    assert found.shape.depth_in == pytest.approx(2.75 - (0.0660 - 0.0219) / 2, abs=1e-4)
    assert found.depth_half_in - found.half_width_in == pytest.approx((0.0660 + 0.0219) / 2, abs=1e-4)
    assert found.unmeasured == ""


@pytest.mark.parametrize(
    ("depth", "datum", "ball", "words"),
    [
        (None, "unknown", "own", OBTAINED_WORDS["read_off_ball"]),
        (Fraction(5, 2), "unknown", "own", OBTAINED_WORDS["read_off_ball"]),
        (Fraction(5, 2), "collar", "own", "measured in this ball, its pitch not known"),
        (Fraction(5, 2), "unknown", None, "measured in this ball, its pitch not known"),
        (None, "unknown", None, "Quayside Bowls Drilling usually bores so"),
    ],
)
def test_a_bore_of_unknown_pitch_is_as_deep_as_it_was_best_seen(
    session: Session,
    lock: InsertSystem,
    stranger: Shop,
    depth: Fraction | None,
    datum: str,
    ball: str | None,
    words: str,
) -> None:
    bore = bore_of(session, lock, stranger, depth_in=depth, datum=datum, forward_in=None, right_in=None)
    observation = read_depth(datum="collar")
    observation.id, observation.observed_on = 1, date(2026, 1, 2)
    usual = depths.sum_up([(observation, bore.id if ball else None)])
    found = not_none(inners_in_bores.find_known_bore(bore, usual, shop_limits.load_limits(session)))
    assert found.words == words
    assert found.possible
    if datum == "collar" or "measured" not in words:  # a collar's depth hangs on no pitch
        assert found.shape.depth_in == pytest.approx(2.5 if "measured" in words else 2.75, abs=1e-9)
    assert inners_in_bores.find_known_bore(bore, None, shop_limits.load_limits(session)) is None or depth is not None


FROM = "what its depth was measured from"
USUAL = "its depth, which counts as its shop's usual one"


@pytest.mark.parametrize(
    ("depth", "datum", "typed", "ball", "deep", "doubts"),
    [
        (None, "unknown", None, "own", 2.75, ()),
        (None, "unknown", "unknown", "own", 2.75, ()),
        (Fraction(5, 2), "unknown", None, "own", 2.75, ()),
        (Fraction(5, 2), "collar", None, "own", 2.5, ()),
        (Fraction(5, 2), "collar", None, None, 2.5, ()),
        (Fraction(5, 2), "unknown", None, None, 2.5 - 0.0660 / 2, (FROM,)),
        (None, "unknown", None, None, 2.75, ()),
        (None, "unknown", "unknown", None, 2.75, (USUAL,)),
    ],
)
def test_a_bore_counts_as_it_was_best_seen_with_the_doubts_of_that(
    session: Session,
    lock: InsertSystem,
    stranger: Shop,
    depth: Fraction | None,
    datum: str,
    typed: str | None,
    ball: str | None,
    deep: float,
    doubts: tuple[str, ...],
) -> None:
    # by hand: straight bores of 1 1/2 in a 27 in ball lie √(R² − 0) − √(R² − 0.75²) = 0.0660 apart by crown and collar
    more = {"typed": {"depth": typed}} if typed else {}
    bore = bore_of(session, lock, stranger, depth_in=depth, datum=datum, **more)
    observation = read_depth(datum="collar")
    observation.id, observation.observed_on = 1, date(2026, 1, 2)
    usual = depths.sum_up([(observation, bore.id if ball else None)])
    found = not_none(inners_in_bores.find_known_bore(bore, usual, shop_limits.load_limits(session)))
    assert found.shape.depth_in == pytest.approx(deep, abs=1e-4)
    assert found.doubts == doubts


@pytest.mark.parametrize(("forward", "right", "is_felt"), [("0", "0", True), ("1/8", "0", False), ("0", "-1/8", False)])
def test_over_an_unknown_notch_only_a_hole_that_does_not_lean_has_a_pitch_that_is_felt(
    forward: str, right: str, is_felt: bool
) -> None:
    # by hand: which way the hole leans in the ball hangs on the turn, unless it runs as its bore does
    tilted = inner(forward_in=Fraction(forward), right_in=Fraction(right))
    found = compose(tilted, known(MADE), known(FITTED, notch=None), LIP_IN)
    assert isinstance(found, Unsettled)
    felt_in = found.felt and (found.felt.forward_in, found.felt.right_in)
    assert felt_in == (pytest.approx((-0.125, -0.1875), abs=1e-9) if is_felt else None)


def test_what_is_done_follows_the_side_and_the_tilt() -> None:
    deep, shallow = (Bore(27.0, 1.5, 2.6875 + d, -0.25, 0.125) for d in (0.05, -0.05))
    said = {
        name: " ".join(settled(inner(), known(MADE), known(b)).advice)
        for name, b in (("deep", deep), ("shallow", shallow))
    }
    assert "shim under the sleeve" in said["deep"] and "deepen the seat" not in said["deep"]
    assert "deepen the seat" in said["shallow"] and "shim" not in said["shallow"]
    assert "No depth cures" not in said["deep"] + said["shallow"]
    assert "No depth cures" in " ".join(settled(inner(), known(MADE), known(FITTED)).advice)


@pytest.mark.parametrize("notch", [216, 90])
def test_the_same_inner_in_another_ball_is_told_by_its_rim_and_its_turn(session: Session, notch: int) -> None:
    # outside source: the surfaces above, by numpy; collars 2 11/16 and 2 3/4
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    two.system_id = one.system_id
    for of, shape, clock in ((one, MADE, 180), (two, FITTED, notch)):
        bore = not_none(of.bore)
        bore.circumference_in, bore.bore_in = Fraction(shape.circumference_in), Fraction(shape.bore_in)
        bore.depth_in, bore.datum, bore.notch_deg = Fraction(shape.depth_in), "collar", Fraction(clock)
        bore.forward_in, bore.right_in = Fraction(shape.forward_in), Fraction(shape.right_in)
    outside = not_none(not_none(one.plan).inner).outside_in
    lips = surface(MADE, TURNS - np.radians(notch - 180), outside / 2) - surface(FITTED, TURNS, outside / 2)
    centre = float(surface(MADE, np.zeros(1), 0.0)[0] - surface(FITTED, np.zeros(1), 0.0)[0])
    told = {line.what: line for line in felt.compare_drillings(session, one, two)}
    assert told["the first's inner in the second, centre"].new == proud_words(centre)
    rim = told["the same inner, highest and lowest of its rim"]
    assert rim.new == f"{proud_words(lips.max())}, {proud_words(lips.min())}"
    assert rim.words == f"its centre flush with the collar at {inches(2.75 + centre)}; no depth cures the tilt"
    way = "36° clockwise" if notch == 216 else "90° anticlockwise"
    assert told["the same inner is turned"].new == way


RUNS = 20_000


@pytest.mark.parametrize("observed", [("2.7",), ("2.7", "2.7"), ("2.7", "2.702")])
def test_a_ball_nobody_measured_is_as_unsure_as_the_shops_next_ball(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, observed: tuple[str, ...]
) -> None:
    # outside source: the scatter of 0.008 in with 4 degrees of freedom alone gives scipy's Student t times 0.008
    seen(session, who, stranger, lock, *observed)
    known = depths.load_shop_depths(session, [stranger.id])[stranger.id, lock.id]
    seat = not_none(
        inners_in_bores.find_known_bore(bore_of(session, lock, stranger), known, shop_limits.load_limits(session))
    )
    assert seat.half_width_in >= 0.9 * stats.t.ppf(0.975, 4) * 0.008
    assert seat.half_width_in > half_of(known.estimate.interval_in)


def test_a_ball_nobody_measured_is_not_called_flush_after_one_close_look(
    session: Session, who: str, lock: InsertSystem, stranger: Shop
) -> None:
    lip = float(shop_limits.load_limits(session)["lip"].value_in)
    bore = bore_of(session, lock, stranger)
    session.add(
        DepthObservation(
            shop_id=stranger.id, system_id=lock.id, depth_in=Fraction(11, 4), datum="collar", obtained="read_off_ball", circumference_in=Fraction(27),
            bore_in=Fraction(3, 2), forward_in=Fraction(0), right_in=Fraction(0), resolution_in=Fraction(0), repeatability_in=Fraction(1, 1000),
            observed_on=date(2026, 1, 2), staff_id=int(who),
        )
    )  # fmt: skip
    session.flush()
    known = depths.load_shop_depths(session, [stranger.id])[stranger.id, lock.id]
    seat = not_none(inners_in_bores.find_known_bore(bore, known, shop_limits.load_limits(session)))
    inner = Inner(outside_in=Fraction(5, 4), forward_in=Fraction(0), right_in=Fraction(0), oval_in=None)
    assert inners_in_bores.compose(inner, seat, seat, lip).verdict == "measure"


def test_a_ball_of_ours_is_known_as_well_as_a_collar_is_read(
    session: Session, lock: InsertSystem, tell: Callable[[str], None]
) -> None:
    # simulation: the collar's true depth, a reading with the stated spread, written to the stated division
    limits, pick = shop_limits.load_limits(session), np.random.default_rng(11)
    stated, division = float(limits["collar_spread"].value_in), float(limits["resolution"].value_in)
    bore = bore_of(session, lock, shops.require_our_shop(session), depth_in=Fraction(11, 4), datum="collar")
    half = not_none(inners_in_bores.find_known_bore(bore, None, limits)).half_width_in
    for spread in (stated / 4, stated / 2, stated):
        true = 2.75 + pick.uniform(-0.5, 0.5, RUNS) * division
        read = np.round((true + pick.normal(0, spread, RUNS)) / division) * division
        held = np.mean(np.abs(read - true) <= half)
        tell(f"own ball, reading sd {spread:.4f}, division 1/64: {held:.1%} of {RUNS:,} inside")
        assert held >= 0.93


@pytest.mark.parametrize("freedom", [1.0, 4.0, 30.0])
def test_a_ball_of_ours_carries_the_freedom_of_the_study_of_its_gauge(
    session: Session, who: str, lock: InsertSystem, freedom: float
) -> None:
    form = {"who": who, "value": "0.0100", "source": "gauge study of a depth gauge"}
    shop_limits.set_limit(session, "collar_spread", LimitForm.read(form), freedom)
    session.flush()
    bore = bore_of(session, lock, shops.require_our_shop(session), depth_in=Fraction(11, 4), datum="collar")
    half = not_none(inners_in_bores.find_known_bore(bore, None, shop_limits.load_limits(session))).half_width_in
    assert half >= stats.t.ppf(0.975, freedom) * 0.01 * 0.9999


def test_a_ball_of_another_shop_read_here_has_the_doubt_of_such_a_reading(
    session: Session, lock: InsertSystem, stranger: Shop
) -> None:
    limits = shop_limits.load_limits(session)
    bore = bore_of(session, lock, stranger, depth_in=Fraction(11, 4), datum="collar")
    half = not_none(inners_in_bores.find_known_bore(bore, None, limits)).half_width_in
    assert half >= 1.95 * float(limits["ball_spread"].value_in)
