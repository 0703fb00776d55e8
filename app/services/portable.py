"""Exports the database as JSON lines, the same bytes from SQLite and PostgreSQL, and imports them.

The first line is `{"spanbook": 2, "tables": REVISION}`; every further one `{"row": {...}, "table": NAME}`. Tables come
in the order in which they refer to each other, rows by their key, and keys are sorted. Exact numbers are fractions as
text, times ISO 8601 in UTC, bytes base64; other values are native JSON. The last line is
`{"end": {NAME: ROWS, ...}, "sha256": HASH}`, the hash being that of all lines before it, each with its line end; lines
of format 1 have no such end. Private keys (`NEVER_EXPORTED`) are left out: their owner has them on paper.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, MetaData, Table, func, insert, select, text, update
from sqlalchemy.exc import IntegrityError

from app.db import revision as newest
from app.errors import InvalidError
from app.models import NEVER_EXPORTED, Base
from app.services.json_values import export_row, from_json

FORMAT = 2
_WITHOUT_END = 1
_BATCH = 500


def list_tables() -> list[Table]:
    """Returns all tables that are exported, each after the tables it refers to."""
    return [table for table in Base.metadata.sorted_tables if table.name not in NEVER_EXPORTED]


def list_tables_at(connection: Connection, revision: str) -> list[Table]:
    """Returns the tables of a database at any migration: of this version, or reflected from the database."""
    if revision == newest():
        return list_tables()
    found = MetaData()
    found.reflect(connection)
    return [table for table in found.sorted_tables if table.name not in {"alembic_version", *NEVER_EXPORTED}]


# Out ------------------------------------------------------------------------------------------------------------------


def export_lines(connection: Connection, revision: str, of: Sequence[Table] | None = None) -> Iterator[str]:
    """Yields the lines of the whole database, without line ends, as seen by this connection's transaction."""
    read = hashlib.sha256()
    rows_of: dict[str, int] = {}
    for line, name in _export_rows(connection, revision, list_tables() if of is None else of):
        read.update(f"{line}\n".encode())
        if name:
            rows_of[name] = rows_of.get(name, 0) + 1
        yield line
    yield json.dumps({"end": rows_of, "sha256": read.hexdigest()}, sort_keys=True)


def _export_rows(connection: Connection, revision: str, of: Sequence[Table]) -> Iterator[tuple[str, str]]:
    yield json.dumps({"spanbook": FORMAT, "tables": revision}), ""
    for table in of:
        query = select(table).order_by(*table.primary_key.columns)
        with connection.execute(query, execution_options={"yield_per": _BATCH}) as rows:
            for row in rows:
                said = {"row": export_row(table, row._mapping), "table": table.name}
                yield json.dumps(said, sort_keys=True, ensure_ascii=False), table.name


# In -------------------------------------------------------------------------------------------------------------------


class LineReader:
    """Reads exported lines: their migration, and their rows; iterating raises InvalidError unless all are there.

    `needs_end` refuses lines of format 1, which have no end mark.
    """

    def __init__(self, lines: Iterable[str], needs_end: bool = True) -> None:
        self._lines = iter(lines)
        self._read = hashlib.sha256()
        head = self._next(1) or {}
        self.revision = str(head.get("tables"))
        self._has_end = head.get("spanbook") != _WITHOUT_END
        if not head or head.get("spanbook") not in {_WITHOUT_END, FORMAT}:
            raise InvalidError("These are not lines that Spanbook wrote, or a newer one did. Nothing was imported.")
        if needs_end and not self._has_end:
            raise InvalidError(
                "These lines were written before lines had an end, so nothing shows whether all are there. If you "
                "know that the file is whole, import it with --without-end. Nothing was imported."
            )

    def rows(self) -> Iterator[tuple[int, str, dict[str, Any]]]:
        """Yields (line number, table name, row)."""
        rows_of: dict[str, int] = defaultdict(int)
        number, so_far = 2, self._read.hexdigest()
        while (found := self._next(number)) is not None:
            if "end" in found and self._has_end:
                self._check_end(found, dict(rows_of), so_far)
                return
            name, row = found.get("table"), found.get("row")
            if not isinstance(name, str) or not isinstance(row, dict):
                raise InvalidError(f"Line {number} is not a record. Nothing was imported.")
            rows_of[name] += 1
            yield number, name, row
            number, so_far = number + 1, self._read.hexdigest()
        if self._has_end:
            raise InvalidError(
                f"The file is cut short: its end is missing after line {number - 1}. Nothing was imported."
            )

    def _next(self, number: int) -> dict[str, Any] | None:
        line = next(self._lines, None)
        if line is None:
            return None
        self._read.update(f"{line.rstrip(chr(10))}\n".encode())
        try:
            found = json.loads(line)
        except ValueError:
            raise InvalidError(
                f"Line {number} is not JSON: the file is cut short or damaged. Nothing was imported."
            ) from None
        if not isinstance(found, dict):
            raise InvalidError(f"Line {number} is not a record. Nothing was imported.")
        return found

    def _check_end(self, end: dict[str, Any], rows_of: dict[str, int], sha256: str) -> None:
        if next(self._lines, None) is not None:
            raise InvalidError("There are lines after the end. Nothing was imported.")
        if end["end"] != rows_of or end.get("sha256") != sha256:
            raise InvalidError("The file was changed or damaged: its end mark does not match. Nothing was imported.")


def import_lines(connection: Connection, reading: LineReader, of: Sequence[Table] | None = None) -> dict[str, int]:
    """Imports lines into an empty database of the same migration; returns the number of rows by table.

    Raises InvalidError for wrong lines or a database with rows; the caller then rolls back
    the transaction.
    """
    into = list_tables() if of is None else list(of)
    for table in into:
        if connection.scalar(select(func.count()).select_from(table)):
            raise InvalidError(f"This database is not empty: it has rows in {table.name}. Nothing was imported.")
    try:
        filled = _fill(connection, reading, into)
    except IntegrityError:
        raise InvalidError("The file was changed or damaged: rows refer to others that are not in it.") from None
    if connection.dialect.name == "postgresql":
        _advance_sequences(connection, into)
    return filled


def _fill(connection: Connection, reading: LineReader, into: list[Table]) -> dict[str, int]:
    known = {table.name: table for table in into}
    later = {table.name: _list_columns_set_later(table, into) for table in into}
    of: Table = into[0]
    batch: list[dict[str, Any]] = []
    postponed: list[tuple[Table, dict[str, Any], dict[str, Any]]] = []
    filled: dict[str, int] = defaultdict(int)
    for number, name, told in reading.rows():
        table = known.get(name)
        if table is None or set(told) != {c.name for c in table.columns}:
            raise InvalidError(f"Line {number} names no table of ours, or other columns. Nothing was imported.")
        row = _parse_row(table, told, number)
        links = {name: row[name] for name in later[table.name] if row[name] is not None}
        if links:
            postponed.append((table, {c.name: row[c.name] for c in table.primary_key.columns}, links))
        if batch and (table is not of or len(batch) >= _BATCH):
            connection.execute(insert(of), batch)
            batch = []
        of = table
        batch.append(row | dict.fromkeys(links))
        filled[table.name] += 1
    if batch:
        connection.execute(insert(of), batch)
    for table, key, links in postponed:
        match = [table.c[name] == value for name, value in key.items()]
        connection.execute(update(table).where(*match).values(links))
    return dict(filled)


def _list_columns_set_later(table: Table, into: list[Table]) -> list[str]:
    """Returns the columns that refer to rows inserted later: of the same table, or of a later one."""
    order = [t.name for t in into]
    place = order.index(table.name)
    return [k.parent.name for k in table.foreign_keys if order.index(k.column.table.name) >= place]


def _parse_row(table: Table, told: dict[str, Any], number: int) -> dict[str, Any]:
    try:
        return {c.name: from_json(c, told[c.name]) for c in table.columns}
    except (ValueError, TypeError, OverflowError):
        raise InvalidError(f"Line {number} holds a value that {table.name} cannot. Nothing was imported.") from None


def _advance_sequences(connection: Connection, into: list[Table]) -> None:
    """Sets the sequences of PostgreSQL past the imported ids."""
    for table in into:
        if "id" in table.c:
            highest = connection.scalar(select(func.max(table.c.id)))
            sequence = connection.scalar(
                text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": f'"{table.name}"'}
            )
            if highest and sequence:
                connection.execute(
                    text("SELECT setval(:sequence, :highest)"), {"sequence": sequence, "highest": highest}
                )
