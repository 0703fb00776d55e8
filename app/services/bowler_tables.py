"""Bowlers with their fits in force as rows for spreadsheets: as typed, and exact. No cell is run as a formula."""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import date
from fractions import Fraction

from sqlalchemy import and_, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.closed_sets import DIGITS
from app.models import Bowler, Fit, FitHole
from app.schemas.fits import UNKNOWN

Cell = str | int | Fraction | date | None
_OF_HOLE = ("hole_in", "oval_in", "oval_deg", "forward_in", "right_in", "cut_in", "depth_in", "offset_in")
_TYPED = ("spans", "bridge", *(f"{digit}_{part}" for digit in DIGITS for part in ("hole", "pitch", "cut", "depth")))
FINGERS = ("middle", "ring")
_BATCH = 500
_RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠")
_LONGEST = 32_767  # characters that a cell of a workbook holds

HEADINGS = [
    *("bowler", "name", "phone", "hand", "league", "fit", "fit hand", "in force on", "style", "grip", "span edges"),
    *("middle span in", "ring span in", "bridge in", "bridge edges", "thumb hardware"),
    *(f"{digit} {part.replace('_', ' ')}" for digit in DIGITS for part in _OF_HOLE),
    *(f"{digit} {part}" for digit in FINGERS for part in ("insert", "lift in", "lift deg")),
    *(f"{name.replace('_', ' ')}, as typed" for name in _TYPED),
]


def list_rows(session: Session, bowler_id: int | None = None) -> Iterator[list[Cell]]:
    """Yields a row for each fit in force, and for each bowler without one: of all bowlers, or of one."""
    is_in_force = and_(Fit.bowler_id == Bowler.id, Fit.state == "in force")
    query = (
        select(Bowler, Fit)
        .outerjoin(Fit, is_in_force)
        .where(Bowler.removed_at.is_(None), Bowler.erased_at.is_(None), Bowler.merged_into_id.is_(None))
        .options(selectinload(Fit.holes).joinedload(FitHole.system), joinedload(Fit.system))
        .order_by(Bowler.id, Fit.hand.desc())
    )
    if bowler_id is not None:
        query = query.where(Bowler.id == bowler_id)
    for bowler, fit in session.execute(query, execution_options={"yield_per": _BATCH}):
        yield _make_row(bowler, fit)


def _make_row(bowler: Bowler, fit: Fit | None) -> list[Cell]:
    own: list[Cell] = [bowler.id, bowler.name, bowler.phone, bowler.hand, bowler.league]
    if fit is None:
        return [*own, *(None for _ in HEADINGS[len(own) :])]
    holes: dict[str, FitHole] = {hole.digit: hole for hole in fit.holes if hole.digit in fit.digits}
    in_force = (fit.in_force_at or fit.created_at).date()
    return [
        *own,
        *(fit.letter, fit.hand, in_force, fit.style, fit.grip_holes, fit.span_edges),
        *(fit.span_middle_in, fit.span_ring_in, fit.bridge_in, fit.bridge_edges),
        fit.system.label if fit.system else _say_unknown(fit, "system_id"),
        *(getattr(holes.get(digit), name, None) for digit in DIGITS for name in _OF_HOLE),
        *(cell for digit in FINGERS for cell in _list_of_insert(fit, digit, holes.get(digit))),
        *((fit.typed or {}).get(name) for name in _TYPED),
    ]


def _list_of_insert(fit: Fit, digit: str, hole: FitHole | None) -> tuple[Cell, ...]:
    """Returns the label of a finger's insert, and its lift with the direction."""
    if hole is None:
        return None, None, None
    label = hole.system.label if hole.system else _say_unknown(fit, f"{digit}_insert")
    return label, hole.lift_in, hole.lift_deg


def _say_unknown(fit: Fit, name: str) -> str | None:
    """Hardware of which nobody has said which it is, is not none."""
    return UNKNOWN if (fit.typed or {}).get(name) == UNKNOWN else None


def write_csv(rows: Iterable[list[Cell]]) -> str:
    """Returns a table as text; a text that a spreadsheet would run, or read as a date, stands behind an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(HEADINGS)
    writer.writerows([_write_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def _write_cell(cell: Cell) -> str | int:
    if isinstance(cell, int):
        return cell
    if isinstance(cell, Fraction):
        return write_exact(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    text = cell or ""
    return f"'{text}" if text.startswith(_RUN) or "/" in text else text


def write_exact(value: Fraction) -> str:
    """Returns a number as the decimal that it is exactly; one that is none as a fraction behind an apostrophe."""
    for places in range(20):
        if (value * 10**places).denominator == 1:
            digits = f"{abs(int(value * 10**places)):0{places + 1}d}"
            whole, rest = (digits[:-places], digits[-places:]) if places else (digits, "")
            return f"{'-' if value < 0 else ''}{whole}{'.' if rest else ''}{rest}"
    return f"'{value}"


def write_workbook(rows: Iterable[list[Cell]]) -> bytes:
    """Returns a table as a workbook in which each cell is a text, a number or a day, and none a formula."""
    from openpyxl import Workbook  # noqa: PLC0415 - only this file needs it
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE  # noqa: PLC0415

    book = Workbook(write_only=True)
    sheet = book.create_sheet("bowlers")
    for row in [HEADINGS], rows:
        for cells in row:
            made = []
            for cell in cells:
                if isinstance(cell, Fraction) and Fraction(float(cell)) == cell:
                    made.append(WriteOnlyCell(sheet, float(cell)))
                elif isinstance(cell, str | Fraction):
                    text = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", str(cell))[:_LONGEST])
                    text.data_type = "s"  # also where it begins as a formula does
                    made.append(text)
                else:
                    made.append(WriteOnlyCell(sheet, cell))
            sheet.append(made)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
