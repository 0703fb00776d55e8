"""Limits: the numbers that a shop sets for itself.

A limit that the shop has not set is shown as ASSUMED wherever it is used (`LIMITS`). The starting tolerance is twice a
64th: with readings of 0.008 in spread 97 of 100 ordinary drillings are then green by the second pair and no fault of
1/32 in beyond it is; at 1/64 it would be 1 of 100 (`calculation/verdict_rates.py`, tried by a simulation in its tests).
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import hypot, inf, isinf, sqrt
from typing import Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.depths import NORMAL_FACTOR
from app.calculation.ovals import FINEST_CUSP_IN
from app.calculation.tolerances import FINEST_DIVISION_IN, floored_doubt_in, reading_half_width_in
from app.calculation.verdict_rates import VerdictRates, drilling_rates, rim_rates
from app.errors import InvalidError, NotFoundError
from app.measures.lengths import read_length
from app.measures.reading import QUANTITIES
from app.models import ShopLimit
from app.schemas.shops import LimitForm
from app.services import changes, shops

ASSUMED = "ASSUMED"


@dataclass(frozen=True)
class Limit:
    """One limit in inches; its default, marked ASSUMED, applies until the shop sets it."""

    name: str
    words: str
    help: str
    default: str
    quantity: str = "tolerance"
    kind: Literal["limit", "doubt", "division"] = "limit"

    def usable(self, value_in: Fraction) -> Fraction:
        """Clamps a stored value to the bounds; a doubt or division is never 0."""
        if self.kind == "doubt":
            floored = floored_doubt_in(float(value_in))
            return value_in if floored == float(value_in) else Fraction(floored).limit_denominator(10**6)
        least = Fraction(str(FINEST_DIVISION_IN)) if self.kind == "division" else _LEAST.get(self.name, Fraction(0))
        return min(max(value_in, least), QUANTITIES[self.quantity].high)


_LEAST = {"cusp": Fraction(str(FINEST_CUSP_IN))}
LIMITS = (
    Limit(
        "tolerance",
        "Sleeve-to-cut tolerance",
        "How far it may be from the prediction, either way. Starting value: what a careful reading can settle.",
        "1/32",
    ),
    Limit("lip", "Lip that still counts as flush", "How far an inner may stand proud or sink on its rim.", "1/64"),
    Limit(
        "resolution",
        "Smallest division read on a trial fit",
        "The step in which proud or sunk is read.",
        "1/64",
        kind="division",
    ),
    Limit(
        "repeatability",
        "Repeat spread of a trial fit",
        "Standard deviation of the same fit made again.",
        "1/128",
        kind="doubt",
    ),
    Limit(
        "span_spread",
        "Doubt in a measured sleeve-to-cut",
        "Standard uncertainty of one reading, its division and its reader. Starting value, until a gauge study.",
        "1/128",
        kind="doubt",
    ),
    Limit(
        "collar_spread",
        "Doubt in our measured collar",
        "Standard uncertainty of a collar measured here.",
        "1/128",
        kind="doubt",
    ),
    Limit(
        "ball_spread",
        "Doubt in a depth read off a ball",
        "Standard uncertainty of such a reading.",
        "1/64",
        kind="doubt",
    ),
    Limit(
        "told_spread",
        "Doubt in a depth told by a shop",
        "Standard uncertainty of what somebody told us.",
        "1/32",
        kind="doubt",
    ),
    Limit(
        "height_spread",
        "Spread of one rim height",
        "Standard deviation of a loose inner's height.",
        "0.002",
        kind="doubt",
    ),
    Limit("cusp", "Cusp between oval plunges", "The most that may stand between two plunges.", "0.002"),
    Limit("least_wall", "Least wall of an inner", "The thinnest wall to leave around the thumb hole.", "1/16"),
    Limit("least_web", "Least wall between holes", "The least to leave between two holes inside the ball.", "1/32"),
    Limit("least_bridge", "Least bridge as cut", "The narrowest bridge to cut.", "3/16", "allowance"),
    Limit("least_surface", "Least surface left beside the fingers", "Sleeve's edge to finger hole.", "1", "allowance"),
    Limit(
        "least_to_pin",
        "Least from a hole to the pin",
        "On the surface, from the rim as cut. Starting value.",
        "1/4",
        "allowance",
    ),
    Limit(
        "least_to_mark",
        "Least from a hole to the mass mark",
        "The same for the mass mark. Starting value.",
        "1/8",
        "allowance",
    ),
    Limit(
        "least_to_track",
        "Least from a hole to the track",
        "The same for the track. Starting value.",
        "1/4",
        "allowance",
    ),
    Limit(
        "finger_depth",
        "Usual depth of a finger hole",
        "Drilled so deep where a fit has no depth, or less deep if that keeps the wall between the holes.",
        "1",
        "allowance",
    ),
    Limit(
        "safe_depth",
        "Safe depth of a ball",
        "The deepest to bore where a ball has no depth of its own.",
        "3 1/4",
        "allowance",
    ),
    Limit(
        "met_depth",
        "Bore depth met against planned",
        "How far a bore's depth may be from the plan before the bench stops. Starting value: a lip still flush.",
        "1/64",
    ),
    Limit(
        "met_hole_depth",
        "Hole depth met against planned",
        "The same for a finger or thumb hole, and for a bore whose floor sets no height. Starting value.",
        "1/8",
    ),
    Limit(
        "met_pitch",
        "Pitch met against planned",
        "How far a pitch as set may be from the plan before the bench stops. Starting value.",
        "1/32",
    ),
    Limit(
        "met_bit",
        "Bit met against planned",
        "How far a bit's diameter may be from the plan before the bench stops. Starting value: half a 64th.",
        "1/128",
    ),
)
_LIMITS = {known.name: known for known in LIMITS}


@dataclass(frozen=True)
class SetLimit:
    """The current value of a limit and its source."""

    limit: Limit
    value_in: Fraction
    typed: str
    source: str
    version: int = 0
    freedom: float = inf

    @property
    def half_width_in(self) -> float:
        """Half of the 95 % interval of one reading with this doubt; Student's t if it is from a gauge study."""
        return reading_half_width_in(float(self.value_in), self.freedom)

    @property
    def normal_in(self) -> Fraction:
        """The half width divided by 1.96: the doubt for estimates that treat it as known."""
        if isinf(self.freedom):
            return self.value_in
        return Fraction(self.half_width_in / NORMAL_FACTOR).limit_denominator(10**6)

    @property
    def is_assumed(self) -> bool:
        return self.source == ASSUMED


_STORED = select(ShopLimit)


def load_limits(session: Session) -> dict[str, SetLimit]:
    """Returns every limit by name, set or ASSUMED; values stored by an older version are clamped here."""
    rows = {row.name: row for row in session.scalars(_STORED)}
    return {
        known.name: SetLimit(known, known.usable(row.value_in), row.typed, row.source, row.version, row.freedom or inf)
        if (row := rows.get(known.name))
        else SetLimit(known, _read_default(known), known.default, ASSUMED)
        for known in LIMITS
    }


@cache
def _read_default(limit: Limit) -> Fraction:
    return read_length(limit.default, QUANTITIES[limit.quantity]).value or Fraction(0)


def get_limit(name: str) -> Limit:
    """Returns a limit by name; raises NotFoundError."""
    if name not in _LIMITS:
        raise NotFoundError("There is no such setting.")
    return _LIMITS[name]


def set_limit(session: Session, name: str, form: LimitForm, freedom: float = inf) -> None:
    """Sets a limit with its source; a doubt of 0 is stored as that of the finest division. Raises InvalidError.

    `freedom` is the degrees of freedom of a doubt from a gauge study; infinite for a stated number.
    """
    known = get_limit(name)
    value = form.value.value
    if value is None:
        raise InvalidError.at("value", "This is needed.")
    value = known.usable(value)
    row = session.get(ShopLimit, name)
    old = row.value_in if row else None
    if row:
        changes.require_version(session, row, form.version)
    else:
        row = ShopLimit(name=name, value_in=value, typed=form.value.text, source=form.source)
        session.add(row)
    row.value_in, row.typed, row.source = value, form.value.text, form.source
    row.freedom = None if isinf(freedom) else freedom
    ours = shops.require_our_shop(session)
    changes.note(session, form.who, ours, changes.Entry(f"setting {known.words.lower()}", old, value, form.source))


# What the limits give -------------------------------------------------------------------------------------------------

TOLD_DOUBTS = ("1/64", "0.005")  # of one reading, inches: a rule read to its division, and a good caliper


@dataclass(frozen=True)
class RateRow:
    """What the shop's limits give where one reading has this doubt: for drillings, and for an inner in another bore."""

    doubt: str
    drillings: VerdictRates
    rims: VerdictRates


def list_rates(limits: dict[str, SetLimit]) -> list[RateRow]:
    """Returns what the limits give at the shop's own doubts, which come first, and at two that are told."""
    tolerance, lip, spread = float(limits["tolerance"].value_in), float(limits["lip"].value_in), limits["span_spread"]
    own = drilling_rates(tolerance, float(spread.value_in), spread.freedom)
    rows = [RateRow("", own, rim_rates(lip, read_depth_doubt_in(limits, "collar_spread")))]
    for told in TOLD_DOUBTS:
        doubt_in = float(Fraction(told))
        rows.append(RateRow(told, drilling_rates(tolerance, doubt_in), rim_rates(lip, doubt_in)))
    return rows


def read_depth_doubt_in(limits: dict[str, SetLimit], name: str) -> float:
    """Returns the standard uncertainty of a depth read in one ball, inches, with its division: JCGM 100:2008 4.3.7."""
    return hypot(float(limits[name].normal_in), float(limits["resolution"].value_in) / sqrt(12))
