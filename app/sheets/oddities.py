"""Tells what of a sheet is not seen on its face, or is lost in reading: hidden rows and columns, merged cells."""

from collections.abc import Iterator, Sequence

from app.sheets.cells import Sheet, name_column

_MOST_NAMED = 8


def list_oddities(sheet: Sheet, first_row: int) -> Iterator[str]:
    """Yields sentences for whoever takes the sheet in; its data begin at `first_row`, counted from 0."""
    rows = [f"{n + 1}" for n in sorted(sheet.hidden_rows or ()) if first_row <= n < len(sheet.rows) and sheet.rows[n]]
    columns = [name_column(n) for n in sorted(sheet.hidden_columns or ()) if n < sheet.width]
    merged = [
        f"{name_column(left)}{top + 1} to {name_column(right)}{bottom + 1}"
        for top, left, bottom, right in sorted(sheet.merged or ())
        if bottom >= first_row
    ]
    if rows:
        yield f"Hidden in the sheet, and read like any other: {_name('row', rows)}."
    if columns:
        yield f"Hidden in the sheet, and read like any other: {_name('column', columns)}."
    if merged:
        first = "Merged cells have their text in the first one alone, and the others count as empty"
        yield f"{first}: {_name('', merged)}."


def _name(noun: str, names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    words = f"{noun}{'s' if noun and len(names) > 1 else ''} " if noun else ""
    return f"{words}{', '.join(names[:_MOST_NAMED])}{more}"
