from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from scipy import stats
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Bit, BitEvent, DrillingStep, Shop, Study
from app.models.numbers import LengthNumber
from app.schemas.bits import BitEventForm, BitForm
from app.schemas.shops import LimitForm, MergerForm, UnmergingForm
from app.schemas.studies import CELLS, StudyForm, cells_of
from app.schemas.systems import DepthForm
from app.services import bits, changes, depths, shop_limits, shops, studies
from tests.conftest import Client, not_none

START = datetime(2026, 9, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def bit(session: Session, who: str) -> Bit:
    made = bits.add(session, BitForm.read({"who": who, "label": "no. 2", "material": "carbide", "bores_limit": "10"}))
    session.flush()
    return made


def bore(
    session: Session, deviations_64: list[float], start: datetime = START, first: int = 100, datum: str = "collar"
) -> None:
    """Bores to the collar with this bit, a day apart, each this many 64ths deeper than planned."""
    for i, deviation in enumerate(deviations_64):
        session.add(
            DrillingStep(
                drilling_id=3, position=first + i, action="bore", hole="thumb", words="Bore to the collar", is_cut=True,
                numbers=(LengthNumber("depth", 2.75),), reads=["depth", "bit"],
                ticked_at=start + timedelta(days=i), staff_id=1, met_depth_in=Fraction(11, 4) + Fraction(deviation) / 64,
                met_datum=datum, met_bit="no. 2",
            )
        )  # fmt: skip
    session.flush()


def card(session: Session) -> bits.BitCard:
    return next(c for c in bits.list_cards(session) if c.bit.label == "no. 2")


def test_under_eight_points_a_chart_says_too_few(session: Session, bit: Bit) -> None:
    bore(session, [0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25])
    assert (card(session).chart, card(session).to_go, card(session).signal) == (None, 1, "")


@pytest.mark.parametrize(
    ("datum", "counted"), [("collar", 8), ("rim_high", 8), ("crown", 0), ("rim_low", 0), ("unknown", 0)]
)
def test_a_chart_takes_only_depths_from_where_the_collar_rests(
    session: Session, bit: Bit, datum: str, counted: int
) -> None:
    # a collar rests on the highest point left; from any other datum the same bore reads deeper or shallower
    bore(session, [0.0] * 8, datum=datum)
    assert (len(card(session).readings), card(session).to_go) == (counted, 8 - counted)
    assert card(session).bores == 8  # every one of them wears the bit


def test_a_steady_collar_is_quiet(session: Session, bit: Bit) -> None:
    bore(session, [0.5, -0.5, 0.25, -0.25, 0.5, -0.5, 0.0, 0.25, -0.25, 0.0])
    assert card(session).signal == ""
    assert card(session).to_go == 0


def test_a_collar_that_slips_is_told_at_the_bench_with_its_day(session: Session, bit: Bit, client: Client) -> None:
    bore(session, [0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25, -0.25, 1.5, 1.5, 1.75, 1.5, 1.75, 1.5, 1.5, 1.75])
    found = card(session)
    assert "deeper since 2026-09-1" in found.signal
    assert ("no. 2", found.signal) in bits.list_signals(session)
    session.commit()
    assert "deeper since" in client.get("/drillings/3/bench").text
    assert "deeper since" in client.get("/bits").text


def test_a_collar_set_off_its_target_is_told_as_that_and_not_as_a_slip(session: Session, bit: Bit) -> None:
    bore(session, [2.0, 1.5, 2.0, 2.5, 2.0, 1.5, 2.0, 2.5, 2.0, 2.0, 1.5, 2.5])
    assert card(session).signal == "collar was set +2/64 deeper than planned"


def test_one_wild_bore_is_told_while_it_is_the_last_and_is_no_slip(session: Session, bit: Bit) -> None:
    bore(session, [0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25, 0.0, -0.25, 0.0, 0.25, 8.0])
    assert card(session).signal == "the last bore alone came out +8/64 deeper than the others"
    bore(session, [0.0], START + timedelta(days=40), 300)
    assert card(session).signal == ""


def test_what_comes_later_moves_neither_centre_nor_spread(session: Session, bit: Bit) -> None:
    bore(session, [0.5, -0.5, 0.25, -0.25, 0.5, -0.5, 0.0, 0.25])
    fixed = not_none(card(session).chart)
    bore(session, [1.5, -1.5] * 10, START + timedelta(days=20), 300)
    assert (not_none(card(session).chart).centre, not_none(card(session).chart).sigma) == (fixed.centre, fixed.sigma)


def test_a_set_up_starts_the_chart_anew_and_a_sharpening_the_life(session: Session, bit: Bit, who: str) -> None:
    bore(session, [1.5] * 9)
    assert card(session).bores == 9
    session.add(BitEvent(bit_id=bit.id, what="collar_set", staff_id=int(who), at=START + timedelta(days=20)))
    session.flush()
    assert (len(card(session).readings), card(session).bores) == (0, 9)
    session.add(BitEvent(bit_id=bit.id, what="sharpened", staff_id=int(who), at=START + timedelta(days=21)))
    bore(session, [0.0, 0.25], START + timedelta(days=30), 300)
    assert (len(card(session).readings), card(session).bores, card(session).sharpenings) == (2, 2, 1)


def test_a_bit_over_its_limit_says_so(session: Session, bit: Bit) -> None:
    bore(session, [0.25, -0.25] * 5)
    assert card(session).is_worn
    assert any("over the shop's limit" in words for _, words in bits.list_signals(session))


def test_what_is_done_to_a_bit_leaves_history(session: Session, bit: Bit, who: str) -> None:
    bits.note_event(session, bit.id, BitEventForm.read({"who": who, "what": "sharpened", "note": "by hand"}))
    session.flush()
    assert changes.list_record_lines(session, bit)[0].new == "sharpened"


def test_two_bits_of_one_label_are_refused(session: Session, bit: Bit, who: str) -> None:
    with pytest.raises(InvalidError):
        bits.add(session, BitForm.read({"who": who, "label": "no. 2"}))


# Shops that are one -------------------------------------------------------------------------------------------------


def test_merged_shops_share_their_observations_and_part_again(session: Session, who: str) -> None:
    north = not_none(session.scalar(select(Shop).where(Shop.name == "Northgate Drilling")))
    harbour = not_none(session.scalar(select(Shop).where(Shop.name == "Harbour Street Pro Shop")))
    form = {
        "who": who,
        "system_id": "1",
        "depth": "2 3/4",
        "datum": "collar",
        "obtained": "told",
        "observed_on": "2026-01-02",
    }
    depths.observe(session, harbour.id, DepthForm.read(form))
    session.flush()
    assert depths.load_shop_depths(session, [north.id])[north.id, 1].estimate.readings == 1
    shops.merge(
        session, harbour.id, MergerForm.read({"who": who, "into_id": str(north.id), "version": str(harbour.version)})
    )
    session.flush()
    for shop in (north, harbour):
        assert depths.load_shop_depths(session, [not_none(shop).id])[shop.id, 1].estimate.readings == 2
    assert len(depths.list_observations(session, north.id)) == 2
    shops.unmerge(session, harbour.id, UnmergingForm.read({"who": who, "version": str(harbour.version)}))
    session.flush()
    assert depths.load_shop_depths(session, [north.id])[north.id, 1].estimate.readings == 1
    assert [c.field for c in changes.list_record_lines(session, harbour)][:2] == ["merged_into_id", "merged_into_id"]


@pytest.mark.parametrize("into", [1, 3])
def test_a_shop_is_not_merged_into_itself_and_ours_not_at_all(session: Session, who: str, into: int) -> None:
    ours = shops.require_our_shop(session)
    gone = 3 if into == 3 else ours.id
    version = not_none(session.get(Shop, gone)).version
    with pytest.raises(InvalidError):
        shops.merge(session, gone, MergerForm.read({"who": who, "into_id": str(into), "version": str(version)}))


# Gauge studies ------------------------------------------------------------------------------------------------------


def test_a_study_sets_the_shops_default_doubt_with_its_source(session: Session, who: str) -> None:
    readings = [
        "3.734",
        "3.812",
        "3.656",
        "3.735",
        "3.813",
        "3.655",
        "3.734",
        "3.811",
        "3.657",
        "3.736",
        "3.813",
        "3.658",
        "3.735",
        "3.814",
        "3.657",
        "3.736",
        "3.813",
        "3.659",
    ]
    typed = dict(zip(CELLS[:18], readings, strict=True))  # the third person is left out
    form = StudyForm.read({"who": who, "instrument": "span gauge", "measures": "sleeve_to_cut"} | typed)
    studies.add(session, form)
    session.flush()
    result = studies.list_cards(session)[0].result
    limit = shop_limits.load_limits(session)["span_spread"]
    assert float(limit.value_in) == pytest.approx(result.gauge, abs=1e-6)
    assert limit.source == "gauge study of span gauge"
    assert result.people == 2
    assert limit.freedom == pytest.approx(result.freedom)
    assert float(limit.half_width_in) == pytest.approx(stats.t.ppf(0.975, result.freedom) * result.gauge, rel=1e-3)
    assert changes.list_record_lines(session, session.scalar(select(Study)))[0].field == "made"


def test_a_study_of_one_person_has_its_own_freedom_and_a_stated_doubt_has_none(session: Session, who: str) -> None:
    read = ("3.734", "3.812", "3.656", "3.735", "3.813", "3.655", "3.734", "3.811", "3.657")
    typed = dict(zip(cells_of(0), read, strict=True))
    studies.add(session, StudyForm.read({"who": who, "instrument": "gauge", "measures": "depth"} | typed))
    session.flush()
    limit = shop_limits.load_limits(session)["collar_spread"]
    assert limit.freedom == pytest.approx(6)  # nine readings less three parts
    assert float(limit.normal_in) == pytest.approx(stats.t.ppf(0.975, 6) * float(limit.value_in) / 1.96, rel=1e-2)
    version = str(limit.version)
    form = {"who": who, "version": version, "value": "1/128", "source": "by hand"}
    shop_limits.set_limit(session, "collar_spread", LimitForm.read(form))
    stated = shop_limits.load_limits(session)["collar_spread"]
    assert (stated.freedom, stated.normal_in) == (float("inf"), stated.value_in)


def test_a_study_read_to_64ths_is_never_surer_than_a_64th(session: Session, who: str) -> None:
    typed = dict.fromkeys(CELLS, "3 47/64")
    studies.add(session, StudyForm.read({"who": who, "instrument": "rule", "measures": "sleeve_to_cut"} | typed))
    session.flush()
    limit = shop_limits.load_limits(session)["span_spread"]
    assert float(limit.value_in) == pytest.approx(1 / 64 / 12**0.5, abs=1e-6)  # JCGM 100:2008 4.3.7
    # three people who agree to the division may still differ by less: a fifth of its variance at 8/9 degree of freedom
    assert limit.freedom == pytest.approx(8 / 9 / 0.2**2, rel=1e-3)


@pytest.mark.parametrize(
    ("bores", "limit", "is_worn"), [(9, 10, False), (10, 10, True), (11, 10, True), (99, None, False)]
)
def test_a_bit_is_worn_once_its_bores_reach_its_limit(bores: int, limit: int | None, is_worn: bool) -> None:
    assert bits.BitCard(Bit(bores_limit=limit), bores=bores).is_worn == is_worn


@pytest.mark.parametrize(("readings", "to_go"), [(0, 8), (7, 1), (8, 0), (9, 0)])
def test_a_chart_waits_for_eight_readings_after_a_set_up(readings: int, to_go: int) -> None:
    reading = bits.CollarReading(START, 1, 0.0)
    assert bits.BitCard(Bit(), readings=[reading] * readings).to_go == to_go
