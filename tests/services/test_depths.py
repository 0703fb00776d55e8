"""What a shop's observations are worth, and what is unknown of them."""

import math
from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from scipy import stats
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.depths import KnownDepth
from app.calculation.shop_depths import shop_depth
from app.closed_sets import OBTAINED_WORDS
from app.errors import InvalidError
from app.models import Bore, DepthObservation, Drilling, InsertSystem, Shop
from app.schemas.systems import DepthForm
from app.services import depths, inners, known_depths, shop_limits, visitors
from tests.conftest import Client, not_none
from tests.services.conftest import Arrive
from tests.services.test_visitors import rows_of


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


def test_a_trial_at_an_unknown_pitch_is_as_doubtful_to_either_side() -> None:
    # by hand: on the axis of bores straight to 1/2 in pitched, the ball stands 0.0660 to −0.0219 in over the collar's
    # height; trial and inner may differ by that either way, a rectangle of half width 0.0879
    trial = DepthObservation(
        depth_in=Fraction(11, 4), datum="collar", obtained="trial_fit", circumference_in=Fraction(27), bore_in=Fraction(3, 2),
        resolution_in=Fraction(0), repeatability_in=Fraction(4, 1000),
    )  # fmt: skip
    known = depths.to_known_depth(trial)
    assert known.depth_in == pytest.approx(2.75, abs=1e-9)
    assert known.standard_uncertainty_in == pytest.approx(math.hypot(0.004, 0.0879 / math.sqrt(3)), abs=1e-4)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 12])
def test_pages_show_a_shop_seen_so_often(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, client: Client, count: int
) -> None:
    seen(session, who, stranger, lock, *[f"2.{70 + i % 5}" for i in range(count)])
    session.commit()
    for path in (
        f"/shops/{stranger.id}",
        f"/visitors?shop_id={stranger.id}",
        f"/visitors/set?shop_id={stranger.id}",
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert ("Next ball not yet measured" in answer.text) >= bool(count), path
    assert (f'aria-label="{stranger.name}: ' in client.get("/shops").text) == bool(count)
    page = client.get(f"/shops/{stranger.id}").text
    assert ("starting value of 0.008, ASSUMED" in page) == (0 < count < 5)
    assert ('class="empty"' in page) == (count == 0)
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


DEPTH = {"obtained": "told", "observed_on": "2026-01-02", "pitch": "0", "resolution": "1/64", "datum": "crown"}


def observed(session: Session, shop_id: int) -> DepthObservation:
    query = select(DepthObservation).where(DepthObservation.shop_id == shop_id).order_by(DepthObservation.id.desc())
    return session.scalars(query.limit(1)).one()


def test_whatever_is_unknown_of_an_observation_stays_so(
    session: Session, client: Client, who: str, lock: InsertSystem
) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8"} | DEPTH
    form |= {"pitch": "unknown", "resolution": "unknown", "datum": "unknown"}
    session.rollback()  # lets the client write
    assert client.post("/shops/2/depths", form).status_code == 303
    found = observed(session, 2)
    assert (found.forward_in, found.right_in, found.resolution_in, found.datum) == (None, None, None, "unknown")
    page = " ".join(client.get("/shops/2").text.split())
    assert "pitch unknown" in page
    assert "division unknown" in page
    assert rows_of(session, "depth_observation")[-1]["forward_in"] is None


@pytest.mark.parametrize("datum", ["crown", "rim_low", "unknown"])
def test_a_depth_of_unknown_pitch_covers_every_pitch_it_may_have(
    session: Session, who: str, lock: InsertSystem, datum: str
) -> None:
    def known(pitch: str, day: str) -> KnownDepth:
        form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8", "notes": day} | DEPTH
        depths.observe(session, 3, DepthForm.read(form | {"datum": datum, "pitch": pitch}))
        return depths.to_known_depth(observed(session, 3))

    unknown = known("unknown", "u")
    assert observed(session, 3).forward_in is None
    half = 3**0.5 * unknown.standard_uncertainty_in
    for pitch in ("0", "1/4 reverse, 0", "1/2 reverse, 0", "3/8 reverse, 1/4 left"):
        one = known(pitch, pitch)
        assert abs(one.depth_in - unknown.depth_in) <= half
        assert one.standard_uncertainty_in < unknown.standard_uncertainty_in
    own = depths.load_shop_depths(session, [3])[3, lock.id]
    assert own.is_pitch_unknown


def test_a_collar_setting_does_not_hang_on_the_pitch(session: Session, who: str, lock: InsertSystem) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8", "notes": "u"} | DEPTH | {"datum": "collar"}
    depths.observe(session, 3, DepthForm.read(form | {"pitch": "unknown"}))
    found = depths.to_known_depth(observed(session, 3))
    depths.observe(session, 3, DepthForm.read(form | {"pitch": "1/4 reverse, 0", "notes": "k"}))
    assert depths.to_known_depth(observed(session, 3)) == found
    assert not depths.load_shop_depths(session, [3])[3, lock.id].is_pitch_unknown


def test_an_unknown_division_counts_as_the_coarsest_rule(session: Session, who: str, lock: InsertSystem) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8"} | DEPTH | {"datum": "collar"}
    depths.observe(session, 3, DepthForm.read(form | {"resolution": "unknown"}))
    told = float(shop_limits.load_limits(session)["told_spread"].value_in)
    u = depths.to_known_depth(observed(session, 3)).standard_uncertainty_in
    assert u == pytest.approx((told**2 + (1 / 16) ** 2 / 12) ** 0.5)


def test_an_unknown_datum_widens_the_interval(session: Session, arrives: Arrive, lock: InsertSystem) -> None:
    known = visitors.take_in(session, arrives(depth="2 3/4", datum="collar", shop_name="One"))
    vague = visitors.take_in(
        session, arrives(depth="2 3/4", datum="unknown", shop_name="Two", bowler_name="Abel Zorn", bowler_phone="")
    )
    by_shop = depths.load_shop_depths(
        session, [inners.get_inner(session, i.id).trimmed_in.shop_id for i in (known, vague)]
    )
    widths = [d.estimate.standard_uncertainty_in for d in by_shop.values()]
    assert widths[1] > widths[0]


def test_an_observation_from_the_future_is_refused(who: str, lock: InsertSystem) -> None:
    typed = {"who": who, "system_id": str(lock.id), "depth": "2 3/4", "datum": "collar", "obtained": "told"}
    with pytest.raises(InvalidError) as refused:
        DepthForm.read(typed | {"observed_on": "2999-01-01"})
    assert "observed_on" in refused.value.fields


def test_what_observations_add_up_to_names_its_last_day_its_sources_and_its_gaps() -> None:
    days = [date(2026, 3, 1), date(2026, 5, 9), date(2026, 4, 2)]
    read = [read_depth(datum="collar") for _ in days]
    for i, (observation, day) in enumerate(zip(read, days, strict=True)):
        observation.id, observation.observed_on = i + 1, day
    read[1].obtained = "collar_measured"
    found = depths.sum_up([(read[0], 7), (read[1], None), (read[2], 7)])
    assert (found.last_on, found.age_days) == (date(2026, 5, 9), (date.today() - date(2026, 5, 9)).days)
    assert found.sources == (OBTAINED_WORDS["read_off_ball"], OBTAINED_WORDS["collar_measured"])
    assert (found.is_datum_unknown, found.is_pitch_unknown, found.knowledge.balls) == (False, False, 2)
    assert [o.known.ball for o in found.observed] == [7, None, 7]
    own = not_none(found.of_bore(7))
    # outside source: two equal readings of one ball, statistics of a mean; scipy's normal quantile
    u = math.sqrt(0.01**2 + (1 / 64) ** 2 / 12) / math.sqrt(2)
    assert (own.depth_in, own.half_width_in) == pytest.approx((2.75, stats.norm.ppf(0.975) * u), abs=1e-9)
    assert own.words == OBTAINED_WORDS["read_off_ball"] and found.of_bore(8) is None
    low, high = found.knowledge.next_ball_in
    assert found.next_half_width_in == pytest.approx(max(high - found.estimate.depth_in, found.estimate.depth_in - low))
    read[2].datum, read[0].forward_in = "unknown", None
    found = depths.sum_up([(observation, None) for observation in read])
    assert (found.is_datum_unknown, found.is_pitch_unknown) == (True, False)  # a collar's depth hangs on no pitch
    read[0].datum = "crown"
    assert depths.sum_up([(observation, None) for observation in read]).is_pitch_unknown


def test_the_wider_half_of_the_next_ball_counts() -> None:
    known = [replace(depths.to_known_depth(read_depth(datum="collar")), depth_in=2.7 + off) for off in (0, 0.001, 0.06)]
    for sign in (1, -1):
        turned = [
            replace(k, depth_in=sign * k.depth_in, standard_uncertainty_in=u)
            for k, u in zip(known, (0.001, 0.001, 0.04), strict=True)
        ]
        knowledge = shop_depth(turned)
        low, high = knowledge.next_ball_in
        found = known_depths.ShopDepth(knowledge, (), date(2026, 1, 1), (), False, False)
        sides = high - knowledge.estimate.depth_in, knowledge.estimate.depth_in - low
        assert abs(sides[0] - sides[1]) > 1e-5
        assert found.next_half_width_in == max(sides)


def test_readings_of_one_bore_are_of_one_ball(session: Session, who: str, lock: InsertSystem, stranger: Shop) -> None:
    bores = [not_none(session.get(Drilling, id_)).bore_id for id_ in (1, 2)]
    for day, id_ in enumerate((1, 2, 1, None), 1):
        observation = read_depth(datum="collar")
        observation.shop_id, observation.system_id, observation.staff_id = stranger.id, lock.id, int(who)
        observation.drilling_id, observation.observed_on = id_, date(2026, 1, day)
        session.add(observation)
    session.flush()
    found = depths.load_shop_depths(session, [stranger.id])[stranger.id, lock.id]
    assert [o.known.ball for o in found.observed] == [bores[0], bores[1], bores[0], None]
    assert found.knowledge.balls == 3


@pytest.mark.parametrize(
    ("stated", "kept"), [(0.0, 0.001 / math.sqrt(12)), (0.0002, 0.001 / math.sqrt(12)), (0.0071, 0.0071)]
)
def test_a_doubt_is_kept_no_smaller_than_that_of_the_finest_division(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, stated: float, kept: float
) -> None:
    # JCGM 100:2008 4.3.7
    observation = read_depth(datum="collar")
    observation.shop_id, observation.system_id, observation.staff_id = stranger.id, lock.id, int(who)
    observation.repeatability_in, observation.observed_on = Fraction(str(stated)), date(2026, 1, 2)
    depths.add(session, int(who), observation, stranger.name, lock)
    assert float(observation.repeatability_in) == pytest.approx(kept, abs=1e-6)


@pytest.mark.parametrize(
    ("depth", "datum", "stored"),
    [
        ("2 1/2 collar", "", "collar"),
        ("2 9/16 from crown", "", "crown"),
        ("2 1/2 collar", "unknown", "collar"),
        ("2 1/2", "rim_low", "rim_low"),
    ],
)
def test_a_depth_that_names_its_datum_needs_no_second(
    session: Session, who: str, stranger: Shop, lock: InsertSystem, depth: str, datum: str, stored: str
) -> None:
    typed = {"who": who, "system_id": str(lock.id), "obtained": "told", "observed_on": "2026-01-02", "pitch": "0"}
    depths.observe(session, stranger.id, DepthForm.read(typed | {"depth": depth, "datum": datum}))
    assert (
        not_none(session.scalars(select(DepthObservation).order_by(DepthObservation.id.desc())).first()).datum == stored
    )
    with pytest.raises(InvalidError) as refused:
        DepthForm.read(typed | {"depth": "2 1/2", "datum": ""})
    assert set(refused.value.fields) == {"datum"}


OTHER = {
    "shop_id": 999, "system_id": 999, "depth_in": Fraction(43, 16), "datum": "surface", "obtained": "told",
    "observed_on": date(2026, 1, 3), "notes": "ball 1",
}  # fmt: skip


@pytest.mark.parametrize("name", ["", *OTHER])
def test_a_reading_is_there_already_only_if_all_of_it_is_the_same(
    session: Session, lock: InsertSystem, who: str, name: str
) -> None:
    seen(session, who, not_none(session.get(Shop, 1)), lock, "2 3/4")
    kept = not_none(session.scalar(select(DepthObservation).order_by(DepthObservation.id.desc())))
    again = DepthObservation(**{each: getattr(kept, each) for each in OTHER} | ({name: OTHER[name]} if name else {}))
    assert depths.is_there_already(session, again) == (name == "")


def test_an_observed_bore_is_as_wide_as_its_hardware_needs(
    session: Session, who: str, stranger: Shop, lock: InsertSystem
) -> None:
    # by hand, of 2 3/4 from the crown in a straight 1 3/8 bore of a 27 in ball: R − √(R² − (11/16)²) is 0.055353 in
    lock.bore_in = Fraction(11, 8)
    typed = {"who": who, "system_id": str(lock.id), "depth": "2 3/4", "datum": "crown", "obtained": "told"}
    observed = depths.observe(session, stranger.id, DepthForm.read(typed | {"observed_on": "2026-01-02", "pitch": "0"}))
    assert observed.bore_in == Fraction(11, 8)
    assert depths.to_known_depth(observed).depth_in == pytest.approx(2.75 - 0.055353, abs=1e-6)
