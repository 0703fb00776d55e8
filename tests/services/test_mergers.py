"""Two records of one bowler become one: contradictions are asked, all of either is found, told and erased together."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Fit, Merger, now
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.schemas.personal import ErasureForm
from app.schemas.taken_back import BowlerMergerForm
from app.services import balls, bowler_words, bowlers, mergers, personal
from tests.services.test_partings import add_fit, add_plain, part


def read(who: str, one: Bowler, other: Bowler, **more: str) -> BowlerMergerForm:
    form = {"who": who, "version": str(one.version), "other_id": str(other.id), "other_version": str(other.version)}
    return BowlerMergerForm.read(form | {"stays": str(one.id), "why": "one person"} | more)


@pytest.fixture
def pair(session: Session) -> tuple[Bowler, Bowler]:
    """Two records that contradict each other in everything, each with a fit in force."""
    made = []
    told = [
        ("Ana Quill", "555 0142 1111", "right", False, ""),
        ("Anna Zorn", "555 0142 2222", "left", True, "Ulla 555 0100"),
    ]
    for name, phone, hand, is_minor, guardian in told:
        of = add_plain(session, name, phone)
        of.hand, of.is_minor, of.guardian, of.notes = hand, is_minor, guardian, f"notes of {name}"
        add_fit(session, of, "right", 1, "in force")
        session.flush()
        made.append(of)
    return made[0], made[1]


def answers(one: Bowler, other: Bowler, session: Session) -> dict[str, str]:
    return {q.field: q.choices[0][0] for q in mergers.list_questions(session, one, other)}


def test_every_contradiction_is_asked_at_its_field(session: Session, who: str, pair: tuple[Bowler, Bowler]) -> None:
    with pytest.raises(InvalidError) as refused:
        mergers.merge(session, pair[0].id, read(who, *pair, stays=""))
    asked = {"which_name", "which_phone", "which_hand", "which_is_minor", "which_notes", "which_fit_right", "stays"}
    assert set(refused.value.fields) == asked


def test_what_is_answered_holds_and_one_fit_stays_in_force(
    session: Session, who: str, pair: tuple[Bowler, Bowler]
) -> None:
    one, other = pair
    own = answers(one, other, session) | {
        "which_notes": "both",
        "which_is_minor": str(other.id),
        "which_fit_right": str(other.id),
    }
    mergers.merge(session, one.id, read(who, one, other, **own))
    assert (one.hand, one.is_minor, one.guardian) == ("right", True, "Ulla 555 0100")
    assert one.notes == "notes of Ana Quill\nnotes of Anna Zorn"
    fits = session.scalars(select(Fit).where(Fit.bowler_id == one.id).order_by(Fit.revision)).all()
    assert [(f.letter, f.state) for f in fits] == [("A", "superseded"), ("B", "in force")]


def test_both_names_and_phones_find_it_until_they_are_parted(
    session: Session, who: str, pair: tuple[Bowler, Bowler]
) -> None:
    one, other = pair
    merger = mergers.merge(session, one.id, read(who, one, other, **answers(one, other, session)))
    session.commit()
    for text in ("ana quill", "anna zorn", "1111", "2222"):
        assert one.id in [row.bowler.id for row in bowlers.search(session, text)], text
        assert other.id not in [row.bowler.id for row in bowlers.search(session, text)]
    bowler_words.rebuild_index(session)
    session.commit()
    assert [row.bowler.id for row in bowlers.search(session, "anna zorn")] == [one.id]
    part(session, merger)
    session.commit()
    assert [row.bowler.id for row in bowlers.search(session, "anna zorn")] == [other.id]


def test_what_is_written_to_the_old_record_goes_to_the_one_that_stays(
    session: Session, who: str, pair: tuple[Bowler, Bowler]
) -> None:
    one, other = pair
    mergers.merge(session, one.id, read(who, one, other, **answers(one, other, session)))
    added = balls.add(session, bowlers.get_bowler(session, other.id), BallForm.read({"who": who, "label": "late"}))
    assert added.bowler_id == one.id
    typed = {"who": who, "name": "Anna Zorn", "hand": "left", "version": str(other.version)}
    with pytest.raises(ConflictError):
        bowlers.edit(session, other.id, BowlerForm.read(typed))


def test_a_record_that_changed_meanwhile_or_was_erased_is_not_merged(
    session: Session, who: str, pair: tuple[Bowler, Bowler]
) -> None:
    one, other = pair
    stale = read(who, one, other, **answers(one, other, session))
    other.league = "Tuesday mixed"
    session.flush()
    with pytest.raises(ConflictError):
        mergers.merge(session, one.id, stale)
    other.erased_at = now()
    session.flush()
    with pytest.raises(InvalidError) as refused:
        mergers.merge(session, one.id, read(who, one, other))
    assert set(refused.value.fields) == {"other_id"}


def test_all_of_both_is_held_and_erased_together(session: Session, who: str, pair: tuple[Bowler, Bowler]) -> None:
    one, other = pair
    session.add(Ball(bowler_id=other.id, label="theirs", serial="ZZ-1"))
    session.flush()
    mergers.merge(session, one.id, read(who, one, other, **answers(one, other, session)))
    held = personal.export_bowler(session, other.id)
    assert {row["name"] for row in held["bowler"]} == {"Ana Quill", "Anna Zorn"}
    assert len(held["balls"]) == 1
    personal.erase(session, one.id, ErasureForm.read({"who": who, "version": str(one.version), "name": one.name}))
    session.flush()
    session.expire_all()
    assert {b.name for b in session.scalars(select(Bowler).where(Bowler.id.in_([one.id, other.id])))} == {
        "Erased bowler"
    }
    merger = session.scalars(select(Merger)).one()
    assert (merger.why, merger.kept_before, merger.kept_after) == ("", {}, {})
    with pytest.raises(ConflictError):
        part(session, merger)
