"""Two people at the very same moment: one of them does it, the other is told, and nothing is done twice or lost."""

import re
import threading
from collections.abc import Callable, Iterator

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.models import Change, Part, PartMovement, Ticket, TicketMove
from app.services import shelf
from tests.conftest import Client, not_none
from tests.services.floor_rows import Rows

pytestmark = pytest.mark.both
ROUNDS = 4
NAMES = {1: "Imke Sand", 2: "Tadeo Birk"}  # owners of the demo shop
Post = Callable[[str, dict[str, str], dict[str, str]], dict[int, httpx.Response]]  # answers by person


@pytest.fixture
def post_both(app: FastAPI) -> Iterator[Post]:
    """Lets two people, each signed in at a screen of their own, post at once."""
    screens = {staff_id: Client(app).sign_in(initials) for staff_id, initials in ((1, "IS"), (2, "TB"))}

    def posted(url: str, *typed: dict[str, str]) -> dict[int, httpx.Response]:
        together = threading.Barrier(len(screens))
        answers: dict[int, httpx.Response] = {}

        def send(staff_id: int, form: dict[str, str]) -> None:
            together.wait(20)
            answers[staff_id] = screens[staff_id].post(url, form | {"who": str(staff_id)})

        threads = [threading.Thread(target=send, args=of) for of in zip(screens, typed, strict=True)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        return answers

    yield posted
    for screen in screens.values():
        screen.close()


def winner_of(answers: dict[int, httpx.Response]) -> int:
    """Whoever did it: the other was refused, and told that somebody was first."""
    assert sorted(answer.status_code for answer in answers.values()) == [303, 409]
    won, lost = sorted(answers, key=lambda staff_id: answers[staff_id].status_code)
    told = not_none(re.search(r'<p[^>]*role="alert">(.*?)</p>', answers[lost].text, re.S))[1]
    assert f"{NAMES[won]} changed" in told  # who was first
    return won


def ready_for(rows: Rows, state: str) -> tuple[int, dict[str, str]]:
    """A ticket in a state, and the version that both screens show."""
    made = rows.ticket(state=state)
    rows.session.commit()
    version = rows.session.get_one(Ticket, made).version
    rows.session.rollback()
    return made, {"version": str(version)}


def read(session: Session, ticket_id: int) -> tuple[Ticket, list[tuple[str, int]]]:
    """A ticket as it is saved, and its moves with who made each."""
    session.rollback()
    moves = session.execute(select(TicketMove.state, TicketMove.staff_id).where(TicketMove.ticket_id == ticket_id))
    return session.get_one(Ticket, ticket_id), [(state, staff_id) for state, staff_id in moves]


def test_one_of_two_takes_a_ticket(session: Session, who: str, post_both: Post) -> None:
    rows = Rows(session, who)
    for _ in range(ROUNDS):
        made, form = ready_for(rows, "ready")
        won = winner_of(post_both(f"/tickets/{made}/take", form, form))
        of, moves = read(session, made)
        assert (of.holder_id, of.state, moves) == (won, "on the bench", [("on the bench", won)])
        session.rollback()


def test_one_of_two_hands_a_ball_over(session: Session, who: str, post_both: Post) -> None:
    rows = Rows(session, who)
    for _ in range(ROUNDS):
        made, form = ready_for(rows, "done")
        forms = [form | {"handed_to": name} for name in ("Anna herself", "her brother")]
        answers = post_both(f"/tickets/{made}/hand-over", *forms)
        won = winner_of(answers)
        of, moves = read(session, made)
        assert of.handed_to == forms[sorted(answers).index(won)]["handed_to"]
        told = session.execute(select(Change.staff_id, Change.new).where(Change.noun == "ticket", Change.noun_id == made, Change.field == "handed_to")).all()  # fmt: skip
        assert told == [(won, of.handed_to)]
        assert moves == [("handed over", won)]
        session.rollback()


def test_one_of_two_counts_a_part(session: Session, post_both: Post) -> None:
    for number in range(ROUNDS):
        version = session.get_one(Part, 1).version
        before = session.scalar(select(func.count(PartMovement.id)).where(PartMovement.part_id == 1))
        session.rollback()
        counted = (str(20 + number), str(50 + number))
        forms = [{"version": str(version), "counted": count, "why": f"counted {count}"} for count in counted]
        won = winner_of(post_both("/parts/1/counts", *forms))
        newest = not_none(session.scalar(select(PartMovement).order_by(PartMovement.id.desc())))
        assert (newest.staff_id, newest.cause) == (won, "count")
        assert newest.why == f"counted {shelf.count_part(session, 1)}"
        assert (
            session.scalar(select(func.count(PartMovement.id)).where(PartMovement.part_id == 1)) == not_none(before) + 1
        )
        session.rollback()


def test_two_deliveries_at_once_are_both_counted(session: Session, post_both: Post) -> None:
    """They are no two answers to one question: nobody has to be told."""
    before = shelf.count_part(session, 1)
    session.rollback()
    for _ in range(ROUNDS):
        answers = post_both("/parts/1/deliveries", {"count": "2", "why": ""}, {"count": "3", "why": ""})
        assert {answer.status_code for answer in answers.values()} == {303}
    assert shelf.count_part(session, 1) == before + ROUNDS * 5
