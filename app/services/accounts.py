"""People of the shop: accounts, invitations, passwords and PINs."""

import secrets
from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.access import OWNER
from app.errors import InvalidError, NotFoundError
from app.models import Shop, Staff, now
from app.schemas.identities import PasswordForm, PersonForm, PinForm, WelcomeForm
from app.services import changes, hashes, sign_ins, tries

INVITATION_LASTS = timedelta(hours=24)
WEAKEST = 3  # zxcvbn's score of 0 to 4: fewer than 10^8 guesses is refused


def is_set_up(session: Session) -> bool:
    """Whether at least one owner can sign in."""
    owners = select(Staff.id).where(Staff.role == OWNER, Staff.is_active, Staff.password_hash != "").limit(1)
    return session.scalar(owners) is not None


def list_people(session: Session) -> Sequence[Staff]:
    """Returns all staff of the chain, sorted by shop and initials."""
    query = select(Staff).options(joinedload(Staff.shop)).order_by(Staff.shop_id, Staff.initials)
    return session.scalars(query).all()


def get_person(session: Session, staff_id: int) -> Staff:
    """Returns a member of staff; raises NotFoundError."""
    found = session.scalar(select(Staff).where(Staff.id == staff_id).options(joinedload(Staff.shop)))
    if found is None:
        raise NotFoundError("There is no such person.")
    return found


def add_person(session: Session, who: int | None, form: PersonForm, shop_id: int) -> Staff:
    """Adds and returns a member of staff of a shop of the chain, who can sign in only after an invitation."""
    added = Staff(shop_id=shop_id)
    _require_free_names(session, added, form, shop_id)
    added.name, added.initials, added.role = form.name, form.initials.upper(), form.role
    added.sign_in_name = _read_sign_in_name(form)
    changes.add_record(session, who, added, f"{added.name} ({added.initials}), {added.role}")
    return added


def _read_sign_in_name(form: PersonForm) -> str:
    return (form.sign_in_name or form.initials).casefold()


def _require_free_names(session: Session, of: Staff, form: PersonForm, shop_id: int) -> None:
    """Raises InvalidError for initials or a sign-in name that another person has."""
    initials, sign_in_name = form.initials.upper(), _read_sign_in_name(form)
    same = select(Staff.id).where(Staff.shop_id == shop_id, Staff.initials == initials, Staff.id != (of.id or 0))
    if session.scalar(same.limit(1)):
        raise InvalidError.at("initials", f"{initials} is taken in that shop. Use initials nobody else there has.")
    if session.scalar(select(Staff.id).where(Staff.sign_in_name == sign_in_name, Staff.id != (of.id or 0)).limit(1)):
        message = f"Somebody signs in as {sign_in_name} already. Choose another name to sign in with."
        raise InvalidError.at("sign_in_name", message)


def edit_person(session: Session, staff_id: int, form: PersonForm) -> Staff:
    """Changes a person's name, role, shop or activity; raises InvalidError if no owner would be left."""
    edited = get_person(session, staff_id)
    changes.require_version(session, edited, form.version)
    shop_id = get_chain_shop(session, form.shop_id or edited.shop_id or 0).id
    _require_free_names(session, edited, form, shop_id)
    stays_owner = form.role == OWNER and form.is_active
    if edited.role == OWNER and edited.is_active and not stays_owner and _is_last_owner(session, edited):
        raise InvalidError.at("role", "This is the last owner who can sign in. Make somebody else an owner first.")
    values = {
        "name": form.name,
        "initials": form.initials.upper(),
        "role": form.role,
        "shop_id": shop_id,
        "sign_in_name": _read_sign_in_name(form),
        "is_active": form.is_active,
    }
    changes.revise(session, form.who, edited, values)
    if not form.is_active:
        sign_ins.end_all(session, edited.id, form.who)
    return edited


def get_chain_shop(session: Session, shop_id: int) -> Shop:
    """Returns a shop of the chain; raises InvalidError for any other shop."""
    shop = session.get(Shop, shop_id)
    if shop is None or not shop.is_ours:
        raise InvalidError.at("shop_id", "Choose a shop of ours.")
    return shop


def _is_last_owner(session: Session, of: Staff) -> bool:
    owners = select(func.count()).select_from(Staff).where(Staff.role == OWNER, Staff.is_active, Staff.id != of.id)
    return session.scalar(owners.where(Staff.password_hash != "")) == 0


def invite(session: Session, who: int | None, staff_id: int) -> str:
    """Returns a code, valid once and for a day, with which a person sets their own password; it is shown once."""
    invited = get_person(session, staff_id)
    code = secrets.token_urlsafe(16)
    invited.invite_hash, invited.invited_until = hashes.digest(code), now() + INVITATION_LASTS
    changes.note(session, who, invited, changes.Entry("invitation", "", "made"))
    return code


def accept_invitation(session: Session, form: WelcomeForm, address: str) -> Staff:
    """Accepts an invitation: sets the password, and a PIN if one is given; raises InvalidError for a wrong code."""
    name = form.sign_in_name.casefold()
    tried = tries.count_try(session, tries.PASSWORD, name, address)
    invited = session.scalar(select(Staff).where(Staff.sign_in_name == name, Staff.is_active))
    is_open = invited and invited.invited_until and invited.invited_until > now()
    if not invited or not is_open or not secrets.compare_digest(invited.invite_hash, hashes.digest(form.code.strip())):
        session.rollback()
        raise InvalidError.at("code", "That code does not open an account. Ask the owner for a new one.")
    tries.take_back(session, tried)
    session.info.setdefault("shop_id", invited.shop_id)
    set_password(session, invited, form.password)
    if form.pin:
        give_pin(session, invited, form.pin)
    invited.invite_hash, invited.invited_until = "", None
    sign_ins.end_all(session, invited.id, invited.id)
    return invited


def set_password(session: Session, of: Staff, password: str) -> None:
    """Sets a password; raises InvalidError for a weak one: names of the person and the shop count as weak."""
    names = [of.name, of.initials, of.sign_in_name, "spanbook", *session.scalars(select(Shop.name).where(Shop.is_ours))]
    known = [part for name in names for part in (name, *name.split())]
    from zxcvbn import zxcvbn  # noqa: PLC0415 - its word lists take a while, and passwords are seldom set

    found = zxcvbn(password[:72], user_inputs=known)
    if found["score"] < WEAKEST:
        advice = " ".join([found["feedback"]["warning"], *found["feedback"]["suggestions"]]).strip()
        raise InvalidError.at("password", f"That is guessed too easily. {advice}")
    of.password_hash = hashes.hash_secret(password)
    changes.note(session, of.id, of, changes.Entry("password", "", "set"))


def change_password(session: Session, of: Staff, form: PasswordForm, address: str) -> None:
    """Changes one's own password; raises InvalidError for a wrong present one."""
    require_present(session, of, form.present, address)
    set_password(session, of, form.password)


def set_pin(session: Session, of: Staff, form: PinForm, address: str) -> None:
    """Sets one's own PIN; raises InvalidError for a wrong password or a weak PIN."""
    require_present(session, of, form.present, address)
    give_pin(session, of, form.pin)


def require_present(session: Session, of: Staff, password: str, address: str) -> None:
    """Raises InvalidError for a wrong present password, with the rate limit of signing in."""
    tried = tries.count_try(session, tries.PASSWORD, of.sign_in_name, address)
    if not hashes.is_right(of.password_hash, password):
        tries.note_last_try(session, tried, of)
        raise InvalidError.at("present", "That is not your present password.")
    tries.take_back(session, tried)


def give_pin(session: Session, of: Staff, pin: str) -> None:
    """Sets a PIN; raises InvalidError for one that is guessed easily."""
    if len(set(pin)) < 3 or pin in "01234567890" or pin in "09876543210":
        raise InvalidError.at("pin", "That PIN is guessed first. Mix more digits.")
    of.pin_hash = hashes.hash_secret(pin)
    changes.note(session, of.id, of, changes.Entry("PIN", "", "set"))
