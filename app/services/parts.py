"""Kinds of parts on the shelf: their records, and those that come and go with their hardware."""

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import DrillingStep, InsertSystem, Part, PartMovement, now
from app.schemas.forms import typed_texts
from app.schemas.parts import PartForm
from app.services import changes, shelf


def add(session: Session, form: PartForm) -> Part:
    """Adds a part, of which none is counted yet; raises InvalidError."""
    _check(session, form, None)
    added = Part(**_read_values(form), retired_at=now() if form.is_retired else None)
    changes.add_record(session, form.who, added, shelf.name_part(added))
    shelf.carry_to_system(session, form.who, shelf.find_stocked(added), "a size that is counted now")
    return added


def edit(session: Session, part_id: int, form: PartForm) -> Part:
    """Changes a part; raises ConflictError, and InvalidError for another kind once some were used."""
    edited = shelf.get_part(session, part_id)
    changes.require_version(session, edited, form.version)
    _check(session, form, edited.id)
    values = _read_values(form)
    own = {"kind", "system_id", "size_in"}
    if {name: values[name] for name in own} != {name: getattr(edited, name) for name in own}:
        used = (PartMovement.part_id == edited.id, PartMovement.drilling_id.is_not(None))
        if session.scalar(select(PartMovement.id).where(*used).limit(1)):
            raise InvalidError.at("kind", "Drillings used this part: kind, hardware and size stay. Add a new part.")
    stocked = {shelf.find_stocked(edited)}
    retired_at: datetime | None = (edited.retired_at or now()) if form.is_retired else None
    changes.revise(session, form.who, edited, values | {"retired_at": retired_at})
    session.flush()
    for system_id in sorted(filter(None, stocked | {shelf.find_stocked(edited)})):
        shelf.carry_to_system(session, form.who, system_id, f"{edited.label} was changed")
    return edited


def _read_values(form: PartForm) -> dict[str, object]:
    return {
        "kind": form.kind,
        "system_id": form.system_id if form.digit else None,
        "label": form.label,
        "size_in": form.size.value,
        "lot": form.lot,
        "colour": form.colour,
        "least": form.least or 0,
        "cure_minutes": form.cure_minutes,
        "outside_low_in": form.outside_low.value,
        "outside_high_in": form.outside_high.value,
        "typed": typed_texts(form),
    }


def _check(session: Session, form: PartForm, own_id: int | None) -> None:
    """Raises InvalidError for hardware that has no such part, and for a part that is on the shelf already."""
    if form.digit:
        system = session.get(InsertSystem, form.system_id)
        if system is None or system.digit != form.digit:
            raise InvalidError.at("system_id", f"Choose hardware for the {form.digit}.")
    values = _read_values(form)
    same = ("kind", "system_id", "size_in", "lot", "colour", "label")
    query = select(Part.id).where(*(getattr(Part, name) == values[name] for name in same))
    if session.scalar(query.where(Part.id != (own_id or 0)).limit(1)):
        raise InvalidError.at("lot", "There is such a part of this lot and colour already: count it there.")


def open_stock(session: Session, who: int, system: InsertSystem, counts: Mapping[str, tuple[Fraction, int]]) -> None:
    """Makes the parts of new hardware's inners, by size in words, with the first count of each, as its stock says."""
    for text, (size_in, counted) in counts.items():
        part = Part(kind="inner", system_id=system.id, label="Inner", size_in=size_in, typed={"size": text})
        changes.add_record(session, who, part, f"{shelf.name_part(part)}, {system.label}")
        if counted:
            shelf.add_movement(
                session, who, part, PartMovement(count=counted, cause="count", why="counted at the start")
            )


def is_used(session: Session, system_id: int) -> bool:
    """Whether parts of this hardware were ever delivered, put in or used; the first count alone is no use."""
    moved = select(PartMovement.id).join(Part).where(Part.system_id == system_id, PartMovement.cause != "count")
    put_in = select(DrillingStep.id).join(Part, Part.id == DrillingStep.part_id).where(Part.system_id == system_id)
    return session.scalar(moved.limit(1)) is not None or session.scalar(put_in.limit(1)) is not None


def forget(session: Session, system_id: int) -> None:
    """Removes the parts of hardware that was never used, with their counts."""
    parts = select(Part.id).where(Part.system_id == system_id)
    session.execute(delete(PartMovement).where(PartMovement.part_id.in_(parts)))
    session.execute(delete(Part).where(Part.system_id == system_id))
