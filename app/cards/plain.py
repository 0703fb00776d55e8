"""A card as plain JSON for other programs, unsigned, and the schema of it: lengths are exact fractions as text."""

from dataclasses import fields, is_dataclass
from datetime import date
from fractions import Fraction
from types import NoneType, UnionType
from typing import Literal, Union, get_args, get_origin, get_type_hints

from app.cards.contents import Card

Json = None | bool | int | str | list["Json"] | dict[str, "Json"]
FRACTION = r"^-?[0-9]+(/[1-9][0-9]*)?$"


def write_plain(value: object) -> Json:
    """Returns a card, or a part of one, as JSON values; every field is there, null where it is unknown or not."""
    if isinstance(value, tuple):
        return [write_plain(one) for one in value]
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, bool | int | str):
        return value
    if is_dataclass(value):
        return {one.name: write_plain(getattr(value, one.name)) for one in fields(value)}
    raise TypeError(f"no card holds {type(value).__name__}")


def write_schema() -> dict[str, Json]:
    """Returns the JSON Schema (draft 2020-12) of what `write_plain` writes of a card."""
    head: dict[str, Json] = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "A bowler's card"}
    return head | _describe_record(Card)


def _describe_record(of: type) -> dict[str, Json]:
    hints = get_type_hints(of)
    named: dict[str, Json] = {name: dict(_describe(hint)) for name, hint in hints.items()}
    return {"type": "object", "properties": named, "required": list(named), "additionalProperties": False}


def _describe(hint: object) -> dict[str, Json]:
    if get_origin(hint) in {Union, UnionType}:
        known = [dict(_describe(one)) for one in get_args(hint) if one is not NoneType]
        return {"anyOf": [*known, {"type": "null"}]}
    if get_origin(hint) is Literal:
        return {"enum": list(get_args(hint))}
    if get_origin(hint) is tuple:
        return {"type": "array", "items": dict(_describe(get_args(hint)[0]))}
    simple: dict[object, dict[str, Json]] = {
        Fraction: {"type": "string", "pattern": FRACTION},
        bytes: {"type": "string", "pattern": "^([0-9a-f]{2})*$"},
        date: {"type": "string", "format": "date"},
        bool: {"type": "boolean"},
        int: {"type": "integer"},
        str: {"type": "string"},
    }
    return simple[hint] if hint in simple else _describe_record(hint)  # type: ignore[arg-type]
