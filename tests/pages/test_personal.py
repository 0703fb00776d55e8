"""What is held on a person: all of it told, taken out without a trace, and listed when its time is past."""

import json
import re
from datetime import timedelta

import pytest
from sqlalchemy import String, func, select
from sqlalchemy.orm import Session

from app.db import READ_AT_ONE_MOMENT
from app.models import Ball, Base, Bowler, Change, Drilling, Measurement, Ticket, now
from app.services import personal, portable
from tests.conftest import Client, not_none
from tests.pages.test_pages import new_bowler, text_of

pytestmark = pytest.mark.both

ANNA = ("Anna", "Johnson", "555 0142 7788", "7788", "QL-1042", "sanded at home", "thumb swells less")


def test_all_that_is_held_is_told_as_a_file_and_a_page(client: Client) -> None:
    told = client.get("/bowlers/1/held.json")
    assert "attachment" in told.headers["content-disposition"]
    held = told.json()
    assert held["bowler"][0]["name"] == "Anna Johnson"
    assert len(held["balls"]) == 2
    assert len(held["drillings"]) == 2
    assert len(held["measurements"]) == 5
    assert len(held["fits"]) == 2
    for words in ANNA:
        assert words in json.dumps(held)
    assert "Piet" not in json.dumps(held)
    page = text_of(client.get("/bowlers/1/held").text)
    assert "as typed spans 4 x 4 1/8" in page
    assert "{" not in page
    for words in ANNA:
        assert words in page


def test_no_table_that_points_at_a_bowler_is_left_out_of_the_export() -> None:
    """Every table from which a path of foreign keys leads to a bowler is told, or is named here with its reason."""
    told = {model.__tablename__ for model, _ in personal._select_parts([1]).values()}
    reached = {"bowler"}
    while True:
        more = {t.name for t in Base.metadata.sorted_tables for k in t.foreign_keys if k.column.table.name in reached}
        if more <= reached:
            break
        reached |= more
    not_told = reached - told
    assert not_told == {"bowler_word"}  # the words of the name again, for finding it


def everything(session: Session) -> str:
    session.connection(execution_options=READ_AT_ONE_MOMENT)
    lines = "\n".join(portable.export_lines(session.connection(), "x"))
    session.rollback()
    return lines


def test_erasing_takes_the_person_out_everywhere_and_leaves_the_geometry(
    client: Client, session: Session, who: str
) -> None:
    kept = (Drilling, Measurement)
    before = [session.scalar(select(func.count()).select_from(m)) for m in kept]
    verdicts = session.scalars(select(Drilling.verdict).order_by(Drilling.id)).all()
    session.rollback()
    client.post(
        "/visitors/set", {"who": who, "bowler_name": "Anna Johnson", "hand": "right", "outside": "x"}
    )  # a row kept
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/bowlers/1/held").text))[1]
    wrong = client.post("/bowlers/1/erasure", {"who": who, "name": "anna", "version": version})
    assert wrong.status_code == 422
    assert 'id="name-error"' in wrong.text
    done = client.post("/bowlers/1/erasure", {"who": who, "name": "Anna Johnson", "version": version})
    assert done.status_code == 303
    left = everything(session)
    for words in (
        "Anna Johnson",
        "anna",
        "555 0142 7788",
        "7788",
        "QL-1042",
        "sanded at home",
        "thumb swells less",
        "Blue pearl",
    ):
        assert not re.search(rf"\b{words}\b", left), words
    assert [session.scalar(select(func.count()).select_from(m)) for m in kept] == before
    assert session.scalars(select(Drilling.verdict).order_by(Drilling.id)).all() == verdicts
    session.rollback()
    assert "Bertil Johnson" in left
    page = client.get("/bowlers/1")
    assert page.status_code == 200
    assert "Erased bowler" in page.text
    assert "Anna" not in client.get("/?q=anna johnson").text.split('id="results"')[1]
    assert client.get("/drillings/1").status_code == 200
    assert client.post("/bowlers/1", new_bowler(who, version=str(int(version) + 1))).status_code == 409


def test_no_free_text_of_a_bowlers_records_survives_erasing() -> None:
    """Every text column of a bowler's tables is blanked by erasing, or is named here as a measure or a fixed word."""
    fixed = {
        "hand", "state", "style", "grip_holes", "span_edges", "bridge_edges", "digit", "tolerance_source", "doubt_source", "verdict", "action", "hole",
        "words", "met_datum", "met_bit", "datum", "stage", "what", "typed", "reference", "instrument", "obtained",
        "noun", "field", "media_type", "decision", "name", "phone", "phone_digits", "phone_last4", "guardian", "consent", "league", "notes", "label",
        "kind", "cause", "moment", "priority", "redo_reason", "outcome", "found_by", "centre_side", "maker",
    }  # fmt: skip
    for words, (model, _) in personal._select_parts([1]).items():
        if words == "photos":
            continue  # removed as a whole
        texts = {c.name for c in model.__table__.columns if isinstance(c.type, String)}
        blanked = set(personal._FREE_TEXT.get(words, ()))
        assert texts - blanked <= fixed, words
    assert "notes" in personal._FREE_TEXT["drillings"]


def test_a_child_needs_a_guardian_and_is_flagged(client: Client, who: str) -> None:
    refused = client.post("/bowlers", new_bowler(who, is_minor="true"))
    assert refused.status_code == 422
    assert 'id="guardian-error"' in refused.text
    made = client.post(
        "/bowlers",
        new_bowler(who, is_minor="true", guardian="Ulla Quint 555 0100 1212", consent="fit and phone, 3 May"),
    )
    page = text_of(client.get(made.headers["location"]).text)
    assert "Under age. Guardian:" in page
    assert "Ulla Quint 555 0100 1212" in page
    assert "fit and phone, 3 May" in page


def test_a_rule_that_is_no_number_says_how_to_write_it(client: Client, who: str) -> None:
    refused = client.post("/rules/retention_years", {"who": who, "value": "3x", "version": "0"})
    assert refused.status_code == 422
    assert "Write a whole number from 0 to 99." in refused.text
    assert 'value="3x"' in refused.text


@pytest.mark.parametrize(("years", "age_days", "listed"), [(0, 9999, False), (3, 1000, False), (3, 1200, True)])
def test_bowlers_past_the_retention_are_listed(
    client: Client, session: Session, who: str, years: int, age_days: int, listed: bool
) -> None:
    long_ago = now() - timedelta(days=age_days)
    for change in session.scalars(select(Change).where(Change.bowler_id == 2)):
        change.at = long_ago
    not_none(session.get(Bowler, 2)).created_at = long_ago
    session.commit()
    version = not_none(
        re.search(r'action="/rules/retention_years".*?name="version" value="(\d*)"', client.get("/people").text, re.S)
    )[1]
    assert (
        client.post("/rules/retention_years", {"who": who, "value": str(years), "version": version}).status_code == 303
    )
    page = client.get("/retention").text
    assert ("Piet Olander" in page) is listed
    assert "Anna Johnson" not in page.split("<main")[1]


def test_erasing_takes_the_person_out_of_tickets_of_a_ball_that_went_to_another(
    client: Client, session: Session, who: str
) -> None:
    def version_of(model: type[Ball] | type[Bowler] | type[Ticket]) -> str:
        version = str(session.scalar(select(model.version).where(model.id == 1)))
        session.rollback()
        return version

    wanted = {"who": who, "bowler_id": "1", "thing": "ball:1", "what": "sand", "words": "Anna's own words"}
    assert client.post("/tickets", wanted).status_code == 303
    for act in ("ready", "take", "done", "hand-over"):
        moved = {"who": who, "version": version_of(Ticket), "handed_to": "Anna's brother" if act == "hand-over" else ""}
        assert client.post(f"/tickets/1/{act}", moved).status_code == 303
    sold = {"who": who, "version": version_of(Ball), "to_id": "2", "why": "sold"}
    assert client.post("/balls/1/owner", sold).status_code == 303
    later = wanted | {"bowler_id": "2", "words": "Piet's own words"}
    assert client.post("/tickets", later).status_code == 303
    assert "Anna's brother" in json.dumps(client.get("/bowlers/1/held.json").json())
    erased = client.post("/bowlers/1/erasure", {"who": who, "version": version_of(Bowler), "name": "Anna Johnson"})
    assert erased.status_code == 303, text_of(erased.text)
    told = select(Ticket.words, Ticket.handed_to, Ticket.state).order_by(Ticket.id)
    assert [tuple(row) for row in session.execute(told)] == [
        ("", "", "handed over"),
        ("Piet's own words", "", "taken in"),
    ]
