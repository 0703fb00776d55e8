from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.models import Bowler, Fit, FitHole, InsertSystem
from app.services import fits, grips
from tests.conftest import not_none
from tests.services.test_fits import form, in_force

pytestmark = pytest.mark.once  # numbers, which no database changes


def test_unknown_edges_are_carried_along_and_not_worked_out(session: Session, mei: Bowler, who: str) -> None:
    fit = in_force(session, who, fits.add_draft(session, mei, form(who, span_edges="unknown")))
    assert fit.span_edges == "unknown"
    assert not grips.can_solve(fit)


def test_spans_to_the_sleeve_are_worked_out_with_the_systems_sleeve(session: Session, mei: Bowler, who: str) -> None:
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    typed = {"system_id": str(lock.id), "span_edges": "sleeve", "spans": "3 47/64 x 3 7/8"}
    fit = fits.add_draft(session, mei, form(who, **typed))
    solved = grips.solve(fit, lock)
    assert solved.spans["middle"].sleeve_to_cut_in == pytest.approx(3 + 47 / 64, abs=1e-9)


def test_a_measure_said_to_be_unknown_is_carried_along_into_force(session: Session, mei: Bowler, who: str) -> None:
    fit = in_force(session, who, fits.add_draft(session, mei, form(who, ring_pitch="unknown")))
    assert grips.list_unknown(fit) == ["ring pitch"]
    assert grips.list_missing(fit) == []
    assert not grips.can_solve(fit)


def test_an_error_of_the_calculation_is_told_at_its_form_field() -> None:
    told = grips.to_invalid(CannotBuildError("ring.span_in", "no such grip"))
    assert {field: error.message for field, error in told.fields.items()} == {"spans": "No such grip."}
    assert list(grips.to_invalid(CannotBuildError("elsewhere", "no such grip")).fields) == [""]


@pytest.mark.parametrize("told", ["system_id", "oval_in", "lift_in"])
def test_a_finger_that_shows_an_insert_by_any_one_sign_wants_its_bore(told: str) -> None:
    bare = {"digit": "ring", "hole_in": Fraction(3, 4), "forward_in": Fraction(0)}
    holes = [FitHole(**bare | {"digit": digit}) for digit in ("thumb", "middle")]
    fit = Fit(typed={}, span_middle_in=Fraction(4), span_ring_in=Fraction(4), bridge_in=Fraction(1, 4))
    fit.holes = [*holes, FitHole(**bare)]
    assert grips.list_missing(fit) == []
    setattr(fit.hole("ring"), told, 1)
    assert grips.list_missing(fit) == ["ring bore for the insert"]


def test_a_sleeve_is_unknown_only_of_hardware_that_says_so() -> None:
    said = [None, {}, {"sleeve_od": ""}, {"sleeve_od": "unknown"}]
    assert [grips.is_sleeve_unknown(InsertSystem(typed=typed)) for typed in said] == [False, False, False, True]
    assert not grips.is_sleeve_unknown(InsertSystem(typed={"sleeve_od": "unknown"}, sleeve_od_in=Fraction(3, 2)))
    assert not grips.is_sleeve_unknown(None)
