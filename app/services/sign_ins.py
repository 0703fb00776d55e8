"""Signing in, acting by PIN, and passes for ticks that wait for the network.

Several people share one screen, so the PIN is a field of every form; by PIN an owner acts as a driller. A sign-in ends
after four idle hours and after a day. There is no second factor: a shop's machines are often offline and shared.
"""

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import bindparam, case, delete, select, update
from sqlalchemy.orm import Session, joinedload

from app.access import CLOCK_SLACK, Lifetime
from app.errors import InvalidError, SignedOutError
from app.models import Shop, SignIn, Staff, TickPass, now
from app.prepared import AnyAsked, Prepared, fetch_together
from app.queries import constant
from app.schemas.identities import SignInForm
from app.services import changes, hashes, tries

SEEN_EVERY = timedelta(minutes=5)
PASS_LASTS = timedelta(hours=1)


def _get_person(session: Session, staff_id: int) -> Staff:
    return session.get_one(Staff, staff_id, options=[joinedload(Staff.shop)])


def sign_in(session: Session, form: SignInForm, address: str, browser: str) -> tuple[SignIn, str]:
    """Signs a person in by password; returns the sign-in and the browser's token. Raises InvalidError.

    The password is verified outside a transaction: hashing takes a tenth of a second, and writers would wait.
    """
    found = _find_by_name(session, form.sign_in_name)
    name = found.sign_in_name if found else form.sign_in_name.casefold()
    tried = tries.count_try(session, tries.PASSWORD, name, address)
    staff_id, stored = (found.id, found.password_hash) if found else (0, "")
    session.rollback()
    if not hashes.is_right(stored, form.password):
        tries.note_last_try(session, tried, found)
        raise InvalidError.at("password", "That name and password do not go together.")
    tries.take_back(session, tried)
    if hashes.hasher.check_needs_rehash(stored):
        _get_person(session, staff_id).password_hash = hashes.hash_secret(form.password)
    return open_sign_in(session, _get_person(session, staff_id), browser)


def _find_by_name(session: Session, typed: str) -> Staff | None:
    """Returns who signs in with this name, or is the only one of this full name."""
    active = session.scalars(select(Staff).where(Staff.is_active).order_by(Staff.id)).all()
    by_sign_in_name = [person for person in active if person.sign_in_name == typed.casefold()]
    plain = " ".join(typed.split()).casefold()
    by_name = [person for person in active if " ".join(person.name.split()).casefold() == plain]
    found = by_sign_in_name or by_name
    return found[0] if len(found) == 1 else None


def open_sign_in(session: Session, of: Staff, browser: str = "") -> tuple[SignIn, str]:
    """Adds a sign-in; returns it with the only copy of its token."""
    token = secrets.token_urlsafe(32)
    opened = SignIn(token_hash=hashes.digest(token), opened_by_id=of.id, staff_id=of.id, browser=browser[:200])
    session.add(opened)
    session.info.setdefault("shop_id", of.shop_id)
    changes.note(session, of.id, of, changes.Entry("signed in", "", browser[:60]))
    return opened, token


class Present(NamedTuple):
    """The state of a browser: its sign-in, the person who acts in it now, and their shop."""

    id: int
    staff_id: int
    is_full: bool
    at: datetime
    seen_at: datetime
    name: str
    initials: str
    role: str
    shop_id: int | None
    shop_name: str | None
    accent: str | None
    picture: int | None  # its version, if the shop has one


_sign_in, _staff, _shop = SignIn.__table__, Staff.__table__, Shop.__table__  # sent by every page, so without the ORM
_PRESENT = select(
    *(_sign_in.c.id, _sign_in.c.staff_id, _sign_in.c.is_full, _sign_in.c.at, _sign_in.c.seen_at),
    *(_staff.c.name, _staff.c.initials, _staff.c.role, _staff.c.shop_id, _shop.c.name.label("shop_name")),
    *(_shop.c.accent, case((_shop.c.picture_type != constant(""), _shop.c.version)).label("picture")),
).select_from(
    _sign_in.join(_staff, _staff.c.id == _sign_in.c.staff_id).outerjoin(_shop, _shop.c.id == _staff.c.shop_id)
)
_BY_TOKEN = Prepared(
    _PRESENT.where(_sign_in.c.token_hash == bindparam("token_hash"), _sign_in.c.ended_at.is_(None), _staff.c.is_active),
    Present,
)
_BY_ID = _PRESENT.where(_sign_in.c.id == bindparam("sign_in_id"))


def find_present(session: Session, token: str, lifetime: Lifetime, *with_it: AnyAsked) -> Present | None:
    """Returns the state of the browser with this token, or None if its sign-in has ended or expired.

    `with_it` are fetched in the same round trip.
    """
    asked = _BY_TOKEN.ask(token_hash=hashes.digest(token))
    fetch_together(session, asked, *with_it)
    if not asked.rows:
        return None
    found = asked.rows[0]
    moment = now()
    is_fresh = moment - found.seen_at < lifetime.idle and moment - found.at < lifetime.absolute
    is_from_the_future = found.at > moment + CLOCK_SLACK  # the clock was set back, so the sign-in could last too long
    return found if is_fresh and not is_from_the_future else None


def is_seen_long_ago(of: Present, lifetime: Lifetime) -> bool:
    """Whether the time of last use is old enough to be updated, well before the sign-in expires."""
    return now() - of.seen_at >= min(SEEN_EVERY, lifetime.idle / 4)


def mark_seen(session: Session, of: Present) -> None:
    session.execute(update(SignIn).where(SignIn.id == of.id).values(seen_at=now()))


def switch(session: Session, of: Present, staff_id: int, pin: str) -> Present:
    """Lets another person of the same shop act in a signed-in browser, by PIN; raises InvalidError for a wrong one."""
    chosen = session.get(Staff, staff_id)
    if chosen is None or not chosen.is_active or chosen.shop_id != of.shop_id:
        raise InvalidError.at("who", "Tap your initials.")
    if not pin:
        raise InvalidError.at("pin", f"Type the PIN of {chosen.initials}, or tap {of.initials} again.")
    stored, initials = chosen.pin_hash, chosen.initials
    if not stored:
        raise InvalidError.at("pin", f"{initials} has no PIN yet: it is set under “My account”.")
    _count_on_sign_in(session, of)
    tried = tries.count_try(session, tries.PIN, str(staff_id), str(of.shop_id))
    is_right = hashes.is_right(stored, pin)
    used = session.get_one(SignIn, of.id, populate_existing=True)
    if not is_right:
        _end_after_wrong_pins(session, used)
        tries.note_last_try(session, tried, _get_person(session, staff_id))
        raise InvalidError.at("pin", f"That is not the PIN of {initials}.")
    tries.take_back(session, tried)
    chosen = _get_person(session, staff_id)
    used.staff, used.is_full, used.pin_failures = chosen, False, 0
    changes.note(session, chosen.id, chosen, changes.Entry("acts by PIN", "", ""))
    session.commit()  # a form refused for another reason needs no PIN again
    return Present._make(session.execute(_BY_ID, {"sign_in_id": of.id}).one())


def _count_on_sign_in(session: Session, of: Present) -> None:
    """Counts one more PIN for this browser before it is verified; the next count commits it."""
    open_still = update(SignIn).where(SignIn.id == of.id, SignIn.pin_failures < tries.TRIES_A_PIN)
    counted = session.execute(open_still.values(pin_failures=SignIn.pin_failures + 1))
    if not counted.rowcount:  # type: ignore[attr-defined]
        session.rollback()
        raise SignedOutError()


def _end_after_wrong_pins(session: Session, of: SignIn) -> None:
    """Ends the sign-in after five wrong PINs, so that the password is needed again."""
    if of.pin_failures >= tries.TRIES_A_PIN and of.ended_at is None:
        of.ended_at = now()
        changes.note(
            session, None, _get_person(session, of.staff_id), changes.Entry("signed out", "", "after wrong PINs")
        )


def make_pass(session: Session, of: Present, drilling_id: int) -> str:
    """Returns a token that replaces this person's PIN in ticks of one drilling for an hour; its only copy."""
    session.execute(delete(TickPass).where(TickPass.expires_at < now()))
    token = secrets.token_urlsafe(32)
    bound = {"staff_id": of.staff_id, "shop_id": of.shop_id, "drilling_id": drilling_id}
    session.add(TickPass(token_hash=hashes.digest(token), expires_at=now() + PASS_LASTS, **bound))
    return token


def find_present_by_pass(session: Session, of: Present, staff_id: int, token: str, drilling_id: int) -> Present | None:
    """Returns the state with this person acting, for one request; None without a valid pass."""
    query = (
        select(Staff)
        .join(TickPass, TickPass.staff_id == Staff.id)
        .where(
            TickPass.token_hash == hashes.digest(token),
            TickPass.expires_at > now(),
            TickPass.drilling_id == drilling_id,
        )
        .where(Staff.id == staff_id, Staff.is_active, Staff.shop_id == TickPass.shop_id, Staff.shop_id == of.shop_id)
    )
    found = session.scalar(query)
    if found is None:
        return None
    return of._replace(staff_id=found.id, is_full=False, name=found.name, initials=found.initials, role=found.role)


def end(session: Session, of: Present) -> None:
    ended = session.get_one(SignIn, of.id)
    ended.ended_at = now()
    changes.note(session, of.staff_id, _get_person(session, of.staff_id), changes.Entry("signed out", "", ""))


def end_by_token(session: Session, token: str) -> None:
    """Ends the sign-in of this token, if there is one."""
    ended = update(SignIn).where(SignIn.token_hash == hashes.digest(token), SignIn.ended_at.is_(None))
    session.execute(ended.values(ended_at=now()))


def end_all(session: Session, staff_id: int, who: int | None, but: Present | None = None) -> int:
    """Ends every sign-in that a person opened or acts in, except `but`; returns their number."""
    own = (SignIn.opened_by_id == staff_id) | (SignIn.staff_id == staff_id)
    query = update(SignIn).where(own, SignIn.ended_at.is_(None), SignIn.id != (but.id if but else 0))
    count = session.execute(query.values(ended_at=now())).rowcount  # type: ignore[attr-defined]
    if count:
        changes.note(
            session, who, _get_person(session, staff_id), changes.Entry("signed out everywhere", "", str(count))
        )
    return int(count)


def list_open_sign_ins(session: Session, staff_id: int) -> Sequence[SignIn]:
    query = select(SignIn).where(SignIn.opened_by_id == staff_id, SignIn.ended_at.is_(None))
    return session.scalars(query.order_by(SignIn.seen_at.desc()).limit(20)).all()
