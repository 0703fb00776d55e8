"""What the tests of spreadsheets begin with: a sheet taken in, its conventions said, its passes run."""

from collections.abc import Callable
from dataclasses import asdict

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from app.models import SheetImport, SheetRow
from app.services import sheet_imports, sheet_passes
from app.sheets.conventions import Conventions
from app.sheets.files import read_file
from tests.sheets.damaged import CONVENTIONS

HEADINGS = "Name,Phone,Hand,Span M,Span R,Thumb hole,Thumb F/R,Thumb L/R,Mid hole,Mid F/R,Mid L/R,Ring hole,Ring F/R,Ring L/R,Bridge,Fitted,Ball,Serial,Remarks"
MEASURES = "4 3/8,4 1/2,31/32,1/4 R,1/8 L,3/4,0,1/8 R,25/32,0,1/8 L,1/4,2024-03-08"
Make = Callable[[], Session]


def make_csv(*rows: str) -> bytes:
    return "\n".join([HEADINGS, *rows]).encode()


def write_row(name: str, phone: str = "", measures: str = MEASURES, ball: str = ",", note: str = "") -> str:
    return f"{name},{phone},R,{measures},{ball},{note}"


def take_in(session: Session, who: int, data: bytes, conventions: Conventions = CONVENTIONS) -> int:
    """A sheet taken in with its conventions confirmed; the number of its import."""
    named = ("cards.csv", sheet_imports.name_file(data, ""))
    made = sheet_imports.take_in(session, who, named, read_file(data))
    sheet_imports.set_conventions(session, who, made, asdict(conventions))
    session.commit()
    return made.id


def run(sessions: sessionmaker[Session], import_id: int, who: int, start: Callable[..., None]) -> SheetImport:
    """A pass begun by somebody and run to its end."""
    with sessions() as session:
        start(session, who, sheet_imports.get_import(session, import_id))
        session.commit()
    sheet_passes.run(sessions, import_id)
    with sessions() as session:
        found = sheet_imports.get_import(session, import_id)
        session.rollback()
    return found


def bring_in(sessions: sessionmaker[Session], who: int, data: bytes, conventions: Conventions = CONVENTIONS) -> int:
    """A sheet taken in, tried and imported; the number of its import."""
    with sessions() as session:
        import_id = take_in(session, who, data, conventions)
    run(sessions, import_id, who, sheet_passes.start_dry_run)
    run(sessions, import_id, who, sheet_passes.start_import)
    return import_id


def list_all(session: Session, import_id: int) -> dict[int, SheetRow]:
    rows = session.scalars(select(SheetRow).where(SheetRow.import_id == import_id)).all()
    return {row.number: row for row in rows}
