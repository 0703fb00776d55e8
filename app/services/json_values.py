"""Converts stored values to JSON and back: exact numbers as fractions, times as ISO 8601, bytes as base64."""

import base64
import json
import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import cache
from typing import Any, get_args, get_type_hints

from pydantic import TypeAdapter
from sqlalchemy import JSON, Column, Table
from sqlalchemy.types import Boolean, Date, DateTime, Float, Integer, LargeBinary, String

from app.closed_sets import COLUMNS
from app.errors import InvalidError
from app.models import Base
from app.models.base import Exact, Moment
from app.models.numbers import NumbersColumn, read_numbers, write_numbers
from app.models.plans import PlanColumn, read_plan, write_plan
from app.schemas.forms import LARGEST_ID
from app.schemas.regulations import RegulationBody


def export_row(table: Table, row: Mapping[Any, Any]) -> dict[str, Any]:
    """Converts a row of a table to JSON, a plan in its newest version."""
    return {column.name: to_json(column, row[column.name]) for column in table.columns}


def to_json(column: Column[Any], value: Any) -> Any:
    if isinstance(column.type, PlanColumn):
        return write_plan(value)
    if isinstance(column.type, NumbersColumn):
        return write_numbers(value)
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def from_json(column: Column[Any], value: Any) -> Any:
    """Parses a value for its column; raises InvalidError, TypeError or ValueError if the column cannot hold it."""
    known = COLUMNS.get((column.table.name, column.name))
    said = value if isinstance(column.type, JSON) and isinstance(value, list) else [value]
    if known and value is not None and not all(isinstance(v, str) and v in known for v in said):
        where = f"{column.table.name}.{column.name}".replace("_", " ")
        raise InvalidError(f"{json.dumps(value)[:80]} is no value of {where}. Nothing was imported.")
    if value is None:
        return None
    for kind, reader in _READERS:
        if isinstance(column.type, kind):
            return reader(column, value)
    raise TypeError


def _make_reader(*types: type) -> Callable[[Column[Any], Any], Any]:
    """Parses a value of these JSON types; true is not a number."""

    def read(_column: Column[Any], value: Any) -> Any:
        if type(value) not in types:
            raise TypeError
        return value

    return read


def _read_whole(_column: Column[Any], value: Any) -> int:
    if type(value) is not int or not -LARGEST_ID - 1 <= value <= LARGEST_ID:
        raise TypeError
    return value


def _read_text(column: Column[Any], value: Any) -> str:
    longest = getattr(column.type, "length", None)
    if not isinstance(value, str) or "\0" in value or (longest and len(value) > longest):
        raise ValueError
    return value


def _read_fraction(_column: Column[Any], value: Any) -> Fraction:
    if not isinstance(value, str) or not _FRACTION.fullmatch(value):
        raise ValueError
    return Fraction(value)


def _read_shape(column: Column[Any], value: Any) -> Any:
    """Validates a list or an object by the model's annotation; older rows are validated after their migration."""
    place = (column.table.name, column.name)
    shape = _load_shapes().get(place) if column.table.metadata is Base.metadata else None
    found = shape.validate_python(value, strict=True) if shape else value
    if place in _OF_FRACTIONS:
        _check_fractions(found)
    elif place == ("regulation", "body"):
        RegulationBody.model_validate(found)
    return found


# of exact numbers as text: what is read as a fraction later has a bounded length
_OF_FRACTIONS = {
    ("insert_system", "inner_ods"),
    ("study", "readings"),
    ("scale", "readings_oz"),
    ("weighing", "counted_from"),
}


def _check_fractions(value: object) -> None:
    if isinstance(value, list | dict):
        for part in value.values() if isinstance(value, dict) else value:
            _check_fractions(part)
    elif not isinstance(value, str) or not _FRACTION.fullmatch(value):
        raise ValueError("no exact number")


@cache
def _load_shapes() -> dict[tuple[str, str], TypeAdapter[Any]]:
    """Returns a validator for each JSON column from its model's annotation."""
    found = {}
    for mapper in Base.registry.mappers:
        told, table = get_type_hints(mapper.class_), Base.metadata.tables[mapper.class_.__tablename__]
        for column in table.columns:
            if isinstance(column.type, JSON):
                (shape,) = get_args(told[column.name])
                found[table.name, column.name] = TypeAdapter(shape)
    return found


def _read_moment(_column: Column[Any], value: Any) -> datetime:
    told = datetime.fromisoformat(value)
    if told.tzinfo is None:
        raise ValueError
    return told.astimezone(UTC)


def _read_bare_time(_column: Column[Any], value: Any) -> datetime:
    """Parses a time as a database without time zones stores it."""
    told = datetime.fromisoformat(value)
    return told.astimezone(UTC).replace(tzinfo=None) if told.tzinfo else told


_FRACTION = re.compile(r"-?[0-9]{1,30}(/[1-9][0-9]{0,30})?", re.ASCII)


_READERS: tuple[tuple[type, Callable[[Column[Any], Any], Any]], ...] = (
    (LargeBinary, lambda _, value: base64.b64decode(value, validate=True)),
    (Moment, _read_moment),
    (DateTime, _read_bare_time),
    (Date, lambda _, value: date.fromisoformat(value)),
    (Exact, _read_fraction),
    (Boolean, _make_reader(bool)),
    (Float, _make_reader(float, int)),
    (Integer, _read_whole),
    (String, _read_text),
    (JSON, _read_shape),
    (PlanColumn, lambda _, value: read_plan(value)),
    (NumbersColumn, lambda _, value: read_numbers(value)),
)
