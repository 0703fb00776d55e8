from datetime import timedelta
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Bowler, Fit
from app.schemas.fits import FitForm, InForceForm, RevisionForm
from app.services import changes, fits, grips
from seed_demo.world import FIT
from tests.conftest import not_none
from tests.services.test_plans import other_system


def form(who: str, **typed: str) -> FitForm:
    return FitForm.read(FIT | {"who": who, "hand": "left"} | typed)


def in_force(session: Session, who: str, fit: Fit) -> Fit:
    session.flush()
    made = fits.put_in_force(session, fit.id, InForceForm.read({"who": who, "version": str(fit.version)}))
    session.flush()
    return made


def test_a_first_fit_is_draft_a_and_keeps_what_was_typed(session: Session, mei: Bowler, who: str) -> None:
    fit = fits.add_draft(session, mei, form(who, spans="4 3/8- x 4 ⅜", thumb_pitch="1/4 reverse, 1/8 under"))
    assert (fit.letter, fit.state, fit.hand) == ("A", "draft", "left")
    assert fit.span_middle_in == Fraction(279, 64)
    assert fit.typed["spans"] == "4 3/8- x 4 ⅜"
    assert fit.hole("thumb").right_in == Fraction(-1, 8)  # under the palm of a left hand is left
    assert changes.list_record_lines(session, fit)[0].field == "made"


def test_a_fit_in_force_is_never_edited_and_revising_keeps_both(session: Session, mei: Bowler, who: str) -> None:
    first = in_force(session, who, fits.add_draft(session, mei, form(who)))
    with pytest.raises(ConflictError):
        fits.edit(session, first.id, form(who, version=str(first.version)))
    second = fits.revise(session, first.id, RevisionForm.read({"who": who, "reason": "shorter ring span"}))
    session.flush()
    fits.edit(
        session, second.id, form(who, spans="4 x 4 3/32", reason="shorter ring span", version=str(second.version))
    )
    in_force(session, who, second)
    kept = fits.list_of_bowler(session, mei.id)
    assert [(f.letter, f.state) for f in kept] == [("B", "in force"), ("A", "superseded")]
    assert kept[1].span_ring_in == Fraction(33, 8)
    told = {c.field: (c.old, c.new) for c in changes.list_record_lines(session, second)}
    assert told["span_ring_in"] == ("4 1/8", "4 3/32")
    assert told["state"] == ("draft", "in force")


def test_a_revision_that_keeps_the_spans_does_not_make_the_hand_measured_anew(
    session: Session, mei: Bowler, who: str
) -> None:
    first = in_force(session, who, fits.add_draft(session, mei, form(who)))
    first.created_at -= timedelta(days=420)
    asked = RevisionForm.read({"who": who, "reason": "another insert"})
    second = in_force(session, who, fits.revise(session, first.id, asked))
    assert fits.find_measured_at(second, fits.list_of_bowler(session, mei.id)) == first.created_at
    third = fits.revise(session, second.id, asked)
    session.flush()
    fits.edit(session, third.id, form(who, spans="4 x 4 3/32", version=str(third.version)))
    in_force(session, who, third)
    assert fits.find_measured_at(third, fits.list_of_bowler(session, mei.id)) == third.created_at


def test_only_one_draft_a_hand_at_a_time(session: Session, mei: Bowler, who: str) -> None:
    first = in_force(session, who, fits.add_draft(session, mei, form(who)))
    fits.revise(session, first.id, RevisionForm.read({"who": who, "reason": "one"}))
    with pytest.raises(ConflictError, match="still a draft"):
        fits.revise(session, first.id, RevisionForm.read({"who": who, "reason": "two"}))


def test_a_draft_may_be_incomplete_but_not_in_force(session: Session, mei: Bowler, who: str) -> None:
    fit = fits.add_draft(session, mei, form(who, bridge="", ring_pitch=""))
    session.flush()
    with pytest.raises(InvalidError, match="bridge, ring pitch"):
        fits.put_in_force(session, fit.id, InForceForm.read({"who": who, "version": str(fit.version)}))


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"spans": "4 x 40 in"}, "spans"), ({"spans": "4 3/0 x 4"}, "spans"), ({"spans": "94.9 x 95"}, "spans"), ({"spans": "4 x 5 3/4"}, "spans"),
        ({"span_edges": ""}, "span_edges"), ({"bridge": "-1/4"}, "bridge"), ({"bridge_edges": "finished", "bridge": "1/8"}, "bridge"),
        ({"thumb_pitch": "3 in reverse"}, "thumb_pitch"), ({"thumb_pitch": "1/4R"}, "thumb_pitch"), ({"thumb_hole": "1 + -1/16 @ 45"}, "thumb_hole"),
        ({"middle_hole": "1"}, "middle_hole"), ({"ring_depth": "-1"}, "ring_depth"), ({"hand_notes": "x" * 10_000}, "hand_notes"), ({"reason": ""}, "reason"),
        ({"spans": "4 x 4 1/8 cut", "span_edges": "finished"}, "span_edges"), ({"span_edges": "sleeve", "system_id": ""}, "system_id"), ({"system_id": "999"}, "system_id"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_saved(
    session: Session, mei: Bowler, who: str, typed: dict[str, str], field: str
) -> None:
    before = session.query(Fit).count()
    with pytest.raises(InvalidError) as refused:
        fits.add_draft(session, mei, form(who, **typed))
    assert field in refused.value.fields
    session.rollback()
    assert session.query(Fit).count() == before


def test_revision_letters_go_on_after_z() -> None:
    assert [Fit(revision=n).letter for n in (1, 26, 27, 52, 53)] == ["A", "Z", "AA", "AZ", "BA"]


def test_a_draft_typed_by_one_sleeve_asks_before_it_moves_to_another(
    session: Session, anna: Bowler, by_the_sleeve: Fit, who: str
) -> None:
    finished = grips.solve(by_the_sleeve, by_the_sleeve.system).spans["middle"].finished_in
    typed = FIT | {"who": who, "hand": "right", "spans": "3.75 x 3.875", "span_edges": "sleeve"}
    draft = fits.add_draft(session, anna, FitForm.read(typed | {"system_id": str(by_the_sleeve.system_id)}))
    session.flush()
    typed |= {"version": str(draft.version), "system_id": str(other_system(session, who, "1 3/8").id)}
    with pytest.raises(InvalidError) as asked:
        fits.edit(session, draft.id, FitForm.read(typed))
    keep, again = asked.value.fields["spans"].choices
    kept = fits.edit(session, draft.id, FitForm.read(typed | {"spans": keep, "span_edges": "finished"}))
    assert float(not_none(kept.span_middle_in)) == pytest.approx(finished, abs=0.00005)
    assert kept.span_edges == "finished"
    assert not_none(FitForm.read(typed | {"spans": again}).spans.value).middle_in == Fraction(15, 4)
