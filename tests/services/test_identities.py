"""Accounts: who gets in, who does not, how guessing is slowed, and when a sign-in ends."""

from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import Lifetime
from app.errors import InvalidError, TooManyTriesError
from app.models import ApiToken, Attempt, Change, SignIn, Staff, now
from app.schemas.identities import PasswordForm, PersonForm, PinForm, SetupForm, SignInForm, TokenForm, WelcomeForm
from app.services import accounts, shops, sign_ins, tokens, tries
from seed_demo import PASSWORD, PIN
from tests.conftest import not_none

ADDRESS = "192.0.2.7"
LIFETIME = Lifetime(timedelta(hours=4), timedelta(hours=24))


def person(session: Session, initials: str = "OL") -> Staff:
    return session.scalars(select(Staff).where(Staff.initials == initials)).one()


def sign_in(session: Session, name: str = "ol", password: str = PASSWORD, address: str = ADDRESS) -> tuple[SignIn, str]:
    form = SignInForm.read({"sign_in_name": name, "password": password})
    return sign_ins.sign_in(session, form, address, "a browser")


def history_of(session: Session, of: Staff) -> list[str]:
    query = select(Change.field).where(Change.noun == "staff", Change.noun_id == of.id).order_by(Change.id)
    return list(session.scalars(query))


def test_a_password_opens_a_sign_in_and_its_token_is_kept_as_a_hash_only(session: Session) -> None:
    opened, token = sign_in(session)
    session.commit()
    found = not_none(sign_ins.find_present(session, token, LIFETIME))
    assert (found.id, found.initials) == (opened.id, "OL")
    assert len(token) >= 43  # 256 bits of base64
    assert token not in str(session.execute(select(SignIn.__table__)).all())
    assert history_of(session, person(session))[-1] == "signed in"


@pytest.mark.parametrize(
    ("name", "password"), [("ol", "wrong"), ("ol", ""), ("nobody", PASSWORD), ("OL ", PASSWORD + "x")]
)
def test_a_wrong_name_or_password_is_told_alike(session: Session, name: str, password: str) -> None:
    with pytest.raises(InvalidError) as refused:
        sign_in(session, name, password or "-")
    assert refused.value.message == "That name and password do not go together."


def test_five_wrong_tries_of_one_name_stop_the_right_password_too_but_not_elsewhere(session: Session) -> None:
    for _ in range(tries.TRIES_A_NAME):
        with pytest.raises(InvalidError):
            sign_in(session, password="wrong")  # pragma: allowlist secret
    with pytest.raises(TooManyTriesError):
        sign_in(session)
    sign_in(
        session, address="192.0.2.8"
    )  # a stranger's guessing does not lock the person out of the shop's own machine
    for attempt in session.scalars(select(Attempt)):
        attempt.at = now() - tries.TRIES_LAST - timedelta(seconds=1)
    session.commit()
    sign_in(session)


def test_one_address_cannot_try_many_names(session: Session) -> None:
    for i in range(tries.TRIES_AN_ADDRESS):
        with pytest.raises(InvalidError):
            sign_in(session, name=f"name{i}", password="wrong")  # pragma: allowlist secret
    with pytest.raises(TooManyTriesError):
        sign_in(session)


@pytest.mark.parametrize(
    ("seen", "opened", "holds"),
    [
        (timedelta(hours=3), timedelta(hours=20), True),
        (timedelta(hours=4, seconds=1), timedelta(hours=5), False),
        (timedelta(0), timedelta(hours=24, seconds=1), False),
        (timedelta(0), -timedelta(hours=2), False),  # the clock was set back: it would outlive its time
    ],
)
def test_a_sign_in_ends_when_idle_and_in_any_case(
    session: Session, seen: timedelta, opened: timedelta, holds: bool
) -> None:
    made, token = sign_in(session)
    made.seen_at, made.at = now() - seen, now() - opened
    session.commit()
    assert (sign_ins.find_present(session, token, LIFETIME) is not None) is holds


def test_signing_out_everywhere_ends_every_browser_and_is_recorded(session: Session) -> None:
    tokens = []
    for _ in range(3):
        tokens.append(sign_in(session)[1])
        session.commit()
    of = person(session)
    assert sign_ins.end_all(session, of.id, of.id) >= 3
    session.commit()
    session.expire_all()
    assert [sign_ins.find_present(session, t, LIFETIME) for t in tokens] == [None] * 3
    assert history_of(session, of)[-1] == "signed out everywhere"


def test_another_person_acts_by_pin_and_five_wrong_ones_end_the_sign_in(session: Session) -> None:
    opened, token = sign_in(session)
    session.commit()
    counter = person(session, "RV")
    found = sign_ins.find_present(session, token, LIFETIME)
    found = sign_ins.switch(session, not_none(found), counter.id, PIN)
    assert found.initials == "RV"
    assert not found.is_full
    for _ in range(tries.TRIES_A_PIN):
        found = sign_ins.find_present(session, token, LIFETIME)
        with pytest.raises(InvalidError, match="not the PIN"):
            sign_ins.switch(session, not_none(found), person(session).id, "9999")
    session.expire_all()
    assert sign_ins.find_present(session, token, LIFETIME) is None
    assert opened.ended_at is not None


def test_nobody_acts_by_pin_in_another_shop_or_without_one(session: Session, who: str) -> None:
    _, token = sign_in(session)
    elsewhere = accounts.add_person(
        session, int(who), PersonForm.read({"who": who, "name": "Ask Holm", "initials": "AH"}), 2
    )
    unready = accounts.add_person(
        session, int(who), PersonForm.read({"who": who, "name": "Ida Roos", "initials": "IR"}), 1
    )
    session.commit()
    found = not_none(sign_ins.find_present(session, token, LIFETIME))
    with pytest.raises(InvalidError, match="Tap your initials"):
        sign_ins.switch(session, found, elsewhere.id, PIN)
    with pytest.raises(InvalidError, match="has no PIN yet"):
        sign_ins.switch(session, found, unready.id, PIN)


def test_an_invitation_works_once_within_a_day_and_only_for_its_person(session: Session, who: str) -> None:
    of = person(session)
    code = accounts.invite(session, int(who), of.id)
    session.commit()
    typed = {"sign_in_name": "ol", "code": code, "password": "loud purple wardrobe key"}  # pragma: allowlist secret
    with pytest.raises(InvalidError, match="does not open"):
        accounts.accept_invitation(session, WelcomeForm.read(typed | {"sign_in_name": "rv"}), ADDRESS)
    accounts.accept_invitation(session, WelcomeForm.read(typed), ADDRESS)
    session.commit()
    sign_in(session, password="loud purple wardrobe key")  # pragma: allowlist secret
    with pytest.raises(InvalidError, match="does not open"):
        accounts.accept_invitation(session, WelcomeForm.read(typed), ADDRESS)
    late = accounts.invite(session, int(who), of.id)
    of.invited_until = now() - timedelta(seconds=1)
    session.commit()
    with pytest.raises(InvalidError, match="does not open"):
        accounts.accept_invitation(session, WelcomeForm.read(typed | {"code": late}), ADDRESS)


@pytest.mark.parametrize(
    "password", ["password1", "12345678", "quarry lane", "odd lien odd", "spanbook1", "qwertyuiop"]
)
def test_a_password_that_is_guessed_first_is_refused(session: Session, password: str) -> None:
    with pytest.raises(InvalidError, match="guessed too easily"):
        accounts.set_password(session, person(session), password)


def test_short_and_endless_passwords_are_refused_at_the_field() -> None:
    for password in ("seven77", "x" * 201):
        with pytest.raises(InvalidError) as refused:
            PasswordForm.read({"who": "1", "present": "x", "password": password})
        assert "password" in refused.value.fields


def test_a_password_keeps_its_blanks_and_letters_of_any_alphabet(session: Session) -> None:
    phrase = "  пять жёлтых 球 và một  "
    accounts.set_password(session, person(session), phrase)
    session.commit()
    sign_in(session, password=phrase)
    with pytest.raises(InvalidError):
        sign_in(session, password=phrase.strip())


@pytest.mark.parametrize("pin", ["1111", "1234", "9876", "1122"])
def test_a_pin_that_is_guessed_first_is_refused(session: Session, pin: str) -> None:
    form = PinForm.read({"who": "1", "present": PASSWORD, "pin": pin})
    with pytest.raises(InvalidError, match="guessed first"):
        accounts.set_pin(session, person(session), form, ADDRESS)


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", ""])
def test_a_pin_is_four_to_eight_digits(pin: str) -> None:
    with pytest.raises(InvalidError):
        PinForm.read({"who": "1", "present": "x", "pin": pin})


def test_passwords_and_pins_are_argon2id_with_the_librarys_own_parameters() -> None:
    from argon2 import PasswordHasher

    assert PasswordHasher().hash("x").startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_nothing_stored_or_told_of_staff_holds_a_secret(session: Session, who: str) -> None:
    code = accounts.invite(session, int(who), person(session).id)
    text = tokens.make_token(session, token_form(who), 1)[1]
    session.commit()
    kept = str([session.execute(select(t.__table__)).all() for t in (Staff, SignIn, ApiToken, Change, Attempt)])
    for secret in (code, text, PASSWORD, f"'{PIN}'"):
        assert secret not in kept


def token_form(who: str) -> TokenForm:
    from app.schemas.identities import TokenForm

    return TokenForm.read({"who": who, "label": "till", "scopes": "read", "shop_id": "1"})


def test_the_last_owner_stays_an_owner(session: Session, who: str) -> None:
    first, second = person(session, "IS"), person(session, "TB")
    demoted = {"who": who, "name": first.name, "initials": "IS", "role": "driller", "version": str(first.version)}
    accounts.edit_person(session, first.id, PersonForm.read(demoted))
    demoted |= {"name": second.name, "initials": "TB", "version": str(second.version)}
    with pytest.raises(InvalidError, match="last owner"):
        accounts.edit_person(session, second.id, PersonForm.read(demoted))


def test_a_shop_kept_before_there_were_accounts_gets_its_owner(session: Session) -> None:
    for each in session.scalars(select(Staff)):
        each.password_hash, each.role = "", "driller"
    session.commit()
    assert not accounts.is_set_up(session)
    shops.set_up(session, SetupForm.read({"staff_name": "Odd Lien", "initials": "ol", "password": PASSWORD}))
    session.commit()
    assert person(session).role == "owner"
    sign_in(session)
    with pytest.raises(InvalidError, match="set up already"):
        shops.set_up(session, SetupForm.read({"staff_name": "Eve", "initials": "EV", "password": PASSWORD}))
