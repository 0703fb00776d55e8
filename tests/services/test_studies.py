import pytest
from scipy import stats
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Study
from app.schemas.shops import LimitForm
from app.schemas.studies import CELLS, StudyForm, cells_of
from app.services import changes, shop_limits, studies


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
