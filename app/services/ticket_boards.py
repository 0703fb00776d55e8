"""All open work of a shop and whom to ask after, in one query, and where each ticket stands on the board."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import ColumnElement, bindparam, exists, or_, select, union_all
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Drilling, Inner, Ticket
from app.prepared import AnyRow, Prepared
from app.queries import constant
from app.services.job_orders import Proposal, Work
from app.services.next_taps import Tap, name_tap
from app.services.ticket_reads import BOWLER_ID, IS_OPEN, SHOWN, show_rows
from app.services.ticket_stages import ShownTicket

MOST_FOLLOW_UPS = 50
_ticket, _ball, _inner, _bowler = (model.__table__ for model in (Ticket, Ball, Inner, Bowler))
_due = (
    select(_ticket.c.id)
    .outerjoin(_ball, _ball.c.id == _ticket.c.ball_id)
    .outerjoin(_inner, _inner.c.id == _ticket.c.inner_id)
    .join(_bowler, _bowler.c.id == BOWLER_ID)
    .where(
        _ticket.c.state == constant("handed over"),
        _ticket.c.outcome == constant(""),
        _ticket.c.follow_up_on <= bindparam("today"),
        _bowler.c.erased_at.is_(None),  # nobody is left to ask
    )
    .order_by(_ticket.c.follow_up_on, _ticket.c.id)
    .limit(constant(MOST_FOLLOW_UPS))
)
HAS_WORK = exists().where(IS_OPEN) | exists(_due)  # of any shop: where nobody takes balls in, nothing more is asked
_is_ours = or_(_ticket.c.made_by_shop_id == bindparam("shop_id"), _ticket.c.made_by_shop_id.is_(None))


def _prepare(*of_shop: ColumnElement[bool]) -> Prepared[AnyRow]:
    """Open work and what is to be asked after, in one query; each part finds its tickets by an index of its own."""
    due = _due.where(*of_shop).subquery()
    chosen = union_all(select(_ticket.c.id).where(IS_OPEN, *of_shop), select(due.c.id))
    added = (_ticket.c.taken_at, Drilling.__table__.c.version.label("drilling_version"))
    return Prepared(SHOWN.add_columns(*added).where(_ticket.c.id.in_(chosen)))


_WORK, _WORK_HERE = _prepare(), _prepare(_is_ours)


def day_of(at: datetime) -> date:
    """Returns the day by this machine's clock, up to which is followed up."""
    return at.astimezone().date()


def list_work(session: Session, shop_id: int | None, at: datetime) -> Work:
    """Returns the open work of a shop, of all shops for None, and whom to ask after that day, in one query."""
    own = {} if shop_id is None else {"shop_id": shop_id}
    rows = (_WORK_HERE if own else _WORK).fetch(session, today=day_of(at), **own)
    shown = list(zip(rows, show_rows(rows, at), strict=True))
    opened = [(row, of) for row, of in shown if row.state != "handed over"]
    return Work(
        [of for _, of in opened],
        {row.drilling_id: row.drilling_version for row, _ in opened if row.drilling_id},
        {row.id: row.taken_at for row, _ in opened if row.taken_at},
        sorted((of for row, of in shown if row.state == "handed over"), key=lambda of: (of.follow_up_on, of.id)),
    )


@dataclass(frozen=True)
class Line:
    """One ticket on the board; `place` is that in the proposed order, 0 without one, `set_up` what the press needs.

    `ends_at` is when it would be done in that order; with `is_new_set_up` the press is changed for it.
    """

    of: ShownTicket
    tap: Tap | None
    is_late: bool = False
    place: int = 0
    set_up: str = ""
    ends_at: datetime | None = None
    is_new_set_up: bool = False

    @property
    def will_be_late(self) -> bool:
        """Whether its promise will be broken in the proposed order: a bowler to be told in time."""
        promised = self.of.promised_at
        return not self.is_late and promised is not None and self.ends_at is not None and self.ends_at > promised

    @property
    def is_blocked(self) -> bool:
        """Whether somebody has to decide or find something before the work goes on."""
        wait = self.of.stage.wait
        has_stop = self.of.drilling is not None and self.of.drilling.has_stop
        return self.of.is_mixed_up or has_stop or (wait is not None and wait.kind != "glue")


@dataclass
class Board:
    """Each open ticket once, in the column of its stage."""

    mixed_up: list[Line] = field(default_factory=list)  # they stand in their columns too
    taken_in: list[Line] = field(default_factory=list)
    to_do: list[Line] = field(default_factory=list)  # in the proposed order
    in_hand: list[Line] = field(default_factory=list)
    waiting: list[Line] = field(default_factory=list)  # what blocks first, then glue by when it is cured
    done: list[Line] = field(default_factory=list)

    @property
    def late_elsewhere(self) -> list[Line]:
        """Those late that the proposed order does not count: in hand, waiting for somebody, not racked yet."""
        return [line for line in self.late if not line.place]

    @property
    def late(self) -> list[Line]:
        """Those whose promise has passed and that are not done."""
        return [line for line in (*self.taken_in, *self.to_do, *self.in_hand, *self.waiting) if line.is_late]

    @property
    def questions(self) -> list[Line]:
        """What the counter can answer: something is asked, of the bowler or of a colleague."""
        asked = ("bowler", "question")
        return [line for line in self.waiting if line.of.stage.wait and line.of.stage.wait.kind in asked]


def sort_board(tickets: Sequence[ShownTicket], proposal: Proposal | None, role: str, at: datetime) -> Board:
    """Puts tickets into the columns of their stages, what is to do in the order proposed."""
    board = Board()
    order = proposal.ticket_ids if proposal else ()
    for of in tickets:
        line = _make_line(of, proposal, role, at)
        _column_of(board, of).append(line)
        if of.is_mixed_up:
            board.mixed_up.append(line)
    board.to_do.sort(key=lambda line: line.place or len(order) + 1)
    board.waiting.sort(key=lambda line: (not line.is_blocked, _cured_at(line), line.of.id))
    return board


def _make_line(of: ShownTicket, proposal: Proposal | None, role: str, at: datetime) -> Line:
    is_late = of.promised_at is not None and of.promised_at < at and of.stage.name != "done"
    if proposal is None:
        return Line(of, name_tap(of, role), is_late)
    place = proposal.ticket_ids.index(of.id) if of.id in proposal.ends else -1
    return Line(
        of,
        name_tap(of, role),
        is_late,
        place + 1,
        proposal.set_ups.get(of.id, ""),
        proposal.ends.get(of.id),
        is_new_set_up=of.id in proposal.changed,
    )


def _column_of(board: Board, of: ShownTicket) -> list[Line]:
    if of.stage.name == "taken in":
        return board.taken_in
    if of.stage.name == "waiting":
        return board.waiting
    if of.stage.name == "done":
        return board.done
    return board.in_hand if of.holder_id else board.to_do


def _cured_at(line: Line) -> float:
    wait = line.of.stage.wait
    return wait.until.timestamp() if wait and wait.until else 0.0


def pick_next(board: Board, staff_id: int, is_counter: bool, follow_ups: Sequence[Line]) -> Line | None:
    """Returns the one ticket to turn to: for the counter what stands nearest to the bowler, else what one holds.

    Then the first of the order that nobody has, or, where nothing is to do at the press, what is to be handed over.
    """
    if is_counter:
        columns: tuple[Sequence[Line], ...] = (board.done, board.questions, board.taken_in, follow_ups)
    else:
        mine = [line for line in board.in_hand if line.of.holder_id == staff_id]
        columns = (mine, board.to_do, board.taken_in, board.done, follow_ups)
    return next((line for column in columns for line in column if line.tap and line.tap.method), None)
