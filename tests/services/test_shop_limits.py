"""What a stored limit counts as: never beyond its bounds, and no doubt or division of 0."""

import math
from fractions import Fraction

import pytest

from app.services.shop_limits import Limit, SetLimit


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
