"""Squads and events that balls have to be ready for."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, or_, select, true
from sqlalchemy.orm import Session

from app.db import load_one
from app.errors import InvalidError, NotFoundError
from app.models import Squad, now
from app.schemas.tickets import SquadForm
from app.services import changes

_READY_BEFORE = timedelta(minutes=30)
_KEPT_ON_LIST = timedelta(days=1)


def get_squad(session: Session, squad_id: int) -> Squad:
    found = load_one(session, Squad, squad_id)
    if found is None:
        raise NotFoundError("There is no such squad.")
    return found


def list_squads(session: Session, shop_id: int | None) -> Sequence[Squad]:
    """Returns a shop's squads to come and those that began within a day, the next first; of all shops for None."""
    soon = Squad.begins_at > now() - _KEPT_ON_LIST
    return session.scalars(select(Squad).where(soon, _is_of(shop_id)).order_by(Squad.begins_at, Squad.id)).all()


def list_past(session: Session, shop_id: int | None) -> Sequence[Squad]:
    past = Squad.begins_at <= now() - _KEPT_ON_LIST
    return session.scalars(select(Squad).where(past, _is_of(shop_id)).order_by(Squad.begins_at.desc()).limit(50)).all()


def _is_of(shop_id: int | None) -> ColumnElement[bool]:
    if shop_id is None:
        return true()
    return or_(Squad.made_by_shop_id == shop_id, Squad.made_by_shop_id.is_(None))


def find_for_ticket(session: Session, squad_id: int | None, shop_id: int | None) -> Squad | None:
    """Returns the squad that a ticket of this shop is put in; raises InvalidError for another shop's, or none."""
    if squad_id is None:
        return None
    squad = session.scalar(select(Squad).where(Squad.id == squad_id, _is_of(shop_id)))
    if squad is None:
        raise InvalidError.at("squad_id", "That is no squad of this shop. Choose one, or leave it open.")
    return squad


def add(session: Session, form: SquadForm) -> Squad:
    """Adds a squad; raises InvalidError for one that nobody could get a ball ready for."""
    if form.begins < now() - _KEPT_ON_LIST:
        raise InvalidError.at("begins", "That is past. Look at the year.")
    added = Squad(**_read_values(form))
    changes.add_record(session, form.who, added, added.label)
    return added


def edit(session: Session, squad_id: int, form: SquadForm) -> Squad:
    edited = get_squad(session, squad_id)
    changes.require_version(session, edited, form.version)
    changes.revise(session, form.who, edited, _read_values(form))
    session.flush()
    return edited


def _read_values(form: SquadForm) -> dict[str, object]:
    return {"label": form.label, "begins_at": form.begins, "is_tournament": form.is_tournament}


def promised_for(of: Squad) -> datetime:
    """The usual promise for a squad, half an hour before it begins."""
    return of.begins_at - _READY_BEFORE
