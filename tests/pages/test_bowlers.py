import re

from sqlalchemy.orm import Session

from tests.conftest import Client, not_none
from tests.pages.test_pages import new_bowler, text_of


def test_a_new_bowler_is_saved_and_the_record_shown(client: Client, who: str) -> None:
    answer = client.post("/bowlers", new_bowler(who))
    assert answer.status_code == 303
    page = text_of(client.get(answer.headers["location"]).text)
    assert "Lars Quint" in page
    assert "TB made bowler" in page


def test_a_bad_form_comes_back_with_its_text_and_its_errors(client: Client, who: str) -> None:
    answer = client.post("/bowlers", new_bowler(who, name="", phone="12", notes="left <wrist> brace"))
    assert answer.status_code == 422
    assert 'value="12"' in answer.text
    assert "left &lt;wrist&gt; brace" in answer.text
    assert 'id="name-error"' in answer.text
    assert 'id="phone-error"' in answer.text
    assert re.search(
        r'id="name"[^>]*aria-invalid="true"[^>]*aria-describedby="name-help name-error"', answer.text, re.S
    )


def test_a_likely_duplicate_is_shown_and_can_be_said_to_be_somebody_else(
    client: Client, who: str, session: Session
) -> None:
    typed = new_bowler(who, name="Ana Johnson")
    answer = client.post("/bowlers", typed)
    assert answer.status_code == 409
    assert 'value="Ana Johnson"' in answer.text
    assert "/bowlers/1" in answer.text
    assert client.post("/bowlers", typed | {"is_somebody_else": "true"}).status_code == 303


def test_nobody_saves_with_made_up_initials(client: Client) -> None:
    answer = client.post("/bowlers", new_bowler("999"))
    assert answer.status_code == 422
    assert "Tap your initials." in answer.text


def test_two_people_saving_the_same_record(client: Client, who: str, session: Session) -> None:
    seen = not_none(re.search(r'name="version" value="(\d+)"', client.get("/bowlers/1/edit").text))[1]
    first = new_bowler(who, name="Anna Johnson", notes="first", version=seen)
    assert client.post("/bowlers/1", first).status_code == 303
    late = client.post("/bowlers/1", first | {"notes": "second"})
    assert late.status_code == 409
    assert "Tadeo Birk changed" in late.text
    assert ">second</textarea>" in late.text
    fresh = not_none(re.search(r'name="version" value="(\d+)"', late.text))[1]
    assert client.post("/bowlers/1", first | {"notes": "second", "version": fresh}).status_code == 303


def test_a_version_that_is_no_number_is_told_for_the_form(client: Client, who: str) -> None:
    answer = client.post("/bowlers/1", new_bowler(who, version="x"))
    assert answer.status_code == 422
    assert "Load this page again" in answer.text
