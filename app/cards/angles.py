"""Angles of a card from 0 up to 360, as records hold them: the format takes −90 and 360 as well as 270 and 0."""

from dataclasses import fields, is_dataclass, replace
from fractions import Fraction
from typing import TypeVar, cast

R = TypeVar("R")


def turn_angles(of: R) -> R:
    """Returns a record of a card, and all records in it, with the same directions from 0 up to 360 degrees."""
    if isinstance(of, tuple):
        return cast("R", tuple(turn_angles(one) for one in of))
    if not is_dataclass(of) or isinstance(of, type):
        return of
    values = {one.name: getattr(of, one.name) for one in fields(of)}
    turned = {
        name: value % 360 if name.endswith("_deg") and isinstance(value, Fraction) else turn_angles(value)
        for name, value in values.items()
    }
    return replace(of, **turned)
