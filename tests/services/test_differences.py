from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Fit
from app.schemas.fits import RevisionForm
from app.services import differences, fits
from tests.services.test_fits import form, in_force

pytestmark = pytest.mark.once  # numbers, which no database changes


def test_two_revisions_side_by_side_say_the_difference_in_64ths_and_words(
    session: Session, mei: Bowler, who: str
) -> None:
    first = in_force(session, who, fits.add_draft(session, mei, form(who)))
    second = fits.revise(session, first.id, RevisionForm.read({"who": who, "reason": "change"}))
    session.flush()
    changed = {
        "spans": "4 1/32 x 4 1/8",
        "thumb_pitch": "3/8 reverse, 0",
        "middle_hole": "43/64",
        "style": "conventional",
    }
    fits.edit(session, second.id, form(who, **changed, version=str(second.version)))
    session.flush()
    lines = {
        d.what: d for d in differences.compare_fits(fits.get_fit(session, first.id), fits.get_fit(session, second.id))
    }
    assert lines["span to middle"].words == "1/32 longer"
    assert lines["span to ring"].words == ""
    assert lines["thumb pitch, forward or reverse"].words == "4/32 more reverse (1.67°)"
    assert lines["middle hole"].words == "1/64 smaller"
    assert lines["grip style"].words == "changed"


def test_a_round_hole_and_an_oval_are_told_apart(session: Session) -> None:
    one, two = (fits.get_fit(session, fit_id) for fit_id in session.scalars(select(Fit.id).limit(2)))
    one.hole("thumb").oval_in, one.hole("thumb").oval_deg = None, None
    two.hole("thumb").oval_in, two.hole("thumb").oval_deg = Fraction(1, 16), Fraction(45)
    line = next(d for d in differences.compare_fits(one, two) if d.what == "thumb oval direction")
    assert (line.old, line.new) == ("round", "1:30 (45°)")


def test_a_pitch_is_told_with_its_way_each_way(session: Session) -> None:
    one, two = (fits.get_fit(session, fit_id) for fit_id in session.scalars(select(Fit.id).limit(2)))
    for of, forward, right in ((one, "1/4", "1/8"), (two, "-1/8", "-1/8")):
        of.hole("ring").forward_in, of.hole("ring").right_in = Fraction(forward), Fraction(right)
    lines = {d.what: (d.old, d.new) for d in differences.compare_fits(one, two)}
    assert lines["ring pitch, forward or reverse"] == ("one-quarter forward", "one-eighth reverse")
    assert lines["ring pitch, left or right"] == ("one-eighth to the right", "one-eighth to the left")


def test_a_hole_that_one_fit_alone_has_is_told(session: Session) -> None:
    one, two = (fits.get_fit(session, fit_id) for fit_id in session.scalars(select(Fit.id).limit(2)))
    one.grip_holes, two.grip_holes = "three", "thumbless"
    lines = {d.what: (d.old, d.new) for d in differences.compare_fits(one, two)}
    assert lines["thumb"] == ("a hole", "no hole")
    assert lines["to middle"][0].startswith("span ")
    assert lines["to middle"][1].startswith("reach ")
