"""Two people at one record, and one form sent twice: nothing is overwritten unseen, nothing is saved twice."""

import re
import threading
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.cards.texts import to_lines
from app.models import Base, Bowler, Change, SentForm, Staff, now
from app.services import tokens
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import Client, not_none, signed_in
from tests.pages.test_history import SCALE, SHOWN_ONCE, WRITES, prepared, sent
from tests.pages.test_pages import new_bowler, text_of
from tests.services.cards import open_made
from tests.services.test_floor import FORM as FLOOR
from tests.services.test_tokens import token_form

pytestmark = pytest.mark.both

# every form that edits a record: where it is shown, where it is posted, a whole edit, and one field that two people change
EDITS = {
    "bowler": ("/bowlers/1/edit", "/bowlers/1", {"name": "Anna Johnson", "hand": "right", "phone": "555 0142 7788"}, "notes", "first note", "second note"),
    "ball": ("/balls/1/edit", "/balls/1", {"label": "Blue pearl, league", "circumference": "27"}, "colour", "blue", "green"),
    "fit": ("/fits/2/edit", "/fits/2", FIT | {"hand": "right", "reason": "x"}, "hand_notes", "first note", "second note"),
    "system": ("/systems/1/edit", "/systems/1", TWIST_LOCK, "notes", "first note", "second note"),
    "part": ("/parts/1/edit", "/parts/1", {"kind": "inner", "system_id": "1", "label": "Inner", "size": "1 1/4"}, "colour", "black", "white"),
    "shop": ("/shops/2/edit", "/shops/2", {"name": "Northgate Drilling"}, "town", "Newmere", "Ashmere"),
    "person": ("/people/3", "/people/3", {"name": "Runa Vale", "initials": "RV", "role": "counter"}, "sign_in_name", "runa", "vale"),
    "limit": ("/settings", "/settings/tolerance", {"value": "1/32"}, "source", "first study", "second study"),
    "floor": ("/floor", "/floor", FLOOR, "usual_words", "first words", "second words"),
    "route": ("/systems/1/route", "/systems/1/route", {"keep-mark": "1", "place-mark": "10", "keep-measure": "1", "place-measure": "20"}, "words-mark", "Scribe it", "Score it"),
    "ticket": ("/tickets/1/edit", "/tickets/1", {"thing": "ball:1", "what": "sand", "promised": "2099-05-02T10:00"}, "wishes", "first wish", "second wish"),
    "marks": ("/balls/1/marks", "/balls/1/marks", {"label_weight": "15 lb", "has_mass_mark": "yes"}, "note", "first note", "second note"),
    "scale": ("/scales/1", "/scales/1", SCALE, "note", "first note", "second note"),
    "squad": ("/squads/1", "/squads/1", {"begins": "2099-05-02T12:00"}, "label", "Sunday", "Monday"),
    "rule": ("/people", "/rules/retention_years", {}, "value", "3", "5"),
}  # fmt: skip


def version_in(html: str, action: str) -> str:
    form = not_none(re.search(rf'<form[^>]*action="{re.escape(action)}".*?</form>', html, re.S))[0]
    return not_none(re.search(r'name="version" value="(\d*)"', form))[1]


@pytest.mark.parametrize("what", EDITS)
def test_the_loser_sees_both_versions_and_nothing_is_overwritten_unseen(client: Client, who: str, what: str) -> None:
    shown, action, typed, field, first, second = EDITS[what]
    if what in ("ticket", "squad"):
        prepared(client, who, f"/{what}s/{{{'taken' if what == 'ticket' else what}}}")
    if what == "scale":
        prepared(client, who, "/scales/{scale}")
    version = version_in(client.get(shown).text, action)
    form = typed | {"who": who, "version": version}
    assert client.post(action, form | {field: first}).status_code == 303
    late = client.post(action, form | {field: second})
    assert late.status_code == 409
    told = text_of(late.text)
    assert "Saved meanwhile, and typed by you" in told
    assert f"{first} {second}" in told  # side by side
    assert first in text_of(client.get(shown).text) or first in client.get(shown).text
    assert re.search(rf'name="{field}"[^>]*value="{second}"|name="{field}"[^>]*>{second}<', late.text)  # as typed
    fresh = version_in(late.text, action)
    assert fresh != version
    assert client.post(action, form | {field: second, "version": fresh}).status_code == 303
    assert second in client.get(shown).text


def counts(session: Session) -> dict[str, int]:
    """How many rows each table holds, but for who was signed in when."""
    tables = [t for t in Base.metadata.sorted_tables if t.name not in {"sign_in", "sent_form", "attempt"}]
    found = {t.name: session.scalars(select(func.count()).select_from(t)).one() for t in tables}
    session.rollback()
    return found


@pytest.mark.once
@pytest.mark.parametrize("address", WRITES)
def test_every_form_sent_again_saves_nothing_more(
    client: Client, app: FastAPI, session: Session, who: str, address: str
) -> None:
    where = prepared(client, who, address)
    typed = WRITES[address] | {"key": "the-same-form"}
    first = sent(client, who, where, typed)
    assert first.status_code == (200 if address in SHOWN_ONCE else 303)
    before = counts(session)
    if "sign-out" in address or "password" in address:
        client.carry(signed_in(app))
        before["change"] += 1  # signing in again is told
    again = sent(client, who, where, typed)
    assert again.status_code == 303
    if address not in SHOWN_ONCE:
        assert again.headers["location"] == first.headers["location"]
    assert counts(session) == before


def test_a_refused_form_may_be_sent_again_under_its_key(client: Client, who: str, session: Session) -> None:
    typed = new_bowler(who, key="mended")
    assert client.post("/bowlers", typed | {"name": ""}).status_code == 422
    assert client.post("/bowlers", typed).status_code == 303
    assert session.scalar(select(func.count()).select_from(Bowler).where(Bowler.name == "Lars Quint")) == 1


def test_keys_are_forgotten_after_two_days(client: Client, who: str, session: Session) -> None:
    client.post("/bowlers", new_bowler(who, key="old"))
    old = session.scalars(select(SentForm.key)).one()
    session.query(SentForm).update({"at": now() - timedelta(days=3)})
    session.commit()
    client.post("/bowlers", new_bowler(who, name="Dora Kettle", phone="", key="new"))
    assert old not in session.scalars(select(SentForm.key)).all()
    assert session.scalar(select(func.count()).select_from(SentForm)) == 1


def test_a_key_belongs_to_its_sender_and_address(app: FastAPI, client: Client, who: str, session: Session) -> None:
    typed = new_bowler(who, key="same")
    assert client.post("/bowlers", typed).status_code == 303
    elsewhere = client.post("/bowlers/1/balls", {"who": who, "label": "Keyed", "circumference": "27", "key": "same"})
    assert elsewhere.headers["location"].startswith("/balls/")
    other = Client(app).sign_in("OL")
    ol = str(session.scalar(select(Staff.id).where(Staff.initials == "OL")))
    session.rollback()
    own = other.post("/bowlers", typed | {"who": ol, "name": "Dora Kettle", "phone": ""})
    other.close()
    assert own.status_code == 303
    names = session.scalars(select(Bowler.name).where(Bowler.name.in_(["Lars Quint", "Dora Kettle"]))).all()
    assert sorted(names) == ["Dora Kettle", "Lars Quint"]


@pytest.mark.parametrize("address", ["/bowlers", "/bits"])
def test_a_programs_key_that_a_page_has_used_is_its_own(
    app: FastAPI, client: Client, who: str, session: Session, address: str
) -> None:
    typed = new_bowler(who) if address == "/bowlers" else {"who": who, "label": "1 1/2 no. 2"}
    assert client.post(address, typed | {"key": "till-18"}).status_code == 303
    with app.state.sessions() as own, own.begin():
        form = token_form(who).model_copy(update={"scopes": ["read", "write"]})
        text = tokens.make_token(own, form, 1)[1]
    headers = {"authorization": f"Bearer {text}", "idempotency-key": "till-18"}
    answer = client.post("/api/v1/bowlers", headers=headers, json={"name": "Dora Kettle", "hand": "right"})
    assert (answer.status_code, answer.json()["name"]) == (201, "Dora Kettle")


def test_the_same_form_at_the_same_moment_saves_once(app: FastAPI, client: Client, who: str, session: Session) -> None:
    token = signed_in(app)
    typed = new_bowler(who, key="eight at once", is_somebody_else="true")
    answers = []

    def send() -> None:
        own = Client(app).carry(token)
        answers.append(own.post("/bowlers", typed))
        own.close()

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert {a.status_code for a in answers} == {303}
    assert len({a.headers["location"] for a in answers}) == 1
    assert session.scalar(select(func.count()).select_from(Bowler).where(Bowler.name == "Lars Quint")) == 1


def test_the_same_card_from_several_screens_at_once_is_taken_in_once(
    app: FastAPI, client: Client, who: str, session: Session
) -> None:
    """Each screen has a key of its own, so they are no form sent twice: the others are asked."""
    token, text = signed_in(app), to_lines(open_made().data)
    assert client.post("/cards/read", {"who": who, "text": text}).status_code == 200
    answers = []

    def send(screen: int) -> None:
        own = Client(app).carry(token)
        typed = {"who": who, "text": text, "bowler_id": "0", "takes_fit": "true", "key": f"screen {screen}"}
        answers.append(own.post("/cards/takings", typed))
        own.close()

    threads = [threading.Thread(target=send, args=(screen,)) for screen in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(a.status_code for a in answers) == [303, 409, 409, 409, 409, 409]
    refused = next(a for a in answers if a.status_code == 409)
    assert "taken in already for Ada Quillfeather" in refused.text
    assert 'name="takes_again"' in refused.text
    assert session.scalar(select(func.count()).select_from(Bowler).where(Bowler.name == "Ada Quillfeather")) == 1


def test_every_form_of_every_page_carries_its_key(client: Client) -> None:
    from tests.pages.test_pages import PAGES

    for url in [*PAGES, "/people", "/people/3", "/me", "/backups", "/bowlers/1/held"]:
        for form in re.findall(r'<form[^>]*method="post".*?</form>', client.get(url).text, re.S):
            assert re.search(r'name="key" value="[\w-]{16,}"', form), (url, form[:120])


def test_two_programs_with_one_key_register_one_bowler(
    app: FastAPI, client: Client, session: Session, who: str
) -> None:
    with app.state.sessions() as own, own.begin():
        form = token_form(who).model_copy(update={"scopes": ["read", "write"]})
        text = tokens.make_token(own, form, 1)[1]
    headers = {"authorization": f"Bearer {text}", "idempotency-key": "till-17"}
    body = {"name": "Lars Quint", "hand": "right"}
    first, second = (client.post("/api/v1/bowlers", headers=headers, json=body) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert session.scalar(select(func.count()).select_from(Change).where(Change.new == "Lars Quint, right hand")) == 1
