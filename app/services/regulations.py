"""Regulations: dated data that owners type or import. One is never edited, so that an old verdict stays explained.

A mistake is ended on the day it began, and typed anew.
"""

import json
from collections.abc import Sequence
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Regulation
from app.schemas.forms import SignedForm
from app.schemas.regulations import EndingForm, ImportForm, RegulationBody, RegulationFile, RegulationForm
from app.services import changes
from app.services.example_regulation import EXAMPLE

_STAFF = joinedload(Regulation.staff)


def get_regulation(session: Session, regulation_id: int) -> Regulation:
    """Returns a regulation; raises NotFoundError."""
    found = load_one(session, Regulation, regulation_id, _STAFF)
    if found is None:
        raise NotFoundError("There is no such regulation.")
    return found


def list_regulations(session: Session) -> Sequence[Regulation]:
    """Returns every regulation, the one in force from the latest day first."""
    ordered = select(Regulation).order_by(Regulation.in_force_from.desc(), Regulation.id.desc())
    return session.scalars(ordered.options(_STAFF)).all()


def is_in_force(of: Regulation, on: date) -> bool:
    """Whether a regulation is in force on a day; on the day that it ends it is no more."""
    return of.in_force_from <= on and (of.ended_on is None or on < of.ended_on)


def tell_not_in_force(of: Regulation, on: date) -> str:
    """Returns in words why a regulation is not in force on a day; empty where it is."""
    if is_in_force(of, on):
        return ""
    if of.ended_on and of.ended_on <= on:
        return f"ended {of.ended_on.isoformat()}, not in force"
    return f"in force from {of.in_force_from.isoformat()}, not yet"


def list_in_force(session: Session, on: date) -> list[Regulation]:
    """Returns the regulations in force on a day: those that the shop typed first, then an example."""
    found = [of for of in list_regulations(session) if is_in_force(of, on)]
    return sorted(found, key=lambda of: of.is_example)


def read_body(of: Regulation) -> RegulationBody:
    return RegulationBody.model_validate(of.body)


def add(session: Session, form: RegulationForm) -> Regulation:
    file = RegulationFile(
        edition=form.edition, in_force_from=form.in_force_from, source=form.source, body=form.to_body()
    )
    return _add(session, form.who, file)


def add_imported(session: Session, form: ImportForm) -> Regulation:
    """Adds what a text holds; raises InvalidError at `text`."""
    return _add(session, form.who, form.read_file(), "text")


def add_example(session: Session, form: SignedForm) -> Regulation:
    """Adds the example; raises ConflictError if it was added already and has not ended."""
    if session.scalar(select(Regulation.id).where(Regulation.is_example, Regulation.ended_on.is_(None)).limit(1)):
        raise ConflictError("The example is there already.")
    return _add(session, form.who, RegulationFile.model_validate(EXAMPLE))


def _add(session: Session, who: int, file: RegulationFile, field: str = "edition") -> Regulation:
    same = (Regulation.edition == file.edition, Regulation.in_force_from == file.in_force_from)
    if session.scalar(select(Regulation.id).where(*same, Regulation.ended_on.is_(None)).limit(1)):
        raise InvalidError.at(field, "This edition of this day is there already.")
    added = Regulation(
        edition=file.edition,
        in_force_from=file.in_force_from,
        source=file.source,
        is_example=file.is_example,
        body=file.body.model_dump(mode="json"),
        staff_id=who,
    )
    changes.add_record(session, who, added, f"{added.edition}, in force from {added.in_force_from.isoformat()}")
    return added


def end(session: Session, regulation_id: int, form: EndingForm) -> Regulation:
    """Ends a regulation on a day; raises ConflictError if it has ended."""
    of = get_regulation(session, regulation_id)
    if of.ended_on:
        raise ConflictError(f"{of.edition} ended on {of.ended_on.isoformat()} already.")
    changes.revise(session, form.who, of, {"ended_on": form.ended_on}, form.why)
    return of


def write_file(of: Regulation) -> str:
    """Returns a regulation as the text that `add_imported` reads."""
    file = RegulationFile(
        edition=of.edition,
        in_force_from=of.in_force_from,
        source=of.source,
        is_example=of.is_example,
        body=read_body(of),
    )
    return json.dumps(file.model_dump(mode="json"), indent=1, ensure_ascii=False)
