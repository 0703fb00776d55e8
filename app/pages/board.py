"""The board: all open work, who has what, what is blocked, and in which order it is proposed; and its list on paper."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import Response

from app.access import COUNTER
from app.models import now
from app.pages.admission import PageDep, PageRouter
from app.pages.prints import answer_print
from app.pages.render import Page
from app.pages.ticket_views import role_of
from app.services import floor, job_orders, set_ups, ticket_boards
from app.services.floor import FloorNow
from app.services.job_orders import Proposal, Work
from app.services.next_taps import name_tap
from app.services.ticket_boards import Board, Line

router = PageRouter()


@dataclass(frozen=True)
class BoardView:
    """What a board shows; `proposal` and `floor` are None where no order is asked for, or nothing is open."""

    at: datetime
    lines: Board
    follow_ups: list[Line]
    next_line: Line | None
    ticketed: frozenset[int]  # drillings that stand on it
    proposal: Proposal | None
    floor: FloorNow | None


def load_board(page: Page, with_order: bool = True, has_work: bool = True) -> BoardView:
    """Returns the open work of the shop of whoever looks, with the one next job of their role.

    Nothing is asked where it is known that there is no work in any shop.
    """
    at, me, role = now(), page.me(), role_of(page)
    work = ticket_boards.list_work(page.session, me.shop_id, at) if has_work else Work()
    proposal = numbers = None
    if with_order and work.tickets:
        numbers = floor.get_floor(page.session)
        proposal = job_orders.propose(work, set_ups.find(page.session, work.versions.items()), numbers, at)
    follow_ups = [Line(of, name_tap(of, role)) for of in work.due]
    lines = ticket_boards.sort_board(work.tickets, proposal, role, at)
    return BoardView(
        at=at,
        lines=lines,
        follow_ups=follow_ups,
        next_line=ticket_boards.pick_next(lines, me.staff_id, role == COUNTER, follow_ups),
        ticketed=frozenset(work.versions),
        proposal=proposal,
        floor=numbers,
    )


@router.get("/board")
def show_board(page: PageDep, wall: bool = False) -> Response:
    """With `wall` for a screen that hangs: larger, and nothing on it to press."""
    return page.show("board.html", "board" if page.is_fragment else "", wall=wall, **vars(load_board(page)))


def _render_paper(page: Page, is_pdf: bool) -> Response:
    view = load_board(page)
    of_board = view.lines
    columns = (of_board.taken_in, of_board.to_do, of_board.in_hand, of_board.waiting, of_board.done)
    listed = sorted((line for column in columns for line in column), key=_by_promise)
    return answer_print(page, "prints/board.html", "board", is_pdf, listed=listed, **vars(view))


def _by_promise(line: Line) -> tuple[bool, float, int]:
    promised = line.of.promised_at
    return promised is None, promised.timestamp() if promised else 0.0, line.of.id


@router.get("/board/paper")
def show_paper(page: PageDep) -> Response:
    """What is to be printed at opening, for the day on which the power fails."""
    return _render_paper(page, is_pdf=False)


@router.get("/board/paper.pdf")
def download_paper(page: PageDep) -> Response:
    return _render_paper(page, is_pdf=True)
