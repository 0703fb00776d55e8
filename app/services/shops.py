"""Shops: ours, others, and merged ones. A merger is one field, which is cleared to undo it."""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, bindparam, func, select
from sqlalchemy.orm import Session

from app.access import OWNER, Actor
from app.errors import InvalidError, NotAllowedError, NotFoundError
from app.models import Shop, Staff
from app.schemas.identities import PersonForm, SetupForm
from app.schemas.shops import LookForm, MergerForm, ShopForm, UnmergingForm
from app.services import accounts, changes, shop_keys

LARGEST_PICTURE = 60_000  # bytes: every page shows it
_KINDS = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n\x1a\n": "image/png"}


def get_our_shop(session: Session) -> Shop | None:
    """Returns the shop for which this session acts, else the first of the chain; None before the set-up."""
    own = session.info.get("shop_id")
    if own:
        return session.get(Shop, own)
    return session.scalar(select(Shop).where(Shop.is_ours).order_by(Shop.id).limit(1))


def require_our_shop(session: Session) -> Shop:
    """Returns the shop for which this session acts; raises NotFoundError before the set-up."""
    shop = get_our_shop(session)
    if shop is None:
        raise NotFoundError("This shop has not been set up yet.")
    return shop


def list_staff(session: Session) -> Sequence[Staff]:
    """Returns the active staff of our shop, by initials."""
    ours = get_our_shop(session)
    query = select(Staff).where(Staff.is_active, Staff.shop_id == (ours.id if ours else None))
    return session.scalars(query.order_by(Staff.initials)).all()


def list_shops(session: Session) -> Sequence[Shop]:
    """Returns every shop in use: ours first, then the others of the chain."""
    ours = get_our_shop(session)
    used = select(Shop).where(Shop.removed_at.is_(None))
    known = session.scalars(used.order_by(Shop.is_ours.desc(), Shop.name)).all()
    return sorted(known, key=lambda shop: shop is not ours)


def list_other_shops(session: Session) -> Sequence[Shop]:
    """Returns every shop but ours, including other shops of the chain."""
    ours = get_our_shop(session)
    return [shop for shop in list_shops(session) if shop is not ours]


def list_chain_shops(session: Session) -> Sequence[Shop]:
    return [shop for shop in list_shops(session) if shop.is_ours]


def get_shop(session: Session, shop_id: int) -> Shop:
    """Returns a shop; raises NotFoundError."""
    found = session.get(Shop, shop_id)
    if found is None:
        raise NotFoundError("There is no such shop.")
    return found


def set_up(session: Session, form: SetupForm) -> Staff:
    """Sets up our shop and returns its first owner, also for records older than accounts.

    Raises InvalidError if it is set up already.
    """
    if accounts.is_set_up(session):
        raise InvalidError.at("", "This shop has been set up already.")
    ours = get_our_shop(session)
    if ours is None:
        if not form.shop_name:
            raise InvalidError.at("shop_name", "This is needed.")
        ours = _add_own_shop(session, form.shop_name, form.town)
        session.info["shop_id"] = ours.id
        changes.add_record(session, None, ours, ours.name)
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
    session.flush()
    shop_keys.get_key(session, None, ours)
    return owner


def add_chain_shop(session: Session, form: ShopForm) -> Shop:
    """Adds a shop to the chain, with its own people, collars and depths; bowlers and hardware are shared."""
    _free_name(session, form, 0)
    added = _add_own_shop(session, form.name, form.town)
    changes.add_record(session, form.who, added, f"{added.name}, of our chain")
    shop_keys.get_key(session, form.who, added)
    return added


def _add_own_shop(session: Session, name: str, town: str) -> Shop:
    """Adds a shop of the chain, recorded as made by itself, so that its own people may edit it."""
    added = Shop(name=name, town=town, is_ours=True)
    session.add(added)
    session.flush()
    added.made_by_shop_id = added.id
    return added


def add_shop(session: Session, form: ShopForm) -> Shop:
    """Adds a shop; one of this name that was taken back with its card comes back."""
    gone = session.scalar(select(Shop).where(Shop.name == form.name, Shop.removed_at.is_not(None)))
    if gone:
        changes.revise(session, form.who, gone, {"town": form.town, "notes": form.notes, "removed_at": None})
        return gone
    _free_name(session, form, 0)
    added = Shop(name=form.name, town=form.town, notes=form.notes)
    changes.add_record(session, form.who, added, added.name)
    return added


def change_look(session: Session, shop_id: int, form: LookForm, picture: bytes) -> Shop:
    """Sets the accent of a shop of the chain, and its picture if there is one; raises InvalidError."""
    changed = get_shop(session, shop_id)
    changes.require_version(session, changed, form.version)
    if not changed.is_ours:
        raise InvalidError.at("accent", "Only a shop of the chain has pages of its own.")
    if len(picture) > LARGEST_PICTURE:
        raise InvalidError.at("photo", f"That picture is too large: at most {LARGEST_PICTURE // 1000} kB.")
    kind = _detect_kind(picture) if picture else "" if form.takes_picture_away else changed.picture_type
    changes.revise(session, form.who, changed, {"accent": form.accent, "picture_type": kind})
    if picture or form.takes_picture_away:
        changed.picture = picture or None
    return changed


def _detect_kind(picture: bytes) -> str:
    """Returns the media type of a picture from its first bytes, not its name; raises InvalidError for others."""
    found = next((kind for start, kind in _KINDS.items() if picture.startswith(start)), "")
    if not found:
        raise InvalidError.at("photo", "That is no picture that can be kept: JPEG or PNG.")
    return found


def get_picture(session: Session, shop_id: int) -> tuple[bytes, str]:
    """Returns a shop's picture and its media type; raises NotFoundError."""
    found = get_shop(session, shop_id)
    if not found.picture:
        raise NotFoundError("This shop has no picture.")
    return found.picture, found.picture_type


def edit_shop(session: Session, shop_id: int, form: ShopForm) -> Shop:
    edited = get_shop(session, shop_id)
    changes.require_version(session, edited, form.version)
    _free_name(session, form, edited.id)
    values = {"name": form.name, "town": form.town, "notes": form.notes, "removed_at": None}
    changes.revise(session, form.who, edited, values)
    return edited


def merge(session: Session, shop_id: int, form: MergerForm) -> Shop:
    """Merges a shop into another, for which its observations then count; raises InvalidError. It can be undone."""
    gone, kept = get_shop(session, shop_id), get_shop(session, form.into_id)
    changes.require_version(session, gone, form.version)
    if gone.is_ours or gone.id == kept.id or kept.merged_into_id:
        raise InvalidError.at("into_id", "Choose another shop that is not merged itself. Ours cannot be merged.")
    require_own_collar(session, kept)
    changes.revise(session, form.who, gone, {"merged_into_id": kept.id}, f"one shop with {kept.name}")
    return kept


def unmerge(session: Session, shop_id: int, form: UnmergingForm) -> Shop:
    """Undoes a merger: each shop has only its own observations again."""
    gone = get_shop(session, shop_id)
    changes.require_version(session, gone, form.version)
    require_own_collar(session, gone)
    changes.revise(session, form.who, gone, {"merged_into_id": None}, "two shops after all")
    return gone


def require_own_collar(session: Session, of: Shop) -> None:
    """Raises NotAllowedError for the collar of another shop of the chain, if each shop edits only its own records."""
    actor: Actor | None = session.info.get("actor")
    counted = get_shop(session, of.merged_into_id) if of.merged_into_id else of
    if actor and counted.is_ours and not actor.may_speak_for(counted.id):
        raise NotAllowedError(
            f"How deep {counted.name} bores is for its own people or an owner to say, so nothing was saved. "
            "Leave the depth out, or have it entered there."
        )


def select_counted_as() -> ColumnElement[int]:
    """Returns an SQL expression for the id of the shop that a shop is merged into, else its own id."""
    return func.coalesce(Shop.merged_into_id, Shop.id)


_WANTED = Shop.id.in_(bindparam("shop_ids", expanding=True))
# the shop is one of `shop_ids`, a parameter, or merged with one of them
IS_COUNTED_WITH = select_counted_as().in_(select(select_counted_as()).where(_WANTED).correlate(None))


def _free_name(session: Session, form: ShopForm, own_id: int) -> None:
    """Takes a name from a shop that was taken back and is listed nowhere; raises InvalidError if it is in use."""
    other = session.scalar(select(Shop).where(Shop.name == form.name, Shop.id != own_id))
    if other and not other.removed_at:
        raise InvalidError.at("name", "There is a shop of that name already. Pick it, or add the town to the name.")
    if other:
        changes.revise(session, form.who, other, {"name": f"{other.name[:90]} (taken back {other.id})"})
        session.flush()
