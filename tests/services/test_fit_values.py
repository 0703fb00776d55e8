"""An insert with a lift, chosen from the shop's hardware, through fit, plan, route and drawing."""

import re
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import brentq
from sqlalchemy.orm import Session

from app.calculation.grip import SolvedGrip
from app.errors import InvalidError
from app.measures.wording import exact
from app.models import Ball, Bowler, Fit, InsertSystem
from app.models.numbers import TextNumber
from app.pages import pictures
from app.schemas.drillings import PlanForm
from app.schemas.fits import TransferForm
from app.schemas.systems import SystemForm
from app.services import bench, changes, differences, fits, grips, plans, systems, transfers
from app.services.work_outs import work_out
from seed_demo.world import TWIST_LOCK
from tests.conftest import not_none
from tests.services.test_fits import form, in_force

pytestmark = pytest.mark.once  # numbers, which no database changes


@pytest.fixture
def lifted(session: Session, who: str) -> InsertSystem:
    typed = TWIST_LOCK | {"who": who, "label": "Lift insert", "digit": "finger", "height_set_by": "by_hand"}
    typed |= {"bore": "31/32", "sleeve_od": "", "inner_ods": "11/16, 21/32", "stock": "", "lift": "1/16 @ 6:00"}
    return systems.add(session, SystemForm.read(typed))


@pytest.fixture
def fit(session: Session, mei: Bowler, who: str, lifted: InsertSystem) -> Fit:
    session.flush()
    typed = {"middle_insert": str(lifted.id), "middle_hole": "11/16", "middle_cut": ""}
    return in_force(session, who, fits.add_draft(session, mei, form(who, **typed)))


def test_the_insert_gives_bore_and_lift(fit: Fit, lifted: InsertSystem) -> None:
    hole = fit.hole("middle")
    assert hole.system_id == lifted.id
    assert (hole.cut_in, hole.lift_in, hole.lift_deg) == (Fraction(31, 32), Fraction(1, 16), Fraction(180))
    assert fit.hole("ring").lift_in is None


@pytest.mark.parametrize("bore", ["unknown", ""])
def test_an_insert_of_unknown_bore_is_not_bored_as_wide_as_its_inside(
    session: Session, mei: Bowler, who: str, lifted: InsertSystem, bore: str
) -> None:
    lifted.bore_in, lifted.typed = None, lifted.typed | {"bore": bore}
    session.flush()
    typed = {"middle_insert": str(lifted.id), "middle_hole": "11/16"}
    draft = fits.add_draft(session, mei, form(who, **typed, middle_cut=""))
    assert grips.list_missing(draft) == ["middle bore for the insert"]
    session.flush()
    with pytest.raises(InvalidError):
        in_force(session, who, draft)
    fits.edit(session, draft.id, form(who, **typed, middle_cut="unknown", version=str(draft.version)))
    assert (grips.list_missing(draft), grips.list_unknown(draft)) == ([], ["middle bore for the insert"])
    in_force(session, who, draft)
    assert not grips.can_solve(draft)


def test_history_names_the_insert_that_a_draft_took(
    session: Session, mei: Bowler, who: str, lifted: InsertSystem
) -> None:
    draft = fits.add_draft(session, mei, form(who, middle_hole="11/16"))
    session.flush()
    typed = {"middle_insert": str(lifted.id), "middle_hole": "11/16", "version": str(draft.version)}
    fits.edit(session, draft.id, form(who, **typed))
    told = {line.field: (line.old, line.new) for line in changes.list_record_lines(session, draft)}
    assert told["middle_insert"] == ("none", "Lift insert")


@pytest.mark.parametrize("typed", [{"middle_hole": "11/16 + 1/16 @ 45 right"}, {"middle_lift": "1/32 @ 6:00"}])
def test_an_oval_or_a_lift_is_that_of_an_insert_whose_bore_is_asked_for(
    session: Session, mei: Bowler, who: str, typed: dict[str, str]
) -> None:
    draft = fits.add_draft(session, mei, form(who, **({"middle_hole": "11/16", "middle_cut": ""} | typed)))
    assert grips.list_missing(draft) == ["middle bore for the insert"]
    session.flush()
    fits.edit(
        session, draft.id, form(who, **({"middle_hole": "11/16"} | typed), middle_cut="1", version=str(draft.version))
    )
    assert grips.can_solve(draft)


def test_what_the_fit_says_itself_wins(session: Session, mei: Bowler, who: str, lifted: InsertSystem) -> None:
    session.flush()
    typed = {"middle_insert": str(lifted.id), "middle_hole": "5/8 + 1/32 @ 90 right", "middle_cut": "1"}
    made = fits.add_draft(session, mei, form(who, **typed, middle_lift="1/32 @ 12:00")).hole("middle")
    assert (made.cut_in, made.oval_in, made.oval_deg) == (Fraction(1), Fraction(1, 32), Fraction(90))
    assert (made.lift_in, made.lift_deg) == (Fraction(1, 32), Fraction(0))
    with pytest.raises(InvalidError) as refused:
        fits.add_draft(session, mei, form(who, hand="right", **typed, middle_lift="1/4 @ 12:00"))
    assert set(refused.value.fields) == {"middle_lift"}


def edge_in(solved: SolvedGrip, size_in: float, lift_in: float) -> float:
    """Arc from the middle finger's centre towards the thumb to a cylinder that stands off its axis (scipy's brentq)."""
    radius, axis, thumb = solved.radius_in, not_none(solved.middle), solved.require_thumb()
    deg = not_none(solved.grip.middle).lift_deg
    foot = np.array(axis.centre) * radius + lift_in * np.array(axis.across(deg))
    whole = np.arccos(np.dot(axis.centre, thumb.centre))

    def outside(arc_in: float) -> float:
        angle = arc_in / radius
        at = np.sin(whole - angle) * np.array(axis.centre) + np.sin(angle) * np.array(thumb.centre)
        return float(np.linalg.norm(np.cross(radius / np.sin(whole) * at - foot, axis.inwards))) - size_in / 2

    return float(brentq(outside, 1e-4, 1.5, xtol=1e-13))


def test_plan_route_and_drawing_follow_the_lift(session: Session, mei: Bowler, who: str, fit: Fit) -> None:
    ball = Ball(bowler_id=mei.id, label="Grey", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    plan = {"who": who, "fit_id": str(fit.id), "system_id": "", "reason": "tried here"}
    started = plans.plan_drilling(session, ball, PlanForm.read(plan))
    session.flush()
    drilling = bench.get_drilling(session, started.id)
    solved = work_out(not_none(drilling.plan)).solved
    finger = not_none(solved.grip.middle)
    assert (finger.lift_in, finger.lift_deg) == (1 / 16, 180)
    narrower = edge_in(solved, finger.cut_in, 0.0) - edge_in(solved, finger.hole_in, finger.lift_in)
    spans = solved.spans["middle"]
    assert spans.finished_in - spans.cut_in == pytest.approx(narrower, abs=1e-9)
    (glued,) = [step for step in drilling.steps if step.action == "middle_insert"]
    assert TextNumber("turn", "its inside stands 1/16 off the axis, towards 6:00 (180°)") in glued.numbers
    path = next(shape.path for shape in pictures.draw_grip(solved).shapes if shape.words == "middle hole 11/16")
    seen = np.array(re.findall(r"(-?\d+\.\d+) (-?\d+\.\d+)", path), float)[::3] * (1, -1)  # ends of its cubic pieces
    rim = np.column_stack([seen, np.sqrt(solved.radius_in**2 - (seen**2).sum(axis=1))])
    axis = not_none(solved.middle)
    foot = np.array(axis.centre) * solved.radius_in + finger.lift_in * np.array(axis.across(finger.lift_deg))
    away = np.linalg.norm(np.cross(rim - foot, axis.inwards), axis=1)
    assert away == pytest.approx(np.full(len(rim), finger.hole_in / 2), abs=1e-6)


def test_a_comparison_names_insert_and_lift(session: Session, who: str, fit: Fit) -> None:
    plain = fits.add_draft(session, fit.bowler, form(who, middle_hole="11/16", middle_cut="31/32"))
    session.flush()
    told = {line.what: (line.old, line.new) for line in differences.compare_fits(fit, plain)}
    assert told["middle insert"] == ("Lift insert", "none")
    assert told["middle inside off the axis"] == ("1/16 towards 6:00 (180°)", "none")


def test_no_transfer_lets_the_inside_break_out_of_its_bore(session: Session, fit: Fit) -> None:
    hole_and_lift = Fraction(11, 16) + 2 * Fraction(1, 16)
    assert transfers.compare_hardware(session, fit, TransferForm.read({"middle_cut": exact(hole_and_lift)}))
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(session, fit, TransferForm.read({"middle_cut": "3/4"}))
    assert set(refused.value.fields) == {"middle_cut"}


def test_a_thumb_system_has_no_lift(who: str, session: Session) -> None:
    with pytest.raises(InvalidError) as refused:
        systems.add(session, SystemForm.read(TWIST_LOCK | {"who": who, "label": "Odd", "lift": "1/16 @ 6:00"}))
    assert set(refused.value.fields) == {"lift"}
