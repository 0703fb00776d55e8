"""The start of a balance: what was typed as it is kept, the doubts of each kind of start, what marks alone tell."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.balances import Uncertainty
from app.models import Ball, BallMarks, Drilling, Weighing
from app.services.balance_starts import (
    NOTHING_TYPED,
    Basis,
    Start,
    TypedStart,
    find_weight,
    read_start,
    start_from_marks,
)
from app.services.heavy_spots import HeavySpot
from tests.conftest import not_none

TYPED = TypedStart(Fraction(13, 4), Fraction(-1, 3), Fraction(1, 16))


def test_what_was_typed_is_kept_exactly() -> None:
    assert TYPED.write() == {"top_oz": "13/4", "along_in": "-1/3", "across_in": "1/16"}
    assert read_start(Weighing(counted_from=TYPED.write())) == TYPED
    assert NOTHING_TYPED.write() is None
    assert read_start(Weighing(counted_from=None)) == NOTHING_TYPED


def test_a_start_has_the_doubts_of_its_marks_or_of_what_was_weighed() -> None:
    spot = HeavySpot(0.0, 0.0, 0.25, "")
    marked = Start(240.0, 3.0, spot, 0.125, False, False, (), ())
    assert marked.list_doubts(0.04, 0.1) == Uncertainty(0.04, 0.125, 0.25, 0.1, fill_fraction=0.15)
    weighed = Start(
        240.0, 3.0, spot, 0.2, True, True, (), (), is_carried=True, each_u_oz=(0.06, 0.07, 0.08), moved_u_in=0.2,
        arm_u_oz=0.05,
    )  # fmt: skip
    found = weighed.list_doubts(0.04, 0.1)
    assert found == Uncertainty(0.04, 0.05, 0.2, 0.1, True, (0.06, 0.07, 0.08), 0.15)


@pytest.mark.parametrize(
    ("marks", "pounds", "expected"),
    [
        (BallMarks(real_weight_oz=Fraction(241), label_weight_oz=Fraction(240)), 15, (241.0, "as weighed")),
        (BallMarks(label_weight_oz=Fraction(224)), 15, (224.0, "as on the label")),
        (None, 15, (240.0, "as typed for the ball")),
        (None, None, (None, "")),
    ],
)
def test_the_weight_is_the_best_that_is_known(
    marks: BallMarks | None, pounds: int | None, expected: tuple[float | None, str]
) -> None:
    assert find_weight(Ball(weight_lb=pounds and Fraction(pounds)), marks) == expected


def test_what_was_typed_takes_the_place_of_the_marks(session: Session, plan: Drilling) -> None:
    marks = BallMarks(top_weight_oz=Fraction(2))
    made = not_none(plan.plan)
    bare = start_from_marks(Basis(plan, made, None, marks, NOTHING_TYPED, None))
    assert (bare.top_oz, bare.spot, [one.page for one in bare.missing]) == (2.0, None, ["layout"])
    typed = start_from_marks(Basis(plan, made, None, marks, TYPED, None))
    spot = not_none(typed.spot)
    assert (typed.top_oz, spot.along_in, spot.across_in, spot.u_in) == (3.25, float(Fraction(-1, 3)), 0.0625, 0.125)
    assert typed.missing == ()
