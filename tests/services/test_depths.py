"""What a shop's observations promise for its balls, and whether saving changes what was promised."""

import math
from collections.abc import Callable
from datetime import date
from fractions import Fraction

import numpy as np
import pytest
from alembic import command
from scipy import stats
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import alembic_config, open_engine, upgrade
from app.models import Bore, DepthObservation, Inner, InsertSystem, Shop
from app.schemas.inners import TrialDepthForm, TrialFitForm
from app.schemas.shops import LimitForm
from app.schemas.systems import DepthForm
from app.services import depths, inners, inners_in_bores, shop_limits, shops, trial_fits, visitors
from tests.conftest import Client, not_none

RUNS = 20_000
SAME_IN = 2e-6  # a saved depth is kept to a millionth


@pytest.fixture
def lock(session: Session) -> InsertSystem:
    return not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))


@pytest.fixture
def stranger(session: Session) -> Shop:
    shop = Shop(name="Quayside Bowls Drilling", town="")
    session.add(shop)
    session.flush()
    return shop


def bore_of(session: Session, lock: InsertSystem, shop: Shop, **more: object) -> Bore:
    values = {
        "circumference_in": Fraction(27),
        "bore_in": Fraction(3, 2),
        "datum": "unknown",
        "forward_in": Fraction(0),
        "right_in": Fraction(0),
    }
    bore = Bore(system_id=lock.id, shop_id=shop.id, shop=shop, **(values | more))  # fmt: skip
    session.add(bore)
    session.flush()
    return bore


def seen(session: Session, who: str, shop: Shop, lock: InsertSystem, *observed: str) -> None:
    for i, depth in enumerate(observed):
        form = {"who": who, "system_id": str(lock.id), "depth": depth, "datum": "collar", "obtained": "read_off_ball"}
        depths.observe(session, shop.id, DepthForm.read(form | {"observed_on": "2026-01-02", "notes": f"ball {i}"}))
    session.flush()


def half_of(interval: tuple[float, float]) -> float:
    return (interval[1] - interval[0]) / 2


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


def trial(session: Session, who: str, inner_id: int, depth: str, proud: str) -> None:
    trial_fits.add_trial_fit(session, inner_id, TrialFitForm.read({"who": who, "trial_depth": depth, "proud": proud}))
    session.flush()


@pytest.mark.parametrize(
    "fits", [[("2 3/4", "1/64 sunk")], [("2 3/4", "1/64 sunk"), ("2 3/4", "flush")], [("2 3/4", "flush")] * 3]
)
def test_saving_trial_fits_changes_no_interval(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, fits: list[tuple[str, str]]
) -> None:
    bore = bore_of(session, lock, stranger)
    inner = Inner(bowler_id=1, label="a", system_id=lock.id, trimmed_in_id=bore.id, outside_in=Fraction(5, 4), forward_in=Fraction(0), right_in=Fraction(0))  # fmt: skip
    session.add(inner)
    session.flush()
    for depth, proud in fits:
        trial(session, who, inner.id, depth, proud)
    before = not_none(trial_fits.estimate_trial_depth(session, trial_fits.list_trial_fits(session, inner.id)))
    trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who}))
    session.flush()
    session.expire_all()
    made = not_none(visitors.predict_in_our_bore(session, inners.get_inner(session, inner.id), None, None).made)
    assert made.shape.depth_in == pytest.approx(before.depth_in, abs=SAME_IN)
    assert made.half_width_in == pytest.approx(half_of(before.interval_in), abs=SAME_IN)
    shop = depths.load_shop_depths(session, [stranger.id])[stranger.id, lock.id]
    assert half_of(shop.estimate.interval_in) > half_of(before.interval_in)  # the shop's mean has its scatter on top


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


def test_trial_fits_saved_before_freedom_was_kept_get_what_their_readings_had(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, database_url: str
) -> None:
    bore = bore_of(session, lock, stranger)
    inner = Inner(bowler_id=1, label="a", system_id=lock.id, trimmed_in_id=bore.id, outside_in=Fraction(5, 4), forward_in=Fraction(0), right_in=Fraction(0))  # fmt: skip
    session.add(inner)
    session.flush()
    saved = []
    for fits in ([("2 3/4", "1/64 sunk")], [("2 3/4", "1/64 sunk"), ("2 3/4", "flush"), ("2 11/16", "1/16 proud")]):
        for depth, proud in fits:
            trial(session, who, inner.id, depth, proud)
        saved.append(trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who})))
        session.flush()
    spread = float(saved[1].repeatability_in)
    session.commit()
    command.downgrade(alembic_config(database_url), "0006")
    upgrade(database_url)
    # outside source: numpy; JCGM 100:2008 (G.2b) with the division's share, u² − s²/n, known
    wanted = [2.75 - 1 / 64, 2.75, 2.75]
    expected = 2 * spread**4 / (np.var(wanted, ddof=1) / 3) ** 2
    engine = open_engine(database_url)
    with engine.connect() as connection:
        kept = connection.exec_driver_sql(
            "SELECT freedom FROM depth_observation WHERE obtained = 'trial_fit' ORDER BY id"
        )
        freedoms = [float(Fraction(text)) for text in kept.scalars()]
    engine.dispose()
    assert freedoms == pytest.approx([8, expected], rel=1e-6)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 12])
def test_pages_show_a_shop_seen_so_often(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, client: Client, count: int
) -> None:
    seen(session, who, stranger, lock, *[f"2.{70 + i % 5}" for i in range(count)])
    session.commit()
    for path in (
        f"/shops/{stranger.id}",
        "/shops",
        f"/visitors?shop_id={stranger.id}",
        f"/visitors/set?shop_id={stranger.id}",
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert ("Next ball not yet measured" in answer.text) >= bool(count), path
    page = client.get(f"/shops/{stranger.id}").text
    assert ("starting value of 0.008, ASSUMED" in page) == (0 < count < 5)
    assert ("Nothing is known yet" in page) == (count == 0)
    known = depths.load_shop_depths(session, [stranger.id])
    assert len(known) == bool(count)


def read_depth(datum: str) -> DepthObservation:
    return DepthObservation(**{
        "depth_in": Fraction(11, 4), "datum": datum, "obtained": "read_off_ball", "circumference_in": Fraction(27), "bore_in": Fraction(3, 2),
        "forward_in": Fraction(-1, 4), "right_in": Fraction(3, 16), "resolution_in": Fraction(1, 64), "repeatability_in": Fraction(1, 100),
    })  # fmt: skip


def collar_of(datum: str) -> float:
    """The collar setting of 2 3/4 read from a datum, by hand: heights √(R² − x²) above the ball's mid-plane."""
    radius, pitch = 27 / (2 * math.pi), math.hypot(0.25, 0.1875)
    off = {"collar": 0.75 - pitch, "rim_high": 0.75 - pitch, "crown": pitch, "rim_low": 0.75 + pitch}
    height = {name: math.sqrt(radius**2 - x**2) for name, x in off.items()}
    return 2.75 - (height[datum] - height["collar"])


@pytest.mark.parametrize("datum", ["collar", "rim_high", "crown", "rim_low"])
def test_a_depth_is_the_collar_setting_whatever_it_was_read_from(datum: str) -> None:
    # JCGM 100:2008 4.3.7: a division is a uniform distribution, width² / 12
    known = depths.to_known_depth(read_depth(datum=datum))
    assert known.depth_in == pytest.approx(collar_of(datum), abs=1e-9)
    assert known.standard_uncertainty_in == pytest.approx(math.sqrt(0.01**2 + (1 / 64) ** 2 / 12), abs=1e-12)


def test_an_unknown_datum_is_half_way_with_the_doubt_of_a_uniform_range() -> None:
    # JCGM 100:2008 4.3.7: between two limits of half distance a, the variance is a² / 3
    all_of_them = [collar_of(datum) for datum in ("collar", "crown", "rim_low")]
    half = (max(all_of_them) - min(all_of_them)) / 2
    known = depths.to_known_depth(read_depth(datum="unknown"))
    assert half > 0.05
    assert known.depth_in == pytest.approx(min(all_of_them) + half, abs=1e-9)
    expected = math.sqrt(0.01**2 + (1 / 64) ** 2 / 12 + half**2 / 3)
    assert known.standard_uncertainty_in == pytest.approx(expected, abs=1e-12)
