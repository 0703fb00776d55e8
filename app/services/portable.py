"""Everything as JSON lines, the same bytes from SQLite and PostgreSQL, and back into an empty database.

The first line is `{"spanbook": 1, "tables": REVISION}`; every further one `{"row": {...}, "table": NAME}`. Tables come
in the order in which they refer to each other, rows by their key, and keys are sorted. Exact numbers are fractions as
text, moments ISO 8601 in UTC, bytes base64; whatever JSON has of its own stays.
"""

import base64
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from sqlalchemy import Column, Connection, Table, func, insert, select, text, update
from sqlalchemy.types import Date, LargeBinary

from app.errors import InvalidError
from app.models import Base
from app.models.base import Exact, Moment

FORMAT = 1
_BATCH = 500


def tables() -> list[Table]:
    """Every table after those it refers to."""
    return list(Base.metadata.sorted_tables)


def exported(connection: Connection, revision: str) -> Iterator[str]:
    """The lines of the whole database, without their line ends, as it stands in this connection's transaction."""
    yield json.dumps({"spanbook": FORMAT, "tables": revision})
    for table in tables():
        query = select(table).order_by(*table.primary_key.columns)
        with connection.execute(query, execution_options={"yield_per": _BATCH}) as rows:
            for row in rows:
                said = {"row": row_of(row._mapping), "table": table.name}
                yield json.dumps(said, sort_keys=True, ensure_ascii=False)


def row_of(row: Mapping[Any, Any]) -> dict[str, Any]:
    """A row as JSON has it."""
    return {str(name): _told(value) for name, value in row.items()}


def _told(value: Any) -> Any:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def imported(connection: Connection, lines: Iterable[str], revision: str) -> dict[str, int]:
    """Fills an empty database of the same revision from its lines; answers how many rows each table got.

    InvalidError where the lines are of another revision or the database holds something already.
    """
    reading = iter(lines)
    head = _parsed(next(reading, ""), 1)
    if head.get("spanbook") != FORMAT or head.get("tables") != revision:
        raise InvalidError(
            f"These lines are not of this version's tables ({revision}): use the version that made them."
        )
    for table in tables():
        if connection.scalar(select(func.count()).select_from(table)):
            raise InvalidError(f"This database is not empty: it has rows in {table.name}. Nothing was imported.")
    filled = _fill(connection, reading)
    if connection.dialect.name == "postgresql":
        _advance_sequences(connection)
    return filled


def _parsed(line: str, number: int) -> dict[str, Any]:
    try:
        found = json.loads(line)
    except ValueError:
        raise InvalidError(
            f"Line {number} is not JSON: the file is cut short or damaged. Nothing was imported."
        ) from None
    if not isinstance(found, dict):
        raise InvalidError(f"Line {number} is not a record. Nothing was imported.")
    return found


def _fill(connection: Connection, lines: Iterator[str]) -> dict[str, int]:
    known = {table.name: table for table in tables()}
    later = {table.name: _columns_set_later(table) for table in tables()}
    of: Table = tables()[0]
    batch: list[dict[str, Any]] = []
    postponed: list[tuple[Table, dict[str, Any], dict[str, Any]]] = []
    filled: dict[str, int] = defaultdict(int)
    for number, line in enumerate(lines, 2):
        found = _parsed(line, number)
        table = known.get(str(found.get("table")))
        if table is None or not isinstance(found.get("row"), dict):
            raise InvalidError(f"Line {number} names no table of ours. Nothing was imported.")
        row = {c.name: _read(c, found["row"].get(c.name)) for c in table.columns}
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


def _columns_set_later(table: Table) -> list[str]:
    """Columns that refer to rows not yet there: of the same table, or of one further down."""
    order = [t.name for t in tables()]
    place = order.index(table.name)
    return [k.parent.name for k in table.foreign_keys if order.index(k.column.table.name) >= place]


def _read(column: Column[Any], value: Any) -> Any:
    """A value as the column takes it."""
    if value is None:
        return None
    for kind, reader in _READERS:
        if isinstance(column.type, kind):
            return reader(value)
    return value


_READERS: tuple[tuple[type, Callable[[str], Any]], ...] = (
    (LargeBinary, base64.b64decode),
    (Moment, datetime.fromisoformat),
    (Date, date.fromisoformat),
    (Exact, Fraction),
)


def _advance_sequences(connection: Connection) -> None:
    """New rows are numbered after the imported ones."""
    for table in tables():
        if "id" in table.c:
            highest = connection.scalar(select(func.max(table.c.id)))
            sequence = connection.scalar(
                text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": f'"{table.name}"'}
            )
            if highest and sequence:
                connection.execute(
                    text("SELECT setval(:sequence, :highest)"), {"sequence": sequence, "highest": highest}
                )
