"""What was a mistake is taken back: it counts nowhere, says why, and comes back as it was."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError
from app.models import Ball, Bowler, Change, Drilling, Fit, Inner
from app.schemas.balls import BallForm
from app.schemas.drillings import ConfirmationForm, TickForm
from app.schemas.taken_back import TakingBackForm
from app.services import balls, bench, bowlers, counter_rows, drillings, taken_back


def form(who: str, record: Ball | Bowler | Drilling | Fit, why: str = "a mistake") -> TakingBackForm:
    return TakingBackForm.read({"who": who, "version": str(record.version), "why": why})


def last_line(session: Session) -> tuple[str, str, str, str]:
    session.flush()
    line = session.scalars(select(Change).order_by(Change.id.desc())).first()
    assert line
    return line.field, line.old, line.new, line.why


def waiting(session: Session, bowler_id: int) -> list[str]:
    session.flush()
    return counter_rows.list_counter_rows(session, [bowler_id])[0].waiting


def test_a_draft_is_discarded_and_is_a_draft_again(session: Session, who: str) -> None:
    draft = session.scalars(select(Fit).where(Fit.state == "draft")).one()
    assert waiting(session, draft.bowler_id)[0] == f"fit {draft.letter} is a draft"
    taken_back.discard_fit(session, draft.id, form(who, draft))
    assert last_line(session) == ("state", "draft", "discarded", "a mistake")
    assert not any("draft" in words for words in waiting(session, draft.bowler_id))
    with pytest.raises(ConflictError):
        taken_back.discard_fit(session, draft.id, form(who, draft))
    taken_back.restore_fit(session, draft.id, form(who, draft, "it was right"))
    assert last_line(session) == ("state", "discarded", "draft", "it was right")
    assert draft.discarded_reason == ""


def test_only_a_draft_is_discarded_and_one_draft_of_a_hand_is_enough(session: Session, who: str) -> None:
    draft = session.scalars(select(Fit).where(Fit.state == "draft")).one()
    in_force = session.scalars(select(Fit).where(Fit.bowler_id == draft.bowler_id, Fit.state == "in force")).one()
    with pytest.raises(ConflictError):
        taken_back.discard_fit(session, in_force.id, form(who, in_force))
    taken_back.discard_fit(session, draft.id, form(who, draft))
    in_force.state = "draft"
    session.flush()
    with pytest.raises(ConflictError):
        taken_back.restore_fit(session, draft.id, form(who, draft))


def test_a_plan_called_off_counts_nowhere_until_it_is_due_again(session: Session, who: str, plan: Drilling) -> None:
    bowler_id, ball_id = plan.ball.bowler_id, plan.ball_id
    before = waiting(session, bowler_id)
    taken_back.call_off(session, plan.id, form(who, plan, "the bowler left"))
    assert last_line(session)[2:] != ("", "")
    assert (plan.state, plan.called_off_reason) == ("not drilled", "the bowler left")
    assert waiting(session, bowler_id) == [w for w in before if not w.startswith("New red")]
    assert drillings.pick_in_force(drillings.list_of_balls(session, [ball_id])) == {}
    assert plan.id not in [d.id for d in drillings.list_of_bowler(session, bowler_id)]
    with pytest.raises(ConflictError):
        bench.tick(session, plan.id, 1, TickForm.read({"who": who}))
    taken_back.restore_plan(session, plan.id, form(who, plan))
    assert (plan.state, plan.called_off_at, plan.called_off_reason) == ("planned", None, "")
    assert waiting(session, bowler_id) == before


def test_after_the_first_cut_a_plan_is_not_called_off(session: Session, who: str, plan: Drilling) -> None:
    for step in bench.get_drilling(session, plan.id).steps:
        if step.is_cut:
            bench.confirm(session, plan.id, ConfirmationForm.read({"who": who, "reason": "as asked"}))
        bench.tick(session, plan.id, step.position, TickForm.read({"who": who, "not_read": "true"}))
        session.flush()
        if step.is_cut:
            break
    with pytest.raises(ConflictError) as refused:
        taken_back.call_off(session, plan.id, form(who, plan))
    assert step.words in refused.value.message


def test_a_plan_called_off_is_not_due_again_once_its_ball_was_retired(
    session: Session, who: str, plan: Drilling
) -> None:
    taken_back.call_off(session, plan.id, form(who, plan))
    session.flush()
    assert taken_back.find_obstacle(session, plan) == ""
    plan.ball.retired_at = plan.called_off_at
    session.flush()
    with pytest.raises(ConflictError):
        taken_back.restore_plan(session, plan.id, form(who, plan))


def test_a_plan_called_off_is_not_due_again_once_its_inner_went_to_another_bowler(
    session: Session, who: str, plan: Drilling, mei: Bowler
) -> None:
    inner = session.get_one(Inner, 1)
    plan.inner_id = inner.id
    session.flush()
    taken_back.call_off(session, plan.id, form(who, plan))
    session.flush()
    inner.bowler_id = mei.id
    session.flush()
    with pytest.raises(ConflictError, match=inner.label):
        taken_back.restore_plan(session, plan.id, form(who, plan))


def test_a_ball_never_used_goes_and_comes_back(session: Session, who: str, anna: Bowler) -> None:
    typed = {"who": who, "label": "Twice", "serial": "90077", "circumference": "27"}
    ball = balls.add(session, anna, BallForm.read(typed))
    session.flush()
    taken_back.remove_ball(session, ball.id, form(who, ball))
    session.commit()
    assert ball.id not in [b.id for b in balls.list_of_bowler(session, anna.id)]
    assert bowlers.search(session, "90077") == []
    taken_back.return_ball(session, ball.id, form(who, ball))
    session.commit()
    assert ball.id in [b.id for b in balls.list_of_bowler(session, anna.id)]
    assert [row.bowler.id for row in bowlers.search(session, "90077")] == [anna.id]


def test_a_used_ball_and_bowler_say_what_stands_in_the_way(session: Session, who: str, anna: Bowler) -> None:
    used = session.scalars(select(Ball).join(Drilling, Drilling.ball_id == Ball.id)).first()
    assert used
    with pytest.raises(ConflictError) as of_ball:
        taken_back.remove_ball(session, used.id, form(who, used))
    assert "1 drilling" in of_ball.value.message
    with pytest.raises(ConflictError) as of_bowler:
        taken_back.remove_bowler(session, anna.id, form(who, anna))
    assert "2 fits, 2 balls, 1 inner" in of_bowler.value.message


def test_a_removed_bowler_is_not_found_and_takes_nothing_new(session: Session, who: str) -> None:
    made = Bowler(name="Ulla Mistake", hand="right")
    session.add(made)
    session.flush()
    taken_back.remove_bowler(session, made.id, form(who, made))
    session.flush()
    assert counter_rows.list_counter_rows(session, [made.id]) == []
    with pytest.raises(ConflictError):
        balls.add(session, made, BallForm.read({"who": who, "label": "x"}))
    taken_back.return_bowler(session, made.id, form(who, made))
    session.flush()
    assert len(counter_rows.list_counter_rows(session, [made.id])) == 1
