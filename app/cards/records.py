"""Records of a card: frozen dataclasses whose fields say their key and kind, so that the class is the format.

A field with its default is left out of the map. `null` says unknown where the default is something else.
"""

from collections.abc import Callable
from dataclasses import MISSING, dataclass, field, fields
from typing import TypeVar, cast, dataclass_transform, get_args, get_type_hints, overload

from app.cards.cbor import Cbor
from app.cards.kinds import FurtherKind, Kind, OutOfKind

T = TypeVar("T")
R = TypeVar("R")
D = TypeVar("D")


@overload
def held(key: int, kind: Kind[T]) -> T: ...
@overload
def held(key: int, kind: Kind[T], *, default: D) -> T | D: ...
def held(key: int, kind: Kind[T], *, default: object = MISSING) -> object:
    """A field of a record: its key in the map, its kind, and what it is where the map leaves it out."""
    return field(default=default, metadata={"key": key, "kind": kind})


@dataclass(frozen=True)
class _Field:
    name: str
    key: int
    kind: Kind[object]
    default: object
    may_be_unknown: bool  # whether `null` has a meaning: unknown is not what leaving it out means


_FIELDS: dict[type, tuple[_Field, ...]] = {}


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(held,))
def record(of: type[R]) -> type[R]:
    """Makes a class of `held` fields a frozen dataclass, and notes its format."""
    made = dataclass(frozen=True, kw_only=True)(of)
    hints = get_type_hints(made)
    found = [
        _Field(
            f.name,
            f.metadata["key"],
            f.metadata["kind"],
            f.default,
            f.default is not None and type(None) in get_args(hints[f.name]),
        )
        for f in fields(made)  # type: ignore[arg-type]  # mypy does not see that it is a dataclass
    ]
    _FIELDS[made] = tuple(sorted(found, key=lambda one: one.key))
    return made


def write_record(value: object) -> Cbor:
    """Returns a record as a map; raises OutOfKind naming the field that no card can hold."""
    written: dict[int, Cbor] = {}
    for one in _FIELDS[type(value)]:
        own = getattr(value, one.name)
        if own == one.default and type(own) is type(one.default):
            continue
        if own is None and one.may_be_unknown:
            written[one.key] = None
            continue
        written[one.key] = _name(one.name, one.kind.write, own)
    return written


def read_record(of: type[R], raw: Cbor) -> R:
    """Returns the record of a map; raises OutOfKind for a missing, further or wrong field."""
    if not isinstance(raw, dict):
        raise OutOfKind("is no record")
    known = _FIELDS[of]
    if raw.keys() - {one.key for one in known}:
        raise FurtherKind("holds a field that this format does not have")
    values: dict[str, object] = {}
    for one in known:
        if one.key not in raw:
            if one.default is MISSING:
                raise OutOfKind(f"{one.name} is missing")
            continue
        own = raw[one.key]
        is_unknown = own is None and one.may_be_unknown
        values[one.name] = None if is_unknown else _name(one.name, one.kind.read, own)
    return of(**values)


def _name(name: str, convert: Callable[[D], T], value: D) -> T:
    """Converts a field's value; an OutOfKind then says which field it was."""
    try:
        return convert(value)
    except OutOfKind as error:
        raise type(error)(f"{name} {error}") from None


def record_of(of: type[R]) -> Kind[R]:
    """A record as the kind of a field."""
    return Kind(write_record, cast("Callable[[Cbor], R]", lambda raw: read_record(of, raw)))
