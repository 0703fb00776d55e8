"""Finding bowlers by anything on the record, with the reason; and the words in memory against the table."""

import csv
import subprocess
import sys
from importlib.resources import files

import pytest
from sqlalchemy import select

from app.db import READ_ONLY
from app.models import BowlerWord
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.services import balls, bowlers, lookup
from tests.pages.test_pages import new_bowler, text_of

RECORDS = {
    "Karel Jansen": {"phone": "555 0131 0173", "hand": "left", "league": "Tuesday mixed"},
    "Jan van den Berg": {"phone": "555 0131 2200", "league": "Friday early birds"},
    "Анна Иванова": {"phone": "555 0131 2201"},
    "王 秀英": {"phone": "555 0131 2202"},
    "Robert O'Hara": {"phone": "555 0131 2203", "league": "Tuesday mixed"},
    "Łukasz Wiśniewski": {"phone": "555 0131 2204"},
    "Catherine Meyer": {"phone": "555 0131 2205"},
}


@pytest.fixture
def filled(session, who):
    for name, more in RECORDS.items():
        form = {"who": who, "name": name, "hand": "right", "is_somebody_else": "true"} | more
        added = bowlers.register(session, BowlerForm.read(form))
        if name == "Jan van den Berg":
            ball = {"who": who, "label": "Red", "serial": "XK 4471-B", "circumference": "27"}
            balls.add(session, added, BallForm.read(ball))
    session.commit()
    return session


@pytest.mark.parametrize(
    ("typed", "name", "reason"),
    [
        ("Jansen, k", "Karel Jansen", ""),
        ("jansen karel", "Karel Jansen", ""),
        ("0173", "Karel Jansen", "phone 0173"),
        ("310173", "Karel Jansen", "phone 310173"),  # the last six
        ("janssen 0173", "Karel Jansen", "one letter off, phone 0173"),
        ("left-hand Tuesday league", "Karel Jansen", "league tuesday"),
        ("tuesday ohara", "Robert O'Hara", "league tuesday"),
        ("vandenberg", "Jan van den Berg", ""),
        ("van den berg", "Jan van den Berg", ""),
        ("vanden burg", "Jan van den Berg", "one letter off"),
        ("4471", "Jan van den Berg", "ball 4471"),
        ("xk4471b", "Jan van den Berg", "ball xk4471b"),
        ("иванова", "Анна Иванова", ""),
        ("иваннова анна", "Анна Иванова", "one letter off"),
        ("秀英", "王 秀英", ""),
        ("lukasz wisniewski", "Łukasz Wiśniewski", ""),
        ("bob hara", "Robert O'Hara", "also called robert"),
        ("katherine meier", "Catherine Meyer", "one letter off"),
        ("maier", "Catherine Meyer", "two letters off"),
        ("Jonsen", "Anna Johnson", "sounds like"),
    ],
)
def test_a_bowler_is_found_with_the_reason(filled, typed, name, reason):
    found = bowlers.find(filled, typed)
    row = next((row for row in found if row.bowler.name == name), None)
    assert row, [row.bowler.name for row in found]
    assert row.found.reason == reason


def test_right_hands_are_left_out_when_left_is_asked_for(filled):
    names = [row.bowler.name for row in bowlers.find(filled, "tuesday left hand")]
    assert names == ["Karel Jansen"]


def test_exact_and_begun_come_before_any_slip(filled, who):
    bowlers.register(
        filled, BowlerForm.read({"who": who, "name": "Ana Jonson", "hand": "right", "is_somebody_else": "true"})
    )
    filled.commit()
    assert [row.bowler.name for row in bowlers.find(filled, "jonson")][:2] == ["Ana Jonson", "Bertil Johnson"] or (
        bowlers.find(filled, "jonson")[0].bowler.name == "Ana Jonson"
    )
    distances = [row.found.distance for row in bowlers.find(filled, "jonson")]
    assert distances == sorted(distances)


def test_what_answers_is_marked_in_the_name(filled, client):
    page = client.get("/?q=karel jans", headers={"HX-Request": "true"}).text
    assert "<mark>Karel</mark> <mark>Jans</mark>en" in page
    assert "one letter off" in text_of(client.get("/?q=olandre", headers={"HX-Request": "true"}).text)


def words_in_table(session) -> dict[str, int]:
    session.connection(execution_options=READ_ONLY)
    rows = session.scalars(select(BowlerWord.word).where(BowlerWord.word >= "0")).all()
    session.rollback()
    return {word: rows.count(word) for word in set(rows)}


def test_the_words_in_memory_are_those_of_the_table_after_every_kind_of_write(client, session, who):
    client.get("/?q=warm")
    client.post("/bowlers", new_bowler(who, name="Wilhelmina Featherstone", league="Monday trios"))
    assert "Wilhelmina" in client.get("/?q=fetherstone").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/10", new_bowler(who, name="Wilhelmina Feathers", version="1"))
    assert "Feathers" in client.get("/?q=fethers").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/2/balls", {"who": who, "label": "Marked", "serial": "ZZ-90125", "circumference": "27"})
    assert "Piet" in client.get("/?q=90125").text
    known = lookup.vocabulary(session)
    in_table = words_in_table(session)
    assert set(in_table) <= set(known.counts)
    assert set(known.counts) - set(in_table) == {
        "featherstone",
        "monday",
        "trios",
    }  # of records since changed: they find nobody
    assert lookup.rebuild(session) == 10
    session.commit()
    known = lookup.vocabulary(session)
    assert known.counts == words_in_table(session)
    assert known.sorted == sorted(known.counts)


def test_a_name_saved_by_another_process_is_found_at_once(client, database_url):
    assert "Quillon" not in client.get("/?q=quilon").text
    program = (
        "import sys; from app.db import open_engine, sessions; from app.schemas.bowlers import BowlerForm; from app.services import bowlers\n"
        "with sessions(open_engine(sys.argv[1]))() as s:\n"
        " bowlers.register(s, BowlerForm.read({'who': '1', 'name': 'Orsolya Quillon', 'hand': 'left'})); s.commit()"
    )
    subprocess.run([sys.executable, "-c", program, database_url], check=True)
    assert "Quillon" in client.get("/?q=quilon").text


def test_no_nickname_of_the_open_list_is_crowded_out_by_likelier_words(tell):
    """Source: the names.csv that the package `nicknames` carries (Apache-2.0), each canonical name with its nicknames."""
    known = lookup.Vocabulary()
    pairs = []
    with (files("nicknames") / "names.csv").open() as lines:
        for row in csv.reader(lines):
            if len(row) == 3 and row[1] == "has_nickname" and row[0].isascii() and row[2].isascii():
                pairs.append((row[0].lower(), row[2].lower()))
    assert len(pairs) > 1000
    for word in {name for pair in pairs for name in pair if name.isalpha()}:
        known._add(word, 1)
    pairs = [(a, b) for a, b in pairs if a.isalpha() and b.isalpha()]
    hits = [b in known.near(a) for a, b in pairs]
    tell(f"{sum(hits)} of {len(pairs)} nicknames are near")
    assert sum(hits) / len(hits) >= 0.9
