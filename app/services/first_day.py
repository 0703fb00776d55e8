"""The first day of a shop: what leads it to its first drilling, each line ticked from the records.

The list is shown until a drilling is closed, or until an owner puts it away for the shop.
"""

from dataclasses import dataclass

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError
from app.models import Bowler, DepthObservation, Drilling, Fit, InsertSystem, Rule, Shop, Staff
from app.queries import constant
from app.schemas.forms import SignedForm
from app.services import accounts, changes

AWAY = "first_day_away"


@dataclass(frozen=True)
class Line:
    """One thing to do on the first day, and whether the records show that it was done."""

    words: str
    why: str
    href: str
    does: str
    is_done: bool


_ours = select(Shop.id).where(Shop.is_ours).order_by(Shop.id).limit(constant(1)).scalar_subquery()
_second = select(Staff.id).where(Staff.is_active).order_by(Staff.id).offset(constant(1)).limit(constant(1))
_of_fit = Drilling.fit_id.is_not(None)
_bowlers = select(func.max(Bowler.id)).where(Bowler.removed_at.is_(None))
_planned = select(func.max(Drilling.id)).where(Drilling.state == constant("planned"), _of_fit)
IS_OVER = exists().where(Drilling.state.in_((constant("drilled"), constant("closed"))), _of_fit) | exists().where(
    Rule.name == constant(AWAY), Rule.value > constant(0)
)
_DONE = select(
    IS_OVER,
    _ours,
    _bowlers.scalar_subquery(),
    _planned.scalar_subquery(),
    exists().where(InsertSystem.id > constant(0)),
    exists().where(DepthObservation.shop_id == _ours),
    exists(_second),
    exists().where(Bowler.removed_at.is_(None)),
    exists().where(Fit.state == constant("in force")),
    exists().where(Drilling.id > constant(0)),
)


def list_lines(session: Session) -> list[Line]:
    """Returns the lines of the first day; none once a ball was drilled or the list was put away."""
    is_over, shop_id, bowler_id, planned_id, *done = session.execute(_DONE).one()
    return [] if is_over or shop_id is None else _describe(shop_id, bowler_id, planned_id, [*done, False])


def _describe(shop_id: int, bowler_id: int | None, planned_id: int | None, done: list[bool]) -> list[Line]:
    """The lines in their order; the last is never done, since the first drilled ball ends the list."""
    bowler = f"/bowlers/{bowler_id}" if bowler_id else "/bowlers/new"
    strips = f"/drillings/{planned_id}/strips" if planned_id else bowler
    lines = (
        ("Hardware", "The sleeves and inners that you glue in.", "/systems/new", "Add the first"),
        (
            "Collar depth",
            "How deep you bore, and from where: nobody asks again.",
            f"/shops/{shop_id}#depth",
            "Say how deep",
        ),
        ("People", "Colleagues act by their initials and a PIN.", "/people", "Add somebody"),
        ("First bowler", "A name and the hand; a phone tells namesakes apart.", "/bowlers/new", "Take somebody in"),
        ("First fit", "Type it as on your paper card.", f"{bowler}/fits/new" if bowler_id else bowler, "Write it down"),
        ("First plan", "Every dimension, checked before anything is cut.", bowler, "Plan a ball"),
        ("Print test, then drill", "Printers shrink: measure the bar on the strips first.", strips, "Print the strips"),
    )
    return [Line(*words, is_done) for words, is_done in zip(lines, done, strict=True)]


def put_away(session: Session, form: SignedForm) -> None:
    """Puts the list away for the whole shop; raises ConflictError if that was done already."""
    if session.get(Rule, AWAY):
        raise ConflictError("The list was put away already.")
    session.add(Rule(name=AWAY, value=1))
    entry = changes.Entry("first-day list", "shown", "put away")
    changes.note(session, form.who, accounts.get_person(session, form.who), entry)
