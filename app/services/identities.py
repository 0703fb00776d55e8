"""Accounts, signing in, acting by PIN, and API tokens. Secrets are stored as hashes only.

Several people share one screen, so the PIN is a field of every form; by PIN an owner acts as a driller. A try is
committed before it is checked, and taken back when right. A sign-in ends after four idle hours and after a day. There
is no second factor: a shop's machines are often offline and shared.
"""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from threading import Semaphore
from typing import NamedTuple

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import bindparam, delete, func, select, update
from sqlalchemy.orm import Session, joinedload

from app.access import CLOCK_SLACK, OWNER, Lifetime
from app.errors import FieldError, InvalidError, NotFoundError, SignedOutError, TooManyTriesError
from app.models import ApiToken, Attempt, Change, Rule, Shop, SignIn, Staff, TickPass, now
from app.schemas.identities import PasswordForm, PersonForm, PinForm, RuleForm, SignInForm, TokenForm, WelcomeForm
from app.services import changes

INVITATION_LASTS = timedelta(hours=24)
SEEN_EVERY = timedelta(minutes=5)
TRIES_LAST = timedelta(minutes=15)
TRIES_A_NAME, TRIES_AN_ADDRESS, TRIES_A_PIN, TRIES_A_SHOP = 5, 30, 5, 20
PINS_A_DAY = 20  # wrong ones of one person: four digits then last for more than a year of guessing
PASS_LASTS = timedelta(hours=1)
WEAKEST = 3  # zxcvbn's score of 0 to 4: fewer than 10^8 guesses is refused

hasher = PasswordHasher()  # Argon2id with the library's parameters (RFC 9106, low-memory profile)
_hashing = Semaphore(2)  # each takes 64 MiB and a core


def digest(token: str) -> str:
    """What is stored of a random token: it holds 256 bits, so a plain SHA-256 is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def _hash(secret: str) -> str:
    with _hashing:
        return hasher.hash(secret)


_nobody: list[str] = []  # one hash to check in vain, so that an unknown name takes as long as a known one


def _is_right(stored: str, secret: str) -> bool:
    if not _nobody:
        _nobody.append(_hash(secrets.token_urlsafe()))
    try:
        with _hashing:
            return hasher.verify(stored or _nobody[0], secret) and bool(stored)
    except (VerificationError, InvalidHashError):
        return False


# Accounts -------------------------------------------------------------------------------------------------------------


def is_set_up(session: Session) -> bool:
    """Whether some owner can sign in."""
    owners = select(Staff.id).where(Staff.role == OWNER, Staff.is_active, Staff.password_hash != "").limit(1)
    return session.scalar(owners) is not None


def people(session: Session) -> Sequence[Staff]:
    """Everybody of the chain, by shop and initials."""
    query = select(Staff).options(joinedload(Staff.shop)).order_by(Staff.shop_id, Staff.initials)
    return session.scalars(query).all()


def person(session: Session, staff_id: int) -> Staff:
    found = session.scalar(select(Staff).where(Staff.id == staff_id).options(joinedload(Staff.shop)))
    if found is None:
        raise NotFoundError("There is no such person.")
    return found


def add_person(session: Session, who: int | None, form: PersonForm, shop_id: int) -> Staff:
    """Adds somebody who works in a shop of the chain; an invitation lets them in."""
    added = Staff(shop_id=shop_id)
    _take(session, added, form, shop_id)
    added.name, added.initials, added.role = form.name, form.initials.upper(), form.role
    added.sign_in_name = _sign_in_name(form)
    changes.made(session, who, added, f"{added.name} ({added.initials}), {added.role}")
    return added


def _sign_in_name(form: PersonForm) -> str:
    return (form.sign_in_name or form.initials).casefold()


def _take(session: Session, of: Staff, form: PersonForm, shop_id: int) -> None:
    """Refuses initials or a sign-in name that somebody else has."""
    initials, sign_in_name = form.initials.upper(), _sign_in_name(form)
    same = select(Staff.id).where(Staff.shop_id == shop_id, Staff.initials == initials, Staff.id != (of.id or 0))
    if session.scalar(same.limit(1)):
        raise InvalidError.at("initials", f"{initials} is taken in that shop. Use initials nobody else there has.")
    if session.scalar(select(Staff.id).where(Staff.sign_in_name == sign_in_name, Staff.id != (of.id or 0)).limit(1)):
        message = f"Somebody signs in as {sign_in_name} already. Choose another name to sign in with."
        raise InvalidError.at("sign_in_name", message)


def edit_person(session: Session, staff_id: int, form: PersonForm) -> Staff:
    """Changes somebody's name, role, shop, or whether they work here. The last owner stays an owner."""
    edited = person(session, staff_id)
    changes.require_version(session, edited, form.version)
    shop_id = chain_shop(session, form.shop_id or edited.shop_id or 0).id
    _take(session, edited, form, shop_id)
    stays_owner = form.role == OWNER and form.is_active
    if edited.role == OWNER and edited.is_active and not stays_owner and _is_last_owner(session, edited):
        raise InvalidError.at("role", "This is the last owner who can sign in. Make somebody else an owner first.")
    values = {
        "name": form.name,
        "initials": form.initials.upper(),
        "role": form.role,
        "shop_id": shop_id,
        "sign_in_name": _sign_in_name(form),
        "is_active": form.is_active,
    }
    changes.revise(session, form.who, edited, values)
    if not form.is_active:
        end_all(session, edited.id, form.who)
    return edited


def chain_shop(session: Session, shop_id: int) -> Shop:
    shop = session.get(Shop, shop_id)
    if shop is None or not shop.is_ours:
        raise InvalidError.at("shop_id", "Choose a shop of ours.")
    return shop


def _is_last_owner(session: Session, of: Staff) -> bool:
    owners = select(func.count()).select_from(Staff).where(Staff.role == OWNER, Staff.is_active, Staff.id != of.id)
    return session.scalar(owners.where(Staff.password_hash != "")) == 0


def invite(session: Session, who: int | None, staff_id: int) -> str:
    """A code, good once and for a day, with which somebody sets a password of their own. Shown once."""
    invited = person(session, staff_id)
    code = secrets.token_urlsafe(16)
    invited.invite_hash, invited.invited_until = digest(code), now() + INVITATION_LASTS
    changes.note(session, who, invited, "invitation", "", "made")
    return code


def welcome(session: Session, form: WelcomeForm, address: str) -> Staff:
    """Takes an invitation up: sets the password, and a PIN if one is given."""
    name = form.sign_in_name.casefold()
    tried = _count_try(session, PASSWORD, name, address)
    invited = session.scalar(select(Staff).where(Staff.sign_in_name == name, Staff.is_active))
    is_open = invited and invited.invited_until and invited.invited_until > now()
    if not invited or not is_open or not secrets.compare_digest(invited.invite_hash, digest(form.code.strip())):
        session.rollback()
        raise InvalidError.at("code", "That code does not open an account. Ask the owner for a new one.")
    _was_right(session, tried)
    session.info.setdefault("shop_id", invited.shop_id)
    set_password(session, invited, form.password)
    if form.pin:
        give_pin(session, invited, form.pin)
    invited.invite_hash, invited.invited_until = "", None
    end_all(session, invited.id, invited.id)
    return invited


def set_password(session: Session, of: Staff, password: str) -> None:
    """Sets a password that is not easily guessed, the person's and the shop's own words counted against it."""
    names = [of.name, of.initials, of.sign_in_name, "spanbook", *session.scalars(select(Shop.name).where(Shop.is_ours))]
    known = [part for name in names for part in (name, *name.split())]
    from zxcvbn import zxcvbn  # noqa: PLC0415 - its word lists take a while, and passwords are seldom set

    found = zxcvbn(password[:72], user_inputs=known)
    if found["score"] < WEAKEST:
        advice = " ".join([found["feedback"]["warning"], *found["feedback"]["suggestions"]]).strip()
        raise InvalidError.at("password", f"That is guessed too easily. {advice}")
    of.password_hash = _hash(password)
    changes.note(session, of.id, of, "password", "", "set")


def change_password(session: Session, of: Staff, form: PasswordForm, address: str) -> None:
    """Changes one's own password."""
    _require_present(session, of, form.present, address)
    set_password(session, of, form.password)


def set_pin(session: Session, of: Staff, form: PinForm, address: str) -> None:
    """Sets one's own PIN."""
    _require_present(session, of, form.present, address)
    give_pin(session, of, form.pin)


def _require_present(session: Session, of: Staff, password: str, address: str) -> None:
    """The present password is asked for, and guessing it is slowed like signing in."""
    tried = _count_try(session, PASSWORD, of.sign_in_name, address)
    if not _is_right(of.password_hash, password):
        _tell_of_last_try(session, tried, of)
        raise InvalidError.at("present", "That is not your present password.")
    _was_right(session, tried)


def give_pin(session: Session, of: Staff, pin: str) -> None:
    if len(set(pin)) < 3 or pin in "01234567890" or pin in "09876543210":
        raise InvalidError.at("pin", "That PIN is guessed first. Mix more digits.")
    of.pin_hash = _hash(pin)
    changes.note(session, of.id, of, "PIN", "", "set")


# Signing in -----------------------------------------------------------------------------------------------------------


PASSWORD, PIN = "password", "pin"
GUESSED = "wrong tries"  # the field of their line of history
_WAIT = int(TRIES_LAST.total_seconds() // 60)
_PATIENCE = {  # by kind: the most of one name, the most of one address, and what is told beyond
    PASSWORD: (
        TRIES_A_NAME,
        TRIES_AN_ADDRESS,
        "Too many tries. Wait {} minutes, or ask the owner for a new invitation.",
    ),
    PIN: (TRIES_A_PIN, TRIES_A_SHOP, "Too many wrong PINs. Wait {} minutes, or sign in with the password."),
}


class Try(NamedTuple):
    """One try that has been counted, and whether it is the last before its name or its address has to wait."""

    id: int
    is_last_of_name: bool
    is_last_of_address: bool


def _count_try(session: Session, kind: str, name: str, address: str) -> Try:
    """Counts a try before it is checked, so that of many at once, in any process, no more are checked than are allowed.

    Refused where too many were wrong of late. What this session has written is committed, and so is the try.
    """
    failed = select(func.count()).select_from(Attempt).where(Attempt.kind == kind, Attempt.address == address)
    lately, today = failed.where(Attempt.at > now() - TRIES_LAST), failed.where(Attempt.at > now() - timedelta(days=1))
    by_name = session.scalar(lately.where(Attempt.name == name)) or 0
    by_address = session.scalar(lately) or 0
    in_all = (session.scalar(today.where(Attempt.name == name)) or 0) if kind == PIN else 0
    most_of_name, most_of_address, words = _PATIENCE[kind]
    if by_name >= most_of_name or by_address >= most_of_address or in_all >= PINS_A_DAY:
        session.rollback()
        message = words.format(_WAIT)
        raise TooManyTriesError(message, {PIN: FieldError(message)} if kind == PIN else {})
    session.execute(delete(Attempt).where(Attempt.at < now() - timedelta(days=1)))
    counted = Attempt(kind=kind, name=name[:60], address=address)
    session.add(counted)
    session.commit()
    is_last_of_name = by_name + 1 == most_of_name or in_all + 1 == PINS_A_DAY
    return Try(counted.id, is_last_of_name, by_address + 1 == most_of_address)


def _was_right(session: Session, tried: Try) -> None:
    session.execute(delete(Attempt).where(Attempt.id == tried.id))
    session.commit()


def _tell_of_last_try(session: Session, tried: Try, of: Staff | None) -> None:
    """The last wrong try before somebody has to wait leaves a line of history, which the owner is shown."""
    if tried.is_last_of_name and of:
        changes.note(session, None, of, GUESSED, "", f"too many: refused for {_WAIT} minutes")
    shop = session.get(Shop, of.shop_id) if tried.is_last_of_address and of and of.shop_id else None
    if shop:
        changes.note(session, None, shop, GUESSED, "", f"too many in this shop: refused for {_WAIT} minutes")
    session.commit()


def guessed_lately(session: Session) -> Sequence[Change]:
    """Lines of the last week that tell of too many wrong passwords or PINs, newest first, for the owner."""
    query = select(Change).where(Change.field == GUESSED, Change.at > now() - timedelta(days=7))
    return session.scalars(query.order_by(Change.id.desc()).limit(10)).all()


def sign_in(session: Session, form: SignInForm, address: str, browser: str) -> tuple[SignIn, str]:
    """Signs somebody in by password; answers the sign-in and the token its browser keeps.

    The password is checked with no transaction open: that takes a tenth of a second, and writers wait in line.
    """
    name = form.sign_in_name.casefold()
    tried = _count_try(session, PASSWORD, name, address)
    found = session.scalar(select(Staff).where(Staff.sign_in_name == name, Staff.is_active))
    staff_id, stored = (found.id, found.password_hash) if found else (0, "")
    session.rollback()
    if not _is_right(stored, form.password):
        _tell_of_last_try(session, tried, found)
        raise InvalidError.at("password", "That name and password do not go together.")
    _was_right(session, tried)
    if hasher.check_needs_rehash(stored):
        person(session, staff_id).password_hash = _hash(form.password)
    return open_sign_in(session, person(session, staff_id), browser)


def open_sign_in(session: Session, of: Staff, browser: str = "") -> tuple[SignIn, str]:
    """A new sign-in, in full, with the only copy of its token."""
    token = secrets.token_urlsafe(32)
    opened = SignIn(token_hash=digest(token), opened_by_id=of.id, staff_id=of.id, browser=browser[:200])
    session.add(opened)
    session.info.setdefault("shop_id", of.shop_id)
    changes.note(session, of.id, of, "signed in", "", browser[:60])
    return opened, token


class Present(NamedTuple):
    """Who is at a browser: its sign-in, whoever acts there now, and their shop."""

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


_sign_in, _staff, _shop = SignIn.__table__, Staff.__table__, Shop.__table__  # every page asks: past the mapper
_PRESENT = select(
    *(_sign_in.c.id, _sign_in.c.staff_id, _sign_in.c.is_full, _sign_in.c.at, _sign_in.c.seen_at),
    *(_staff.c.name, _staff.c.initials, _staff.c.role, _staff.c.shop_id, _shop.c.name.label("shop_name")),
).select_from(
    _sign_in.join(_staff, _staff.c.id == _sign_in.c.staff_id).outerjoin(_shop, _shop.c.id == _staff.c.shop_id)
)
_BY_TOKEN = _PRESENT.where(
    _sign_in.c.token_hash == bindparam("token_hash"), _sign_in.c.ended_at.is_(None), _staff.c.is_active
)
_BY_ID = _PRESENT.where(_sign_in.c.id == bindparam("sign_in_id"))


def current(session: Session, token: str, lifetime: Lifetime) -> Present | None:
    """Who is at the browser that keeps this token, unless its sign-in has ended or run out."""
    row = session.execute(_BY_TOKEN, {"token_hash": digest(token)}).one_or_none()
    if row is None:
        return None
    found = Present._make(row)
    moment = now()
    is_fresh = moment - found.seen_at < lifetime.idle and moment - found.at < lifetime.absolute
    is_from_the_future = found.at > moment + CLOCK_SLACK  # the clock went back: it could outlive its time
    return found if is_fresh and not is_from_the_future else None


def is_seen_long_ago(of: Present, lifetime: Lifetime) -> bool:
    """Whether it is worth noting again that a browser is in use: now and then, and well before it would run out."""
    return now() - of.seen_at >= min(SEEN_EVERY, lifetime.idle / 4)


def mark_seen(session: Session, of: Present) -> None:
    session.execute(update(SignIn).where(SignIn.id == of.id).values(seen_at=now()))


def switch(session: Session, of: Present, staff_id: int, pin: str) -> Present:
    """Another person acts on a browser that somebody of the same shop signed in on, by PIN."""
    chosen = session.get(Staff, staff_id)
    if chosen is None or not chosen.is_active or chosen.shop_id != of.shop_id:
        raise InvalidError.at("who", "Tap your initials.")
    if not pin:
        raise InvalidError.at("pin", f"Type the PIN of {chosen.initials}, or tap {of.initials} again.")
    stored, initials = chosen.pin_hash, chosen.initials
    if not stored:
        raise InvalidError.at("pin", f"{initials} has no PIN yet: it is set under “My account”.")
    _count_on_sign_in(session, of)
    tried = _count_try(session, PIN, str(staff_id), str(of.shop_id))
    is_right = _is_right(stored, pin)
    used = session.get_one(SignIn, of.id, populate_existing=True)
    if not is_right:
        _end_after_wrong_pins(session, used)
        _tell_of_last_try(session, tried, person(session, staff_id))
        raise InvalidError.at("pin", f"That is not the PIN of {initials}.")
    _was_right(session, tried)
    chosen = person(session, staff_id)
    used.staff, used.is_full, used.pin_failures = chosen, False, 0
    changes.note(session, chosen.id, chosen, "acts by PIN", "", "")
    session.commit()  # a form refused for another reason does not ask for the PIN again
    return Present._make(session.execute(_BY_ID, {"sign_in_id": of.id}).one())


def _count_on_sign_in(session: Session, of: Present) -> None:
    """Counts one more PIN on this browser, before it is checked; the next counting commits it."""
    open_still = update(SignIn).where(SignIn.id == of.id, SignIn.pin_failures < TRIES_A_PIN)
    counted = session.execute(open_still.values(pin_failures=SignIn.pin_failures + 1))
    if not counted.rowcount:  # type: ignore[attr-defined]
        session.rollback()
        raise SignedOutError()


def _end_after_wrong_pins(session: Session, of: SignIn) -> None:
    """Five wrong PINs end the sign-in: the password is asked for again."""
    if of.pin_failures >= TRIES_A_PIN and of.ended_at is None:
        of.ended_at = now()
        changes.note(session, None, person(session, of.staff_id), "signed out", "", "after wrong PINs")


def make_pass(session: Session, of: Present, drilling_id: int) -> str:
    """A token that stands for this person's PIN in ticks of one drilling for an hour; the only copy of it."""
    session.execute(delete(TickPass).where(TickPass.expires_at < now()))
    token = secrets.token_urlsafe(32)
    bound = {"staff_id": of.staff_id, "shop_id": of.shop_id, "drilling_id": drilling_id}
    session.add(TickPass(token_hash=digest(token), expires_at=now() + PASS_LASTS, **bound))
    return token


def by_pass(session: Session, of: Present, staff_id: int, token: str, drilling_id: int) -> Present | None:
    """This person in the place of whoever acts on the browser, for one request; None where no pass says so."""
    query = (
        select(Staff)
        .join(TickPass, TickPass.staff_id == Staff.id)
        .where(TickPass.token_hash == digest(token), TickPass.expires_at > now(), TickPass.drilling_id == drilling_id)
        .where(Staff.id == staff_id, Staff.is_active, Staff.shop_id == TickPass.shop_id, Staff.shop_id == of.shop_id)
    )
    found = session.scalar(query)
    if found is None:
        return None
    return of._replace(staff_id=found.id, is_full=False, name=found.name, initials=found.initials, role=found.role)


def end(session: Session, of: Present) -> None:
    ended = session.get_one(SignIn, of.id)
    ended.ended_at = now()
    changes.note(session, of.staff_id, person(session, of.staff_id), "signed out", "", "")


def end_by_token(session: Session, token: str) -> None:
    """Ends what this browser was signed in as before, if anything."""
    ended = update(SignIn).where(SignIn.token_hash == digest(token), SignIn.ended_at.is_(None))
    session.execute(ended.values(ended_at=now()))


def end_all(session: Session, staff_id: int, who: int | None, but: Present | None = None) -> int:
    """Ends every sign-in that somebody opened or acts on, but one perhaps; answers how many."""
    own = (SignIn.opened_by_id == staff_id) | (SignIn.staff_id == staff_id)
    query = update(SignIn).where(own, SignIn.ended_at.is_(None), SignIn.id != (but.id if but else 0))
    count = session.execute(query.values(ended_at=now())).rowcount  # type: ignore[attr-defined]
    if count:
        changes.note(session, who, person(session, staff_id), "signed out everywhere", "", str(count))
    return int(count)


def open_sign_ins(session: Session, staff_id: int) -> Sequence[SignIn]:
    query = select(SignIn).where(SignIn.opened_by_id == staff_id, SignIn.ended_at.is_(None))
    return session.scalars(query.order_by(SignIn.seen_at.desc()).limit(20)).all()


# API tokens -----------------------------------------------------------------------------------------------------------


def make_token(session: Session, form: TokenForm, shop_id: int) -> tuple[ApiToken, str]:
    """A token for one shop's programs; answers it with the only copy of its text."""
    text = f"span_{secrets.token_urlsafe(32)}"
    made = ApiToken(
        label=form.label, shop_id=shop_id, staff_id=form.who, scopes=sorted(set(form.scopes)), token_hash=digest(text)
    )
    changes.made(session, form.who, made, f"{made.label}: {', '.join(made.scopes)}")
    return made, text


def tokens(session: Session) -> Sequence[ApiToken]:
    query = select(ApiToken).where(ApiToken.ended_at.is_(None)).options(joinedload(ApiToken.staff))
    return session.scalars(query.order_by(ApiToken.id)).all()


def end_token(session: Session, token_id: int, who: int) -> None:
    ended = session.get(ApiToken, token_id)
    if ended is None or ended.ended_at:
        raise NotFoundError("There is no such token.")
    changes.revise(session, who, ended, {"ended_at": now()})


def token_of(session: Session, text: str) -> ApiToken | None:
    query = select(ApiToken).where(ApiToken.token_hash == digest(text), ApiToken.ended_at.is_(None))
    found = session.scalar(query.options(joinedload(ApiToken.staff)))
    return found if found and found.staff.is_active else None


# Rules of the chain ---------------------------------------------------------------------------------------------------

OWN_SHOP_ONLY, RETENTION_YEARS = "own_shop_only", "retention_years"
RULES = {
    OWN_SHOP_ONLY: "Who edits a record",
    RETENTION_YEARS: "Years without a visit after which a bowler is listed for erasing (0: never)",
}


def rule(session: Session, name: str) -> int:
    found = session.get(Rule, name)
    return found.value if found else 0


def rules(session: Session) -> dict[str, Rule]:
    """Every rule by name; one never set is 0 and has version 0."""
    found = {r.name: r for r in session.scalars(select(Rule))}
    return {name: found.get(name) or Rule(name=name, value=0, version=0) for name in RULES}


def set_rule(session: Session, name: str, form: RuleForm) -> None:
    if name not in RULES:
        raise NotFoundError("There is no such rule.")
    found = session.get(Rule, name)
    old, new = found.value if found else 0, int(form.value)
    if found is None:
        session.add(Rule(name=name, value=new))
    else:
        changes.require_version(session, found, form.version)
        found.value = new
    changes.note(session, form.who, person(session, form.who), RULES[name], str(old), str(new))
