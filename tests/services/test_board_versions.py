"""What moves a board: every write to what it shows, and glue that has cured; not what it does not show."""

from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Fit, InsertSystem, Ticket, TicketWait, now
from app.services import changes
from app.services.board_versions import read_newest, read_news
from tests.conftest import not_none


def test_only_lines_after_the_last_one_read_are_news(session: Session, who: str) -> None:
    last = read_newest(session)
    assert read_news(session, last, now()) == (last, False, (0, 0))
    changes.revise(session, int(who), not_none(session.get(Ball, 1)), {"colour": "green"})
    session.flush()
    news = read_news(session, last, now())
    assert (news.last_id, news.is_relevant) == (last + 1, True)
    assert read_news(session, news.last_id, now()) == (last + 1, False, (0, 0))


@pytest.mark.parametrize(
    ("model", "field", "moves"),
    [(Bowler, "name", True), (Ball, "label", True), (Fit, "state", True), (InsertSystem, "notes", False)],
)
def test_what_the_board_does_not_show_does_not_move_it(
    session: Session, who: str, model: type, field: str, moves: bool
) -> None:
    last = read_newest(session)
    changes.revise(session, int(who), session.get(model, 1), {field: "another"})
    session.flush()
    assert read_news(session, last, now()).is_relevant is moves


def test_glue_that_has_cured_is_counted(session: Session, who: str) -> None:
    at = now()
    for ball_id in (1, 2):
        of = Ticket(ball_id=ball_id, what="sand", state="ready", staff_id=int(who))
        session.add(of)
        session.flush()
        until = at + timedelta(minutes=10 * ball_id)
        session.add(TicketWait(ticket_id=of.id, kind="glue", until=until, raised_by_id=int(who)))
    session.flush()
    cured = [read_news(session, 0, at + timedelta(minutes=minutes)).cured for minutes in (9, 10, 20)]
    assert [count for count, _ in cured] == [0, 1, 2]
    ended = not_none(session.scalar(select(TicketWait).order_by(TicketWait.id)))
    ended.ended_at = at + timedelta(minutes=15)  # taken up: it cures no more
    session.flush()
    assert read_news(session, 0, at + timedelta(minutes=20)).cured[0] == 1


def test_a_long_burst_is_read_in_turns(session: Session, who: str) -> None:
    ball = not_none(session.get(Ball, 1))
    last = read_newest(session)
    for number in range(501):
        changes.note(session, int(who), ball, changes.Entry("colour", "", str(number)))
    session.flush()
    first = read_news(session, last, now())
    assert first.last_id == last + 500
    assert read_news(session, first.last_id, now()).last_id == last + 501
