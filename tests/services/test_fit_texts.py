from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.measures.lengths import is_unknown, read_length
from app.measures.pairs import read_span_pair
from app.measures.reading import BRIDGE
from app.models import Bowler, Fit
from app.schemas.fits import FitForm
from app.services import fit_texts, fits
from seed_demo.world import FIT
from tests.services.test_fits import form, in_force


@pytest.fixture
def first(session: Session, mei: Bowler, who: str) -> Fit:
    return in_force(session, who, fits.add_draft(session, mei, form(who, bridge="5/16", middle_cut="unknown")))


def revise(session: Session, of: Fit, who: str, **typed: str) -> Fit:
    """A new draft that revises a fit, as its page saves it."""
    posted = FIT | {"who": who, "hand": of.hand, "reason": "again"} | typed
    fit_texts.require_same_edges(posted, of)
    return fits.add_draft(session, of.bowler, FitForm.read(fit_texts.repeat_same(posted, of)))


@pytest.mark.parametrize("says", ["same", "Same", "ditto", "-", "–", "--", "same as before", '"'])
def test_same_and_a_dash_take_the_measure_that_is_revised(
    session: Session, mei: Bowler, who: str, first: Fit, says: str
) -> None:
    made = revise(session, first, who, spans=says, bridge=says, ring_pitch=says, middle_cut=says)
    assert (made.span_middle_in, made.span_ring_in) == (first.span_middle_in, first.span_ring_in)
    assert made.bridge_in == Fraction(5, 16)
    assert made.hole("ring").right_in == first.hole("ring").right_in
    assert made.hole("middle").cut_in is None
    assert is_unknown(made.typed["middle_cut"])
    assert made.revised_from_id == first.id
    assert made.typed["bridge"] == "same: 5/16"


def test_what_was_the_same_is_the_same_again(session: Session, mei: Bowler, who: str, first: Fit) -> None:
    second = in_force(session, who, revise(session, first, who, bridge="same"))
    third = revise(session, second, who, bridge="same")
    assert (third.bridge_in, third.typed["bridge"]) == (Fraction(5, 16), "same: 5/16")


def test_the_same_as_nothing_is_nothing(session: Session, mei: Bowler, who: str) -> None:
    bare = in_force(session, who, fits.add_draft(session, mei, form(who, ring_cut="")))
    made = revise(session, bare, who, ring_cut="same")
    assert (made.hole("ring").cut_in, made.typed["ring_cut"]) == (None, "same: none")


def test_the_same_span_to_other_edges_is_a_question(session: Session, mei: Bowler, who: str, first: Fit) -> None:
    with pytest.raises(InvalidError) as refused:
        revise(session, first, who, spans="same", span_edges="finished")
    assert set(refused.value.fields) == {"span_edges"}


def test_without_an_earlier_record_same_is_refused_and_a_dash_is_nothing() -> None:
    assert read_length("same", BRIDGE).state == "error"
    assert read_length("-", BRIDGE).state == "absent"


def test_untouched_spans_are_not_taken_for_those_of_other_holes(
    session: Session, mei: Bowler, who: str, first: Fit
) -> None:
    spans = fit_texts.list_texts(first)["spans"]
    with pytest.raises(InvalidError) as refused:
        fit_texts.require_own_spans({"grip_holes": "thumbless", "spans": spans}, first)
    question = refused.value.fields["spans"]
    assert "spans from the thumb hole in fit A" in question.message
    (chosen,) = question.choices
    read = read_span_pair(chosen, "middle", "thumbless").value
    assert read and (read.middle_in, read.ring_in) == (first.span_middle_in, first.span_ring_in)
    fit_texts.require_own_spans({"grip_holes": "thumbless", "spans": chosen}, first)
    fit_texts.require_own_spans({"grip_holes": "three", "spans": spans}, first)
    fit_texts.require_own_spans({"grip_holes": "thumbless", "spans": "2 x 2 1/8"}, first)


def test_the_untouched_span_of_one_finger_is_not_taken_for_that_of_the_other(
    session: Session, mei: Bowler, who: str
) -> None:
    bare = {"grip_holes": "thumb_ring", "spans": "4", "bridge": "", "bridge_edges": "", "middle_pitch": ""}
    of = fits.add_draft(session, mei, form(who, **bare, middle_hole="", middle_cut=""))
    with pytest.raises(InvalidError) as refused:
        fit_texts.require_own_spans({"grip_holes": "thumb_middle", "spans": "4"}, of)
    assert refused.value.fields["spans"].choices == ("middle 4",)
