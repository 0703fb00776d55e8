"""Every limit stands in one group, with an example that is true: it is tried with the calculation that it governs."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.tolerances import deviation
from app.services import limit_groups, shop_limits
from app.services.shop_limits import LIMITS, SetLimit


@pytest.fixture
def limits(session: Session) -> dict[str, SetLimit]:
    return shop_limits.load_limits(session)


def test_every_limit_stands_in_one_group(limits: dict[str, SetLimit]) -> None:
    grouped = [one.name for group in limit_groups.group_limits(limits) for one in group.limits]
    assert sorted(grouped) == sorted(known.name for known in LIMITS)


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("tolerance", "1/32", "1/32 longer than predicted is still within; 3/64 is long"),
        ("least_bridge", "3/16", "cut to 3/16 passes; 11/64 fails"),
        ("least_wall", "1/16", "15/16 needs an inner of 1 1/16"),
        ("met_depth", "1/64", "Planned 2 3/4, met 2 49/64: the bench goes on. Met 2 25/32: it stops"),
        ("met_pitch", "1/32", "1/4 reverse, met 9/32"),
        ("resolution", "1/64", "may stand 0.008 to 0.023"),
        ("told_spread", "1/32", "within 0.061 in"),  # 1.96 standard deviations, normal
    ],
)
def test_an_example_follows_the_present_value(limits: dict[str, SetLimit], name: str, value: str, told: str) -> None:
    assert told in limit_groups.work_example(replace(limits[name], value_in=Fraction(value)))


def test_the_example_of_the_tolerance_is_what_is_judged(limits: dict[str, SetLimit]) -> None:
    allowed = float(limits["tolerance"].value_in)
    verdicts = [deviation(3.75, 3.75 + off, allowed, 0).verdict for off in (allowed, allowed + 1 / 64)]
    assert verdicts == ["within", "long"]
