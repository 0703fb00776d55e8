"""Reads tickets with what is known of their ball, bowler and drilling: one Core query for any number of them.

The statement is built once, because the ORM doubles the cost of a small query, and a board reads all open work.
"""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import ColumnElement, Executable, and_, false, func, select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, NotFoundError
from app.models import (
    Ball,
    BallCheck,
    BenchStop,
    Bowler,
    Drilling,
    DrillingStep,
    Fit,
    Inner,
    Shop,
    Squad,
    Staff,
    Ticket,
    TicketWait,
    now,
)
from app.prepared import AnyRow
from app.queries import constant
from app.services import changes, shops
from app.services.floor import FloorNow
from app.services.ticket_stages import ENDED, LIVE_DRILLINGS, OPEN, DrillingPart, ShownTicket, WaitPart, read_stage

_tables = (Ticket, Ball, Inner, Bowler, Squad, Drilling, DrillingStep, BenchStop, TicketWait, BallCheck, Fit, Staff)
_ticket, _ball, _inner, _bowler, _squad, _drilling, _step, _stop, _wait, _check, _fit, _staff = (
    model.__table__ for model in _tables
)
_in_ball = _drilling.alias()
IS_OPEN = _ticket.c.state.in_(map(constant, OPEN))
BOWLER_ID = func.coalesce(_ball.c.bowler_id, _inner.c.bowler_id)


def _count_steps(*more: ColumnElement[bool]) -> ColumnElement[int]:
    return select(func.count()).where(_step.c.drilling_id == _drilling.c.id, *more).scalar_subquery()


def _find_fit(state: str) -> ColumnElement[int]:
    """The newest fit in this state of the bowler's hand on the record."""
    own = (_fit.c.bowler_id == _bowler.c.id, _fit.c.state == constant(state))
    return select(func.max(_fit.c.id)).where(*own, _fit.c.hand == _bowler.c.hand).scalar_subquery()


def _find_newest_check(column: str, *more: ColumnElement[bool]) -> ColumnElement[object]:
    own = select(_check.c[column]).where(_check.c.ticket_id == _ticket.c.id, *more)
    return own.order_by(_check.c.id.desc()).limit(constant(1)).scalar_subquery()


_CHANGES_PLACE = (_check.c.is_match, _check.c.moment.in_(map(constant, ("take", "rack"))))
_cut = select(func.max(_in_ball.c.id)).where(
    _in_ball.c.ball_id == _ticket.c.ball_id, _in_ball.c.state.in_(map(constant, ("drilled", "closed")))
)
_COPIED = (
    *("id", "version", "what", "state", "ball_id", "inner_id", "words", "symptom", "wishes", "promised_at", "priority"),
    *("priority_reason", "price", "squad_id", "holder_id", "handed_to", "handed_over_at", "follow_up_on", "outcome"),
    *("redo_of_id", "created_at", "made_by_shop_id"),
)
SHOWN = (
    select(
        *(_ticket.c[name] for name in _COPIED),
        func.coalesce(_ball.c.label, _inner.c.label).label("label"),
        func.coalesce(_ball.c.serial, constant("")).label("serial"),
        _bowler.c.id.label("bowler_id"),
        _bowler.c.name.label("bowler_name"),
        _squad.c.label.label("squad_label"),
        _squad.c.begins_at.label("squad_begins_at"),
        func.coalesce(_squad.c.is_tournament, false()).label("is_tournament"),
        _staff.c.initials.label("holder_initials"),
        _drilling.c.id.label("drilling_id"),
        _drilling.c.state.label("drilling_state"),
        _count_steps().label("steps"),
        _count_steps(_step.c.ticked_at.is_not(None)).label("steps_done"),
        select(func.count())
        .where(_stop.c.drilling_id == _drilling.c.id, _stop.c.decided_at.is_(None))
        .scalar_subquery()
        .label("stops"),
        _wait.c.id.label("wait_id"),
        _wait.c.kind.label("wait_kind"),
        _wait.c.why.label("wait_why"),
        _wait.c.until.label("wait_until"),
        _cut.scalar_subquery().label("current_drilling_id"),
        _find_fit("in force").label("fit_id"),
        _find_fit("draft").label("draft_id"),
        _find_newest_check("is_match").label("newest_check"),
        _find_newest_check("moment", *_CHANGES_PLACE).label("last_place"),
    )
    .select_from(_ticket)
    .outerjoin(_ball, _ball.c.id == _ticket.c.ball_id)
    .outerjoin(_inner, _inner.c.id == _ticket.c.inner_id)
    .join(_bowler, _bowler.c.id == BOWLER_ID)
    .outerjoin(_squad, _squad.c.id == _ticket.c.squad_id)
    .outerjoin(_staff, _staff.c.id == _ticket.c.holder_id)
    .outerjoin(
        _drilling, and_(_drilling.c.id == _ticket.c.drilling_id, _drilling.c.state.in_(map(constant, LIVE_DRILLINGS)))
    )
    .outerjoin(_wait, and_(_wait.c.ticket_id == _ticket.c.id, _wait.c.ended_at.is_(None)))
    .order_by(_ticket.c.promised_at.is_(None), _ticket.c.promised_at, _ticket.c.id)
)


def show_rows(rows: Sequence[AnyRow], at: datetime) -> list[ShownTicket]:
    """Builds shown tickets from rows of `SHOWN`, each in its stage at a moment."""
    return [_show(row, at) for row in rows]


def _show(row: AnyRow, at: datetime) -> ShownTicket:
    drilling = wait = None
    if row.drilling_id:
        drilling = DrillingPart(row.drilling_state, row.steps_done, row.steps, bool(row.stops))
    if row.wait_id:
        wait = WaitPart(row.wait_id, row.wait_kind, row.wait_why, row.wait_until)
    return ShownTicket(
        **{name: getattr(row, name) for name in _COPIED},
        stage=read_stage(row.state, drilling, wait, at),
        label=row.label,
        serial=row.serial,
        bowler_id=row.bowler_id,
        bowler_name=row.bowler_name,
        squad_label=row.squad_label or "",
        squad_begins_at=row.squad_begins_at,
        is_tournament=bool(row.is_tournament),
        holder_initials=row.holder_initials or "",
        drilling_id=row.drilling_id,
        drilling=drilling,
        current_drilling_id=row.current_drilling_id,
        fit_id=row.fit_id,
        draft_id=row.draft_id,
        is_mixed_up=row.newest_check is not None and not row.newest_check,
        is_to_ask=_is_to_ask(row, at),
        is_taken_by_tag=row.last_place == "take",
        is_checked=bool(row.newest_check),
    )


def _is_to_ask(row: AnyRow, at: datetime) -> bool:
    due: date | None = row.follow_up_on
    return row.state == "handed over" and due is not None and due <= at.astimezone().date()


def list_shown(session: Session, chosen: Executable, at: datetime | None = None) -> list[ShownTicket]:
    """Returns the tickets of `SHOWN` with further conditions, by promise."""
    return show_rows(session.execute(chosen).all(), at or now())


def get_shown(session: Session, ticket_id: int) -> ShownTicket:
    """Returns one ticket as shown; raises NotFoundError."""
    found = list_shown(session, SHOWN.where(_ticket.c.id == ticket_id))
    if not found:
        raise NotFoundError("There is no such ticket.")
    return found[0]


def list_of_bowler(session: Session, bowler_id: int) -> list[ShownTicket]:
    """Returns the open work on this bowler's balls and inners, by promise."""
    return list_shown(session, SHOWN.where(IS_OPEN, _bowler.c.id == bowler_id))


def list_of_thing(session: Session, thing: Ball | Inner) -> list[ShownTicket]:
    """Returns every ticket of a ball or an inner, the open ones first."""
    column = _ticket.c.ball_id if isinstance(thing, Ball) else _ticket.c.inner_id
    found = list_shown(session, SHOWN.where(column == thing.id))
    return sorted(found, key=lambda of: (of.stage.name in ENDED, -of.id))


def list_of_squad(session: Session, squad_id: int) -> list[ShownTicket]:
    """Returns the tickets of a squad but those called off, by promise."""
    return list_shown(session, SHOWN.where(_ticket.c.squad_id == squad_id, _ticket.c.state != "called off"))


def list_redone(session: Session, ticket_id: int) -> list[ShownTicket]:
    """Returns the tickets that do the work of this one again."""
    return list_shown(session, SHOWN.where(_ticket.c.redo_of_id == ticket_id))


def find_of_drilling(session: Session, drilling_id: int) -> ShownTicket | None:
    """Returns the newest ticket that this drilling is for, unless it was called off."""
    own = SHOWN.where(_ticket.c.drilling_id == drilling_id, _ticket.c.state != "called off")
    found = list_shown(session, own)
    return max(found, key=lambda of: of.id) if found else None


def find_called_off(session: Session, drilling_id: int) -> int | None:
    """Returns the newest ticket that this drilling was for and that was called off."""
    own = (Ticket.drilling_id == drilling_id, Ticket.state == "called off")
    return session.scalar(select(Ticket.id).where(*own).order_by(Ticket.id.desc()).limit(1))


_LOADED = (
    joinedload(Ticket.ball).joinedload(Ball.bowler),
    joinedload(Ticket.inner).joinedload(Inner.bowler),
    joinedload(Ticket.squad),
    joinedload(Ticket.staff),
    joinedload(Ticket.holder),
)


def get_ticket(session: Session, ticket_id: int) -> Ticket:
    """Returns a ticket to be written, with its ball or inner and their bowler; raises NotFoundError."""
    found = load_one(session, Ticket, ticket_id, *_LOADED)
    if found is None:
        raise NotFoundError("There is no such ticket.")
    return found


def get_for_change(session: Session, ticket_id: int, version: int) -> Ticket:
    """Returns a ticket of the version that a form showed; raises NotFoundError or ConflictError."""
    found = get_ticket(session, ticket_id)
    if found.version != version:
        raise ConflictError(_tell_changed(session, found))
    return found


def _tell_changed(session: Session, of: Ticket) -> str:
    """Where a ticket is that somebody moved meanwhile: most taps on it have nothing typed that could be compared."""
    shown = get_shown(session, of.id)
    latest = next(iter(changes.list_record_lines(session, of)), None)
    who = latest.name if latest and latest.name else "Somebody"
    held = f", and {shown.holder_initials} has it" if shown.holder_initials and shown.stage.name not in ENDED else ""
    return (
        f"{who} changed ticket {of.id} meanwhile: it is {shown.stage.name}{held}. Nothing was saved; look, then go on."
    )


def thing_of(of: Ticket) -> Ball | Inner:
    thing = of.ball or of.inner
    assert thing is not None  # one of the two is set
    return thing


def bowler_of(of: Ticket) -> Bowler:
    """The bowler whose ball or inner it is: that of the record, never kept with the ticket."""
    return thing_of(of).bowler


def describe_message(session: Session, of: ShownTicket, floor: FloorNow, promised: str) -> str:
    """Returns the shop's words with the four in braces replaced; other braces stay as typed."""
    shop = session.get(Shop, of.made_by_shop_id) if of.made_by_shop_id else shops.get_our_shop(session)
    known = {
        "{name}": of.bowler_name,
        "{ball}": of.label,
        "{promised}": promised,
        "{shop}": shop.name if shop else "the shop",
    }
    told = floor.usual_words
    for word, value in known.items():
        told = told.replace(word, value)
    return told
