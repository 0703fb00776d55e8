"""Shops, who works in ours, and the numbers our shop has set for itself.

Limits that the shop has not set say ASSUMED wherever they are used (`LIMITS`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import inf, isinf
from typing import Literal

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from app.access import OWNER, Actor
from app.calculation.depths import NORMAL_FACTOR
from app.calculation.ovals import FINEST_CUSP_IN
from app.calculation.tolerances import FINEST_DIVISION_IN, floored_doubt_in, reading_half_width_in
from app.errors import InvalidError, NotAllowedError, NotFoundError
from app.measures.lengths import read_length
from app.measures.reading import QUANTITIES
from app.models import Setting, Shop, Staff
from app.schemas.identities import PersonForm, SetupForm
from app.schemas.shops import MergerForm, SettingForm, ShopForm, UnmergingForm
from app.services import accounts, changes

ASSUMED = "ASSUMED"


@dataclass(frozen=True)
class Limit:
    """One number of the shop's, inches: its default stands, marked ASSUMED, until the shop sets it."""

    name: str
    words: str
    help: str
    default: str
    quantity: str = "tolerance"
    kind: Literal["limit", "doubt", "division"] = "limit"

    def usable(self, value_in: Fraction) -> Fraction:
        """What any page may reckon with, whatever was stored: within the bounds, and no doubt or division of 0."""
        if self.kind == "doubt":
            floored = floored_doubt_in(float(value_in))
            return value_in if floored == float(value_in) else Fraction(floored).limit_denominator(10**6)
        least = Fraction(str(FINEST_DIVISION_IN)) if self.kind == "division" else _LEAST.get(self.name, Fraction(0))
        return min(max(value_in, least), QUANTITIES[self.quantity].high)


_LEAST = {"cusp": Fraction(str(FINEST_CUSP_IN))}

LIMITS = (
    Limit("tolerance", "Sleeve-to-cut tolerance", "How far it may be from the prediction, either way.", "1/64"),
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
        "Standard uncertainty of one reading; read to 1/64 it is 1/64 ÷ √12 (JCGM 100, 4.3.7).",
        "0.0045",
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
        "safe_depth",
        "Safe depth of a ball",
        "The deepest to bore where a ball has no depth of its own.",
        "3 1/4",
        "allowance",
    ),
)
_LIMITS = {known.name: known for known in LIMITS}


@dataclass(frozen=True)
class SetLimit:
    """A limit as it holds now, and who or what says so."""

    limit: Limit
    value_in: Fraction
    typed: str
    source: str
    version: int = 0
    freedom: float = inf

    @property
    def half_width_in(self) -> float:
        """Half of the 95 % interval of one reading of this doubt: Student's t where a gauge study found it."""
        return reading_half_width_in(float(self.value_in), self.freedom)

    @property
    def normal_in(self) -> Fraction:
        """The doubt whose 1.96-fold is that half width: for what is weighted as if its doubt were known."""
        if isinf(self.freedom):
            return self.value_in
        return Fraction(self.half_width_in / NORMAL_FACTOR).limit_denominator(10**6)

    @property
    def is_assumed(self) -> bool:
        return self.source == ASSUMED


def our_shop(session: Session) -> Shop | None:
    """The shop this session acts for; the first of the chain where nobody is signed in."""
    own = session.info.get("shop_id")
    if own:
        return session.get(Shop, own)
    return session.scalar(select(Shop).where(Shop.is_ours).order_by(Shop.id).limit(1))


def require_our_shop(session: Session) -> Shop:
    shop = our_shop(session)
    if shop is None:
        raise NotFoundError("This shop has not been set up yet.")
    return shop


def staff(session: Session) -> Sequence[Staff]:
    """Who can act in our shop, by initials."""
    ours = our_shop(session)
    query = select(Staff).where(Staff.is_active, Staff.shop_id == (ours.id if ours else None))
    return session.scalars(query.order_by(Staff.initials)).all()


def shops(session: Session) -> Sequence[Shop]:
    """Every shop: ours first, then the others of the chain."""
    ours = our_shop(session)
    known = session.scalars(select(Shop).order_by(Shop.is_ours.desc(), Shop.name)).all()
    return sorted(known, key=lambda shop: shop is not ours)


def other_shops(session: Session) -> Sequence[Shop]:
    """Every shop whose bores are not ours: strangers', and those of the chain's other shops."""
    ours = our_shop(session)
    return [shop for shop in shops(session) if shop is not ours]


def chain_shops(session: Session) -> Sequence[Shop]:
    return [shop for shop in shops(session) if shop.is_ours]


def shop(session: Session, shop_id: int) -> Shop:
    found = session.get(Shop, shop_id)
    if found is None:
        raise NotFoundError("There is no such shop.")
    return found


def set_up(session: Session, form: SetupForm) -> Shop:
    """The first run, or the first owner of records made before there were accounts: our shop, and who owns it."""
    if accounts.is_set_up(session):
        raise InvalidError.at("", "This shop has been set up already.")
    ours = our_shop(session)
    if ours is None:
        if not form.shop_name:
            raise InvalidError.at("shop_name", "This is needed.")
        ours = _own_shop(session, form.shop_name, form.town)
        session.info["shop_id"] = ours.id
        changes.made(session, None, ours, ours.name)
    session.info["shop_id"] = ours.id
    initials = form.initials.upper()
    owner = session.scalar(select(Staff).where(Staff.shop_id == ours.id, Staff.initials == initials))
    if owner is None:
        person = PersonForm(who=0, name=form.staff_name, initials=initials, role="owner")
        owner = accounts.add_person(session, None, person, ours.id)
    owner.role, owner.is_active = OWNER, True
    accounts.set_password(session, owner, form.password)
    if form.pin:
        accounts.give_pin(session, owner, form.pin)
    return ours


def add_chain_shop(session: Session, form: ShopForm) -> Shop:
    """One more shop of our own, with its own people, collars and depths; bowlers and hardware are shared."""
    _require_free_name(session, form.name, None)
    added = _own_shop(session, form.name, form.town)
    changes.made(session, form.who, added, f"{added.name}, of our chain")
    return added


def _own_shop(session: Session, name: str, town: str) -> Shop:
    """A shop of the chain counts as made by itself, so that its own people may edit it."""
    added = Shop(name=name, town=town, is_ours=True)
    session.add(added)
    session.flush()
    added.made_by_shop_id = added.id
    return added


def add_shop(session: Session, form: ShopForm) -> Shop:
    _require_free_name(session, form.name, None)
    added = Shop(name=form.name, town=form.town, notes=form.notes)
    changes.made(session, form.who, added, added.name)
    return added


def edit_shop(session: Session, shop_id: int, form: ShopForm) -> Shop:
    edited = shop(session, shop_id)
    changes.require_version(session, edited, form.version)
    _require_free_name(session, form.name, edited.id)
    changes.revise(session, form.who, edited, {"name": form.name, "town": form.town, "notes": form.notes})
    return edited


def merge(session: Session, shop_id: int, form: MergerForm) -> Shop:
    """Says that two shops are one: what was observed of the first counts for the second. It can be undone."""
    gone, kept = shop(session, shop_id), shop(session, form.into_id)
    changes.require_version(session, gone, form.version)
    if gone.is_ours or gone.id == kept.id or kept.merged_into_id:
        raise InvalidError.at("into_id", "Choose another shop, and one that is not merged itself. Ours stays ours.")
    require_own_collar(session, kept)
    changes.revise(session, form.who, gone, {"merged_into_id": kept.id}, f"one shop with {kept.name}")
    return kept


def unmerge(session: Session, shop_id: int, form: UnmergingForm) -> Shop:
    """Takes a merger back: each shop has its own observations again."""
    gone = shop(session, shop_id)
    changes.require_version(session, gone, form.version)
    require_own_collar(session, gone)
    changes.revise(session, form.who, gone, {"merged_into_id": None}, "two shops after all")
    return gone


def require_own_collar(session: Session, of: Shop) -> None:
    """Refuses to move what another shop of the chain bores, where the chain says that each edits its own."""
    actor: Actor | None = session.info.get("actor")
    counted = shop(session, of.merged_into_id) if of.merged_into_id else of
    if actor and counted.is_ours and not actor.may_speak_for(counted.id):
        raise NotAllowedError(
            f"How deep {counted.name} bores is for its own people or an owner to say, so nothing was saved. "
            "Leave the depth out, or have it entered there."
        )


def counts_as() -> ColumnElement[int]:
    """SQL: the shop that a shop counts as, itself unless it was merged into another."""
    return func.coalesce(Shop.merged_into_id, Shop.id)


def counted_with(shop_ids: Iterable[int]) -> ColumnElement[bool]:
    """SQL: whether a shop counts as the same as one of these."""
    return counts_as().in_(select(counts_as()).where(Shop.id.in_(set(shop_ids))).correlate(None))


def _require_free_name(session: Session, name: str, own_id: int | None) -> None:
    other = session.scalar(select(Shop).where(Shop.name == name))
    if other and other.id != own_id:
        raise InvalidError.at("name", "There is a shop of that name already. Pick it, or add the town to the name.")


def limits(session: Session) -> dict[str, SetLimit]:
    """Every limit by name, as set by the shop or ASSUMED; what an older program let in is made usable here."""
    rows = {row.name: row for row in session.scalars(select(Setting))}
    return {
        known.name: SetLimit(known, known.usable(row.value_in), row.typed, row.source, row.version, row.freedom or inf)
        if (row := rows.get(known.name))
        else SetLimit(known, _default(known), known.default, ASSUMED)
        for known in LIMITS
    }


@cache
def _default(limit: Limit) -> Fraction:
    return read_length(limit.default, QUANTITIES[limit.quantity]).value or Fraction(0)


def limit(name: str) -> Limit:
    if name not in _LIMITS:
        raise NotFoundError("There is no such setting.")
    return _LIMITS[name]


def set_limit(session: Session, name: str, form: SettingForm, freedom: float = inf) -> None:
    """Sets one of the shop's numbers, with where it comes from; 0 for a doubt is kept as the finest division's.

    `freedom`: degrees of freedom of a doubt found by a gauge study; infinite where it is stated.
    """
    known = limit(name)
    value = form.value.value
    if value is None:
        raise InvalidError.at("value", "This is needed.")
    value = known.usable(value)
    row = session.get(Setting, name)
    old = row.value_in if row else None
    if row:
        changes.require_version(session, row, form.version)
    else:
        row = Setting(name=name, value_in=value, typed=form.value.text, source=form.source)
        session.add(row)
    row.value_in, row.typed, row.source = value, form.value.text, form.source
    row.freedom = None if isinf(freedom) else freedom
    ours = require_our_shop(session)
    changes.note(session, form.who, ours, f"setting {known.words.lower()}", old, value, form.source)
