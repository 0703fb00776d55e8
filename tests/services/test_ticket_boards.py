"""The board: every open ticket once, in its column; who is offered what next; one query however much is open."""

from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.access import COUNTER, DRILLER
from app.models import BallCheck, Shop, Ticket
from app.services import floor, job_orders
from app.services.next_taps import Tap
from app.services.ticket_boards import Board, Line, list_work, pick_next, sort_board
from app.services.ticket_reads import list_of_bowler
from tests.conftest import CountQueries
from tests.services.floor_rows import Rows


@pytest.fixture
def rows(session: Session, who: str) -> Rows:
    return Rows(session, who)


def sort(rows: Rows, role: str = DRILLER) -> Board:
    work = list_work(rows.session, None, rows.at)
    proposal = job_orders.propose(work, {}, floor.get_floor(rows.session), rows.at)
    return sort_board(work.tickets, proposal, role, rows.at)


def ids(lines: list[Line]) -> list[int]:
    return [line.of.id for line in lines]


def test_each_open_ticket_stands_in_one_column(rows: Rows) -> None:
    taken_in = rows.ticket(state="taken in")
    later, sooner = rows.ticket(due=100), rows.ticket(due=50)
    mine = rows.ticket(state="on the bench", holder_id=rows.who)
    glued, asked = rows.ticket(what="insert"), rows.ticket(what="check")
    rows.wait(glued, "glue", 20)
    rows.wait(asked, "question", why="which span")
    done = rows.ticket(state="done", due=-10)
    for state in ("handed over", "followed up", "called off"):
        rows.ticket(state=state)
    board = sort(rows)
    assert ids(board.taken_in) == [taken_in]
    assert ids(board.to_do) == [sooner, later]
    assert ids(board.in_hand) == [mine]
    assert ids(board.waiting) == [asked, glued]  # what somebody has to answer stands first
    assert ids(board.questions) == [asked]
    assert ids(board.done) == [done]
    assert board.late == []  # what is done in time waits for its bowler


def test_glue_that_has_cured_is_to_do_again(rows: Rows) -> None:
    glued = rows.ticket()
    rows.wait(glued, "glue", 20)
    rows.at += timedelta(minutes=20)
    assert ids(sort(rows).to_do) == [glued]


def test_what_is_late_and_what_will_be(rows: Rows) -> None:
    late, tight, fine = rows.ticket(due=-1), rows.ticket(due=11), rows.ticket(due=500)
    found = {line.of.id: line for line in sort(rows).to_do}
    assert [found[of].place for of in (tight, late, fine)] == [1, 2, 3]  # the one promise that can be kept comes first
    assert [found[of].is_late for of in (tight, late, fine)] == [False, True, False]
    assert [line.of.id for line in sort(rows).late] == [late]
    held = rows.ticket(state="on the bench", holder_id=rows.who, due=-5)
    assert ids(sort(rows).late_elsewhere) == [held]  # the order does not count it
    rows.session.delete(rows.session.get_one(Ticket, held))
    tighter = rows.ticket(due=12)  # ten minutes each: one of the two has to wait
    assert [line.of.id for line in sort(rows).to_do if line.will_be_late] == [tighter]


def test_a_job_that_ends_at_the_minute_of_its_promise_keeps_it(rows: Rows) -> None:
    """As the order counts it, and quality afterwards: done by the promised time, that minute included."""
    rows.at = rows.at.replace(second=0, microsecond=0)
    of = rows.ticket(what="sand", due=10)  # sanding takes ten minutes
    line = sort(rows).to_do[0]
    assert line.ends_at == line.of.promised_at
    assert (line.will_be_late, line.is_late) == (False, False)
    rows.at += timedelta(minutes=1)
    assert [(line.will_be_late, line.is_late) for line in sort(rows).to_do] == [(True, False)]
    rows.set_state(of, "taken in")
    rows.at += timedelta(minutes=9)
    assert ids(sort(rows).late) == []  # it may be handed over in that minute
    rows.at += timedelta(seconds=1)
    assert ids(sort(rows).late) == [of]


def test_a_mixed_up_ball_stands_above_all(rows: Rows) -> None:
    of = rows.ticket(state="done")
    rows.session.add(BallCheck(ticket_id=of, ball_id=2, moment="handover", is_match=False, staff_id=rows.who))
    rows.session.flush()
    assert ids(sort(rows).mixed_up) == ids(sort(rows).done) == [of]
    rows.session.add(BallCheck(ticket_id=of, ball_id=1, moment="handover", is_match=True, staff_id=rows.who))
    rows.session.flush()
    assert sort(rows).mixed_up == []


def test_next_for_the_counter_is_what_stands_nearest_to_the_bowler(rows: Rows) -> None:
    columns = [
        rows.ticket(state="done"),
        rows.ticket(state="ready"),
        rows.ticket(state="taken in"),
    ]
    rows.wait(columns[1], "bowler", why="which insert")
    ended = {columns[0]: "handed over", columns[1]: "called off"}
    for expected in columns:
        found = pick_next(sort(rows, COUNTER), rows.who, True, [])
        assert found is not None and found.of.id == expected
        if expected in ended:
            rows.set_state(expected, ended[expected])
    rows.ticket(state="ready")
    rows.set_state(columns[2], "ready")
    assert pick_next(sort(rows, COUNTER), rows.who, True, []) is None  # the counter takes nothing to the bench


def test_next_for_a_driller_is_what_one_holds_and_then_the_first_of_the_order(rows: Rows) -> None:
    rows.ticket(state="done")
    later, sooner = rows.ticket(due=100), rows.ticket(due=50)
    found = pick_next(sort(rows), rows.who, False, [])
    assert found is not None and found.of.id == sooner
    other = rows.ticket(state="on the bench", holder_id=1 if rows.who != 1 else 2)
    found = pick_next(sort(rows), rows.who, False, [])
    assert found is not None and found.of.id == sooner != other
    mine = rows.ticket(state="on the bench", holder_id=rows.who, due=900)
    found = pick_next(sort(rows), rows.who, False, [])
    assert found is not None and found.of.id == mine
    assert isinstance(found.tap, Tap) and found.tap.method == "POST"
    assert later in ids(sort(rows).to_do)


def test_a_shop_sees_its_own_work_and_an_owner_of_none_sees_all(rows: Rows) -> None:
    other = Shop(name="Second Lane", town="", is_ours=True)
    rows.session.add(other)
    rows.session.flush()
    ours, theirs = rows.ticket(made_by_shop_id=1), rows.ticket(made_by_shop_id=other.id)
    assert [of.id for of in list_work(rows.session, 1, rows.at).tickets] == [ours]
    assert [of.id for of in list_work(rows.session, other.id, rows.at).tickets] == [theirs]
    assert [of.id for of in list_work(rows.session, None, rows.at).tickets] == [ours, theirs]


def test_whom_to_ask_after_by_the_day(rows: Rows) -> None:
    today = rows.at.astimezone().date()
    days = [today - timedelta(days=1), today - timedelta(days=3), today + timedelta(days=1), today]
    made = [rows.ticket(state="handed over", follow_up_on=day) for day in days]
    rows.ticket(state="handed over", follow_up_on=today, outcome="fine")
    rows.ticket(state="followed up", follow_up_on=today)
    open_still = rows.ticket(state="done", follow_up_on=today)
    work = list_work(rows.session, None, rows.at)
    assert [of.id for of in work.due] == [made[1], made[0], made[3]]
    assert [of.id for of in work.tickets] == [open_still]


@pytest.mark.parametrize("count", [1, 40])
def test_all_open_work_is_one_query(rows: Rows, count_queries: CountQueries, count: int) -> None:
    for number in range(count):
        rows.ticket(ball_id=1 + number % 3, due=number)
    assert count_queries(lambda: list_work(rows.session, 1, rows.at)) == 1
    assert len(list_work(rows.session, None, rows.at).tickets) == count


@pytest.mark.once
def test_open_work_is_found_by_its_state_and_not_among_all_tickets_ever(rows: Rows) -> None:
    """SQLite's own plan is the outside check: an index finds the few open ones, however many there were."""
    seen: list[tuple[str, object]] = []
    bind = rows.session.get_bind()
    event.listen(bind, "before_cursor_execute", lambda *told: seen.append((told[2], told[3])))
    list_work(rows.session, None, rows.at)
    list_of_bowler(rows.session, 1)
    read = [told for told in seen if "FROM ticket" in told[0]]
    assert len(read) == 2
    for statement, values in read:
        plan = rows.session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values).all()  # type: ignore[arg-type]
        assert "SEARCH ticket USING INDEX ix_ticket_state (state=?)" in [step[-1] for step in plan]
