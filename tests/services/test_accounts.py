"""Invitations, passwords, PINs and roles of staff."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import now
from app.schemas.identities import PersonForm, PinForm, WelcomeForm
from app.services import accounts
from seed_demo import PASSWORD
from tests.services.test_sign_ins import ADDRESS, person, sign_in


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


def test_the_last_owner_stays_an_owner(session: Session, who: str) -> None:
    first, second = person(session, "IS"), person(session, "TB")
    demoted = {"who": who, "name": first.name, "initials": "IS", "role": "driller", "version": str(first.version)}
    accounts.edit_person(session, first.id, PersonForm.read(demoted))
    demoted |= {"name": second.name, "initials": "TB", "version": str(second.version)}
    with pytest.raises(InvalidError, match="last owner"):
        accounts.edit_person(session, second.id, PersonForm.read(demoted))
