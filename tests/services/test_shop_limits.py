"""What a stored limit counts as: never beyond its bounds, and no doubt or division of 0; what starting limits give."""

import math
from collections.abc import Callable
from fractions import Fraction

import pytest
from scipy import stats
from sqlalchemy.orm import Session

from app.calculation.verdict_rates import VerdictRates
from app.measures.wording import share_words
from app.services.shop_limits import Limit, SetLimit, list_rates, load_limits, read_depth_doubt_in
from app.settings import ROOT
from tests.calculation.test_verdict_rates import CAREFUL_IN, SAME, faults, shop, work


@pytest.mark.parametrize(
    ("kind", "stored", "counts"),
    [
        ("division", "0", "1/1000"),
        ("division", "1/1000", "1/1000"),
        ("division", "1/64", "1/64"),
        ("division", "1000", "1/4"),
        ("limit", "0", "0"),
        ("limit", "-1", "0"),
        ("limit", "1/64", "1/64"),
        ("limit", "1000", "1/4"),
        ("doubt", "1/64", "1/64"),
    ],
)
def test_a_stored_limit_is_held_within_its_bounds(kind: str, stored: str, counts: str) -> None:
    limit = Limit("some", "", "", "1/64", kind=kind)  # type: ignore[arg-type]
    assert limit.usable(Fraction(stored)) == Fraction(counts)


def test_a_doubt_of_0_is_that_of_the_finest_division() -> None:
    # JCGM 100:2008 4.3.7: a division a wide is a uniform distribution, its standard uncertainty a / √12
    assert float(Limit("some", "", "", "0", kind="doubt").usable(Fraction(0))) == pytest.approx(0.001 / math.sqrt(12))


@pytest.mark.parametrize(("source", "is_assumed"), [("ASSUMED", True), ("a dial, 2026", False), ("", False)])
def test_a_limit_is_assumed_until_it_has_a_source_of_its_own(source: str, is_assumed: bool) -> None:
    assert SetLimit(Limit("lip", "", "", "1/64"), Fraction(1, 64), "1/64", source).is_assumed == is_assumed


def test_a_cusp_is_no_finer_than_a_table_is_set_to() -> None:
    assert Limit("cusp", "", "", "0").usable(Fraction(0)) == Fraction(1, 10_000)


def read_starting(limits: dict[str, SetLimit]) -> tuple[float, float, float]:
    """Tolerance, doubt and its freedom as shipped."""
    tolerance, spread = limits["tolerance"], limits["span_spread"]
    assert tolerance.is_assumed
    assert spread.is_assumed
    return float(tolerance.value_in), float(spread.value_in), spread.freedom


def test_a_careful_shop_is_green_at_the_starting_limits_and_no_fault_is(
    session: Session, tell: Callable[[str], None]
) -> None:
    # simulation, seeded: readings scatter by 0.008 in, work is uniform within 1/128 in either way
    limits = load_limits(session)
    tolerance, doubt, freedom = read_starting(limits)
    once, green, again = shop(work(7), CAREFUL_IN, tolerance, doubt, freedom, 8)
    missed = shop(faults(tolerance, 9), CAREFUL_IN, tolerance, doubt, freedom, 10)[1]
    tell(
        f"starting limits, readings of sd {CAREFUL_IN}: green {once:.1%} by one pair, {green:.1%} by two at most; "
        f"false measure again {again:.1%}; faults of 1/32 in beyond the limit passed {missed:.2%}"
    )
    assert green >= 0.9
    assert once**0.5 >= 0.9  # of single lengths, read once
    assert missed <= 0.01
    shown = list_rates(limits)[0].drillings
    assert (shown.green_once, shown.green) == pytest.approx((once, green), abs=4 * SAME)  # 0.008 in against 1/128 in


def test_the_table_in_the_help_is_what_the_starting_limits_give(session: Session) -> None:
    def write(rates: VerdictRates, *names: str) -> list[str]:
        return [share_words(getattr(rates, name)) for name in names]

    lines = (ROOT / "templates/help/geometry.md").read_text(encoding="utf-8").splitlines()
    for row in list_rates(load_limits(session)):
        cells = write(row.drillings, "green_once", "green", "again", "missed") + write(
            row.rims, "green", "again", "missed"
        )
        name = f"{row.doubt} in" if row.doubt else "as shipped"
        assert f"| {name} | {' | '.join(cells)} |" in lines


def test_a_depth_read_once_is_as_doubtful_as_the_reading_and_its_division() -> None:
    """By hand, JCGM 100:2008 4.3.7: a division of 0.012 in has 0.012 / √12 = 0.003464 in, with 0.002 in 0.004 in."""
    spread, division = (Limit(name, "", "", "1/64") for name in ("collar_spread", "resolution"))
    limits = {of.name: SetLimit(of, Fraction(v), v, "") for of, v in ((spread, "0.002"), (division, "0.012"))}
    assert read_depth_doubt_in(limits, "collar_spread") == pytest.approx(0.004, abs=1e-12)


def test_a_doubt_from_few_readings_counts_with_its_wider_interval() -> None:
    # scipy's t; a division a wide is a / √12, JCGM 100:2008 4.3.7 and G.3
    spread = SetLimit(Limit("x", "", "", "1/128", kind="doubt"), Fraction(1, 128), "1/128", "a study", freedom=4.0)
    step = SetLimit(Limit("y", "", "", "1/64", kind="division"), Fraction(1, 64), "1/64", "a rule")
    expected = math.hypot(stats.t.ppf(0.975, 4) / stats.norm.ppf(0.975) / 128, 1 / 64 / math.sqrt(12))
    assert read_depth_doubt_in({"x": spread, "resolution": step}, "x") == pytest.approx(expected, abs=1e-6)
