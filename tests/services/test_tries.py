"""Guessing: every try is counted before it is checked, by name, by person and by shop, and the owner hears of it."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db import open_engine, sessions
from app.errors import InvalidError, ShopError, SignedOutError, TooManyTriesError
from app.models import Attempt, Change, SignIn, now
from app.models.changes import GUESSED
from app.schemas.identities import PinForm, WelcomeForm
from app.services import accounts, hashes, sign_ins, tries
from seed_demo import PASSWORD, PIN
from tests.conftest import Client, not_none, signed_in
from tests.pages.test_pages import new_bowler, text_of
from tests.services.test_sign_ins import ADDRESS, LIFETIME, person, sign_in


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


AT_ONCE = 40


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every secret that is compared with a hash."""
    seen: list[str] = []

    class Noting:
        def verify(self, stored: str, secret: str) -> bool:
            seen.append(secret)
            return kept.verify(stored, secret)

        def __getattr__(self, name: str) -> object:
            return getattr(kept, name)

    kept = hashes.hasher
    hashes.is_right("", "x")  # the hash to check in vain is made once
    monkeypatch.setattr(hashes, "hasher", Noting())
    return seen


def all_at_once(app: FastAPI, attempt: Callable[[Session, int], object]) -> None:
    def once(number: int) -> None:
        with app.state.sessions() as own, suppress(ShopError):
            attempt(own, number)

    with ThreadPoolExecutor(AT_ONCE) as threads:
        list(threads.map(once, range(AT_ONCE)))


def test_of_forty_passwords_at_once_only_so_many_are_checked_as_are_allowed(app: FastAPI, checked: list[str]) -> None:
    all_at_once(app, lambda own, number: sign_in(own, password=f"wrong {number}"))
    assert len(checked) == tries.TRIES_A_NAME


def test_of_forty_present_passwords_at_once_no_more_are_checked(app: FastAPI, checked: list[str]) -> None:
    def attempt(own: Session, number: int) -> None:
        form = PinForm.read({"who": "1", "present": f"wrong {number}", "pin": "7391"})
        accounts.set_pin(own, person(own), form, ADDRESS)

    all_at_once(app, attempt)
    assert len(checked) == tries.TRIES_A_NAME


def test_of_forty_invitation_codes_at_once_no_more_are_compared(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []
    digest = hashes.digest

    def noted(text: str) -> str:
        seen.append(text)
        return digest(text)

    monkeypatch.setattr(hashes, "digest", noted)
    with app.state.sessions() as own, own.begin():
        accounts.invite(own, None, person(own).id)
    seen.clear()

    def attempt(own: Session, number: int) -> None:
        typed = {"sign_in_name": "ol", "code": f"wrong {number}", "password": PASSWORD}
        accounts.accept_invitation(own, WelcomeForm.read(typed), ADDRESS)

    all_at_once(app, attempt)
    assert len(seen) == tries.TRIES_A_NAME


def present_at(session: Session, token: str) -> sign_ins.Present:
    found = sign_ins.find_present(session, token, LIFETIME)
    session.rollback()
    assert found
    return found


def test_of_forty_pins_on_as_many_sign_ins_only_five_are_checked(
    app: FastAPI, session: Session, client: Client, checked: list[str]
) -> None:
    tokens = [signed_in(app) for _ in range(AT_ONCE)]
    present = [present_at(session, token) for token in tokens]
    chosen = person(session, "OL").id
    session.rollback()
    all_at_once(app, lambda own, number: sign_ins.switch(own, present[number], chosen, f"9{number:03d}"))
    assert len(checked) == tries.TRIES_A_PIN
    with pytest.raises(TooManyTriesError):
        sign_ins.switch(session, present_at(session, tokens[-1]), chosen, PIN)
    lines = session.scalars(select(Change).where(Change.field == GUESSED)).all()
    assert [(line.noun, line.noun_id) for line in lines] == [("staff", chosen)]
    session.rollback()
    assert "Wrong passwords or PINs, too many" in text_of(client.get("/").text)
    assert "Wrong passwords" not in text_of(Client(app).sign_in("OL").get("/").text)  # for the owner alone


def test_signing_in_again_gives_no_more_pins(app: FastAPI, session: Session) -> None:
    chosen = person(session, "OL").id
    session.rollback()
    outcomes = []
    for _ in range(2 * tries.TRIES_A_PIN):
        with pytest.raises(ShopError) as refused:
            sign_ins.switch(session, present_at(session, signed_in(app)), chosen, "9999")
        outcomes.append(type(refused.value))
    assert outcomes == [InvalidError] * tries.TRIES_A_PIN + [TooManyTriesError] * tries.TRIES_A_PIN
    for attempt in session.scalars(select(Attempt)):
        attempt.at = now() - tries.TRIES_LAST - timedelta(seconds=1)
    session.commit()
    assert sign_ins.switch(session, present_at(session, signed_in(app)), chosen, PIN).initials == "OL"


def test_one_browser_checks_five_pins_and_is_signed_out(app: FastAPI, session: Session, checked: list[str]) -> None:
    present = present_at(session, signed_in(app))
    people = [p.id for p in accounts.list_people(session) if p.pin_hash and p.id != present.staff_id]
    session.rollback()
    all_at_once(app, lambda own, number: sign_ins.switch(own, present, people[number % len(people)], "9999"))
    assert len(checked) == tries.TRIES_A_PIN
    assert not_none(session.get(SignIn, present.id)).ended_at is not None
    session.rollback()
    with pytest.raises(SignedOutError):
        sign_ins.switch(session, present, people[0], PIN)


def test_a_shop_has_a_limit_of_its_own_and_a_person_one_for_the_day(
    app: FastAPI, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(tries._PATIENCE, tries.PIN, (5, 7, "Wait {}"))
    first, second = person(session, "OL").id, person(session, "RV").id
    shop_id = person(session, "OL").shop_id
    session.rollback()
    for chosen in [first] * 4 + [second] * 3:
        with pytest.raises(InvalidError):
            sign_ins.switch(session, present_at(session, signed_in(app)), chosen, "9999")
    with pytest.raises(TooManyTriesError):
        sign_ins.switch(session, present_at(session, signed_in(app)), person(session, "IS").id, PIN)
    told = session.scalars(select(Change).where(Change.field == GUESSED)).one()
    assert (told.noun, told.noun_id) == ("shop", shop_id)
    session.query(Attempt).delete()
    earlier = now() - timedelta(hours=20)
    kind = tries.PIN
    session.add_all(
        Attempt(kind=kind, name=str(first), address=str(shop_id), at=earlier) for _ in range(tries.PINS_A_DAY)
    )
    session.commit()
    with pytest.raises(TooManyTriesError):
        sign_ins.switch(session, present_at(session, signed_in(app)), first, PIN)
    assert sign_ins.switch(session, present_at(session, signed_in(app)), second, PIN).initials == "RV"


def test_several_processes_count_together(app: FastAPI, database_url: str) -> None:
    engine = open_engine(database_url)
    makers = [app.state.sessions, sessions(engine)]
    for number in range(tries.TRIES_A_NAME):
        with makers[number % 2]() as own, pytest.raises(InvalidError):
            sign_in(own, password="wrong")  # pragma: allowlist secret
    for maker in makers:
        with maker() as own, pytest.raises(TooManyTriesError):
            sign_in(own)
    engine.dispose()


def test_the_right_password_is_no_wrong_try(session: Session) -> None:
    for _ in range(2 * tries.TRIES_A_NAME):
        sign_in(session)
        session.commit()
    assert session.scalar(select(func.count()).select_from(Attempt)) == 0


def test_a_form_with_too_many_wrong_pins_keeps_its_text_and_says_when(
    client: Client, app: FastAPI, session: Session
) -> None:
    ol = person(session, "OL").id
    session.rollback()
    tokens = [signed_in(app) for _ in range(tries.TRIES_A_PIN + 1)]
    for token in tokens[:-1]:
        assert client.carry(token).post("/bowlers", new_bowler(str(ol), pin="9999")).status_code == 422
    answer = client.carry(tokens[-1]).post("/bowlers", new_bowler(str(ol), pin=PIN))
    assert answer.status_code == 429
    assert 'value="Lars Quint"' in answer.text
    assert "Too many wrong PINs. Wait 15 minutes" in text_of(answer.text)
