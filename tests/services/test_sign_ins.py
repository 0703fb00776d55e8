"""Who gets in, when a sign-in ends, who acts by PIN, and passes that tick at the bench."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.access import Lifetime
from app.errors import InvalidError, TooManyTriesError
from app.models import Change, DrillingStep, SignIn, Staff, TickPass, now
from app.schemas.identities import PersonForm, SignInForm
from app.services import accounts, sign_ins, tries
from seed_demo import PASSWORD, PIN
from tests.conftest import Client, not_none
from tests.pages.test_pages import new_bowler

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


def pass_for(client: Client, initials: str, session: Session, drilling: int = 3) -> tuple[str, str]:
    """(id, pass) of somebody whose PIN is typed at the bench of a drilling."""
    who = str(person(session, initials).id)
    session.rollback()
    answer = client.post(f"/drillings/{drilling}/tick-passes", {"who": who})
    assert answer.status_code == 200
    return who, answer.json()["pass"]


def step_of(session: Session, position: int) -> tuple[bool, str]:
    """(whether a step of drilling 3 is ticked, and by whose initials)."""
    query = select(DrillingStep).where(DrillingStep.drilling_id == 3, DrillingStep.position == position)
    step = session.scalars(query.options(joinedload(DrillingStep.staff))).one()
    found = (step.ticked_at is not None, step.staff.initials if step.staff else "")
    session.rollback()
    return found


def ticked_with(client: Client, who: str, token: str, position: int = 1, **more: str) -> int:
    typed = {"who": who, "pin": "", "pass": token} | more
    return client.post(f"/drillings/3/steps/{position}/tick", typed).status_code


def test_a_pass_ticks_for_its_person_whoever_acts_by_then(app: FastAPI, client: Client, session: Session) -> None:
    who, token = pass_for(client, "OL", session)
    again = Client(app).sign_in("TB")  # another browser of the shop, or this one after somebody else took it
    assert ticked_with(again, who, token) == 303
    assert step_of(session, 1) == (True, "OL")
    assert "OL" not in again.get("/me").text.split("</header>")[0]
    again.close()


def test_a_pass_is_stored_as_a_hash_and_ends(app: FastAPI, client: Client, session: Session) -> None:
    who, token = pass_for(client, "OL", session)
    stored = session.scalars(select(TickPass)).one()
    assert token not in str(session.execute(select(TickPass.__table__)).all())
    assert timedelta(minutes=59) < stored.expires_at - now() <= sign_ins.PASS_LASTS
    stored.expires_at = now() - timedelta(seconds=1)
    session.commit()
    assert ticked_with(client.sign_out().sign_in("TB"), who, token) == 422
    assert step_of(session, 1) == (False, "")


def test_a_pass_is_for_one_person_one_drilling_and_ticks_alone(app: FastAPI, client: Client, session: Session) -> None:
    who, token = pass_for(client, "OL", session)
    other, elsewhere = pass_for(client, "IS", session)[0], pass_for(client, "OL", session, drilling=1)[1]
    own = Client(app).sign_in("TB")
    assert ticked_with(own, other, token) == 422
    assert ticked_with(own, who, elsewhere) == 422
    assert ticked_with(own, who, "a" * 43) == 422
    assert own.post("/bowlers", new_bowler(who) | {"pin": "", "pass": token}).status_code == 422
    assert step_of(session, 1) == (False, "")
    with app.state.sessions() as held, held.begin():
        person(held, "OL").is_active = False
    assert ticked_with(own, who, token) == 422
    own.close()


def test_a_wrong_pin_gets_no_pass(client: Client, session: Session) -> None:
    who = str(person(session, "OL").id)
    session.rollback()
    answer = client.post("/drillings/3/tick-passes", {"who": who, "pin": "9999"})
    assert (answer.status_code, answer.json()) == (422, {"message": "That is not the PIN of OL."})
    assert session.scalar(select(func.count()).select_from(TickPass)) == 0


def test_a_full_name_signs_in_unless_two_have_it(session: Session) -> None:
    owner = person(session)
    assert sign_in(session, f" {owner.name.upper()} ")[0].staff_id == owner.id
    accounts.add_person(
        session, owner.id, PersonForm(who=owner.id, name=owner.name, initials="ZZ"), not_none(owner.shop_id)
    )
    session.commit()
    with pytest.raises(InvalidError):
        sign_in(session, owner.name)
    assert sign_in(session, owner.sign_in_name)[0].staff_id == owner.id


def test_tries_by_full_name_count_with_those_by_sign_in_name(session: Session) -> None:
    owner = person(session)
    for i in range(tries.TRIES_A_NAME):
        with pytest.raises(InvalidError, match="do not go together"):
            sign_in(session, [owner.name, owner.sign_in_name][i % 2], "wrong")
    for name in (owner.name, owner.sign_in_name):
        with pytest.raises(TooManyTriesError):
            sign_in(session, name)
