"""A ball or an inner goes to another bowler with all that hangs on it, and comes back."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Change, Drilling, Inner, OwnerChange, now
from app.schemas.personal import ErasureForm
from app.schemas.taken_back import OwnerForm, TakingBackForm
from app.services import bowlers, owner_changes, personal


def to(who: str, thing: Ball | Inner, bowler_id: int, why: str = "sold") -> OwnerForm:
    return OwnerForm.read({"who": who, "version": str(thing.version), "to_id": str(bowler_id), "why": why})


@pytest.fixture
def ball(session: Session) -> Ball:
    return session.get_one(Ball, 1)


def test_a_sold_ball_keeps_its_drillings_and_they_their_fit(
    session: Session, who: str, ball: Ball, anna: Bowler, mei: Bowler
) -> None:
    before = [(d.id, d.fit_id, d.bore_id) for d in session.scalars(select(Drilling).where(Drilling.ball_id == ball.id))]
    owner_changes.move_ball(session, ball.id, to(who, ball, mei.id))
    session.flush()
    assert ball.bowler_id == mei.id
    after = [(d.id, d.fit_id, d.bore_id) for d in session.scalars(select(Drilling).where(Drilling.ball_id == ball.id))]
    assert after == before
    session.commit()
    assert [row.bowler.id for row in bowlers.search(session, "1042")] == [mei.id]
    for bowler in (anna, mei):
        assert [c.ball_id for c in owner_changes.list_of_bowler(session, bowler.id)] == [ball.id]
        last = session.scalars(select(Change).where(Change.bowler_id == bowler.id).order_by(Change.id.desc())).first()
        assert last
        assert (last.why, f"bowler no. {mei.id}" in last.new) == ("sold", True)


def test_only_the_newest_change_is_undone(session: Session, who: str, ball: Ball, anna: Bowler, mei: Bowler) -> None:
    owner_changes.move_ball(session, ball.id, to(who, ball, mei.id))
    session.flush()
    first = session.scalars(select(OwnerChange)).one()
    owner_changes.move_ball(session, ball.id, to(who, ball, 2))
    session.flush()
    undoing = TakingBackForm.read({"who": who, "version": str(ball.version), "why": "no"})
    with pytest.raises(ConflictError):
        owner_changes.undo(session, first.id, undoing)
    for owner in (mei.id, anna.id):
        newest = owner_changes.find_newest(session, ball)
        assert newest
        undoing = TakingBackForm.read({"who": who, "version": str(ball.version), "why": "no"})
        owner_changes.undo(session, newest.id, undoing)
        session.flush()
        assert ball.bowler_id == owner
    assert owner_changes.list_of_thing(session, ball) == []


def test_an_inner_goes_without_its_ball(session: Session, who: str, mei: Bowler) -> None:
    inner = session.get_one(Inner, 1)
    trimmed_in = inner.trimmed_in_id
    owner_changes.move_inner(session, inner.id, to(who, inner, mei.id))
    assert (inner.bowler_id, inner.trimmed_in_id) == (mei.id, trimmed_in)


def test_who_cannot_have_it_is_said_at_the_field(
    session: Session, who: str, ball: Ball, anna: Bowler, mei: Bowler
) -> None:
    mei.erased_at = now()
    session.flush()
    for bowler_id in (mei.id, anna.id, 999_999):
        with pytest.raises(InvalidError) as refused:
            owner_changes.move_ball(session, ball.id, to(who, ball, bowler_id))
        assert set(refused.value.fields) == {"to_id"}


def test_a_planned_ball_stays_until_the_plan_is_called_off(
    session: Session, who: str, plan: Drilling, mei: Bowler
) -> None:
    with pytest.raises(ConflictError):
        owner_changes.move_ball(session, plan.ball_id, to(who, plan.ball, mei.id))


def test_erasing_a_former_owner_leaves_no_name_in_the_history_of_the_new_one(
    session: Session, who: str, ball: Ball, anna: Bowler, mei: Bowler
) -> None:
    owner_changes.move_ball(session, ball.id, to(who, ball, mei.id, "Anna Johnson sold it"))
    session.flush()
    form = ErasureForm.read({"who": who, "version": str(anna.version), "name": anna.name})
    personal.erase(session, anna.id, form)
    session.flush()
    session.expire_all()
    left = session.execute(select(Change.old, Change.new, Change.why).where(Change.bowler_id == mei.id)).all()
    assert not any("Anna" in text for line in left for text in line)
    assert session.scalars(select(OwnerChange.why)).one() == ""


def test_erasing_a_former_owner_empties_what_was_written_when_the_ball_was_drilled(
    session: Session, who: str, ball: Ball, anna: Bowler, mei: Bowler
) -> None:
    drilled = session.scalars(select(Drilling).where(Drilling.ball_id == ball.id)).first()
    assert drilled
    drilled.notes = "Anna's thumb swells"
    owner_changes.move_ball(session, ball.id, to(who, ball, mei.id))
    session.flush()
    assert ball.id not in {row["id"] for row in personal.export_bowler(session, anna.id)["balls"]}
    form = ErasureForm.read({"who": who, "version": str(anna.version), "name": anna.name})
    personal.erase(session, anna.id, form)
    session.flush()
    session.expire_all()
    assert (drilled.notes, ball.serial != "") == ("", True)
