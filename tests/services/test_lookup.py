"""Finding bowlers by anything on the record, with the reason; and the words in memory against the table."""

import csv
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files

import pytest
from jellyfish import soundex
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import READ_ONLY
from app.models import Bowler, BowlerWord
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.services import balls, bowler_words, bowlers, lookup, words
from app.services.words import Words
from tests.conftest import Client, not_none
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
def filled(session: Session, who: str) -> Session:
    for name, more in RECORDS.items():
        form = {"who": who, "name": name, "hand": "right", "home_shop_id": "1", "is_somebody_else": "true"} | more
        added = bowlers.register(session, BowlerForm.read(form))
        if name == "Jan van den Berg":
            ball = {"who": who, "label": "Red", "serial": "XK 4471-B", "circumference": "27"}
            balls.add(session, added, BallForm.read(ball))
    session.commit()
    return session


def found(session: Session, typed: str) -> list[str]:
    return [row.bowler.name for row in bowlers.search(session, typed)]


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
def test_a_bowler_is_found_with_the_reason(filled: Session, typed: str, name: str, reason: str) -> None:
    row = next((row for row in bowlers.search(filled, typed) if row.bowler.name == name), None)
    assert row, found(filled, typed)
    assert not_none(row.found).reason == reason


def test_right_hands_are_left_out_when_left_is_asked_for(filled: Session) -> None:
    names = [row.bowler.name for row in bowlers.search(filled, "tuesday left hand")]
    assert names == ["Karel Jansen"]


def test_exact_and_begun_come_before_any_slip(filled: Session, who: str) -> None:
    bowlers.register(
        filled, BowlerForm.read({"who": who, "name": "Ana Jonson", "hand": "right", "is_somebody_else": "true"})
    )
    filled.commit()
    assert [row.bowler.name for row in bowlers.search(filled, "jonson")][:2] == ["Ana Jonson", "Bertil Johnson"] or (
        bowlers.search(filled, "jonson")[0].bowler.name == "Ana Jonson"
    )
    distances = [not_none(row.found).distance for row in bowlers.search(filled, "jonson")]
    assert distances == sorted(distances)


def test_what_answers_is_marked_in_the_name(filled: Session, client: Client) -> None:
    page = client.get("/?q=karel jans", headers={"HX-Request": "true"}).text
    assert "<mark>Karel</mark> <mark>Jans</mark>en" in page
    assert "one letter off" in text_of(client.get("/?q=olandre", headers={"HX-Request": "true"}).text)


def owners_in_table(session: Session) -> dict[str, list[int]]:
    session.connection(execution_options=READ_ONLY)
    owners: dict[str, set[int]] = {}
    for word, bowler_id in session.execute(select(BowlerWord.word, BowlerWord.bowler_id)):
        if not word.startswith(words.NUMBER):
            owners.setdefault(word, set()).add(bowler_id)
    session.rollback()
    return {word: sorted(ids) for word, ids in owners.items()}


def owners_in_memory(session: Session) -> dict[str, list[int]]:
    return {word: list(ids) for word, ids in words.get_words(session).owners.items()}


def test_the_words_in_memory_are_those_of_the_table_after_every_kind_of_write(
    client: Client, session: Session, who: str
) -> None:
    client.get("/?q=warm")
    client.post("/bowlers", new_bowler(who, name="Wilhelmina Featherstone", league="Monday trios"))
    assert "Wilhelmina" in client.get("/?q=fetherstone").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/10", new_bowler(who, name="Wilhelmina Feathers", version="1"))
    assert "Feathers" in client.get("/?q=fethers").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/2/balls", {"who": who, "label": "Marked", "serial": "ZZ-90125", "circumference": "27"})
    assert "Piet" in client.get("/?q=90125").text
    held, in_table = owners_in_memory(session), owners_in_table(session)
    assert all(set(ids) <= set(held[word]) for word, ids in in_table.items())
    assert set(held) - set(in_table) == {"featherstone", "monday", "trios"}  # of a record since changed
    assert "Wilhelmina" not in client.get("/?q=featherstone").text
    assert bowler_words.rebuild_index(session) == 10
    session.commit()
    assert owners_in_memory(session) == owners_in_table(session)
    assert words.get_words(session).sorted == sorted(
        w for w in owners_in_table(session) if not w.startswith(words.KEPT_TO)
    )


def test_what_a_record_no_longer_says_finds_nobody(client: Client, session: Session, who: str) -> None:
    client.post(
        "/bowlers", new_bowler(who, name="Ottoline Vance", hand="left", home_shop_id="1", phone="555 0131 4455")
    )
    assert found(session, "ottoline left hand") == found(session, "vance quarry") == ["Ottoline Vance"]
    session.rollback()
    form = new_bowler(who, name="Ottoline Vance", hand="right", home_shop_id="2", phone="555 0131 4466", version="1")
    assert client.post("/bowlers/10", form).status_code == 303
    session.rollback()
    assert found(session, "ottoline left hand") == found(session, "vance 4455") == []
    assert found(session, "vance quarry") == []
    assert found(session, "ottoline right hand") == found(session, "vance 4466") == ["Ottoline Vance"]


@pytest.mark.parametrize(
    "typed",
    ["karel quarry", "jansn quarry", "quarry 0173", "quarry left-hand jansen"],
)
def test_a_word_of_the_house_shop_keeps_to_its_bowlers(filled: Session, typed: str) -> None:
    rows = bowlers.search(filled, typed)
    assert rows[0].bowler.name == "Karel Jansen"
    assert {row.bowler.home_shop_id for row in rows} == {1}
    assert "Karel Jansen" not in found(filled, typed.replace("left", "right").replace("quarry", "harbour"))
    assert all("house shop quarry" in not_none(row.found).reason for row in rows)


def test_the_shop_alone_lists_its_bowlers(filled: Session) -> None:
    shops = {row.bowler.home_shop_id for row in bowlers.search(filled, "quarry lane")}
    assert shops == {1}


def test_a_short_phone_number_has_to_be_the_whole_one(filled: Session, who: str) -> None:
    short = {"who": who, "name": "Ottoline Vance", "hand": "left", "phone": "0173", "is_somebody_else": "true"}
    vance = bowlers.register(filled, BowlerForm.read(short))
    filled.commit()
    karel = bowlers.search(filled, "karel jansen")[0].bowler.id
    assert lookup.find_by_phone(filled, "0173") == [vance.id]
    assert lookup.find_by_phone(filled, "(0) 131-0173") == [karel]
    assert lookup.find_by_phone(filled, "173") == lookup.find_by_phone(filled, "") == []


def test_no_bowler_hides_behind_many_of_a_common_name(filled: Session, who: str) -> None:
    """A slip in one word is looked for among all that have the other, however many those are."""
    common = [Bowler(name=f"Karel {'Jonker' if i % 2 else 'Janssens'}", hand="right") for i in range(700)]
    filled.add_all(common)
    filled.flush()
    for bowler in common:
        bowler_words.index_bowler(filled, bowler)
    filled.commit()
    assert found(filled, "karel jansn")[0] == "Karel Jansen"
    assert "Karel Jansen" in found(filled, "jansen karle")


def test_a_name_saved_by_another_process_is_found_at_once(client: Client, database_url: str) -> None:
    assert "Quillon" not in client.get("/?q=quilon").text
    program = (
        "import sys; from app.db import open_engine, sessions; from app.schemas.bowlers import BowlerForm; from app.services import bowlers\n"
        "with sessions(open_engine(sys.argv[1]))() as s:\n"
        " bowlers.register(s, BowlerForm.read({'who': '1', 'name': 'Orsolya Quillon', 'hand': 'left'})); s.commit()"
    )
    subprocess.run([sys.executable, "-c", program, database_url], check=True)
    assert "Quillon" in client.get("/?q=quilon").text


def test_no_nickname_of_the_open_list_is_crowded_out_by_likelier_words(tell: Callable[[str], None]) -> None:
    """Source: the names.csv that the package `nicknames` carries (Apache-2.0), each canonical name with its nicknames."""
    known = Words()
    pairs = []
    with (files("nicknames") / "names.csv").open() as lines:
        for row in csv.reader(lines):
            if len(row) == 3 and row[1] == "has_nickname" and row[0].isascii() and row[2].isascii():
                pairs.append((row[0].lower(), row[2].lower()))
    assert len(pairs) > 1000
    for word in {name for pair in pairs for name in pair if name.isalpha()}:
        known.add(word, [1])
    pairs = [(a, b) for a, b in pairs if a.isalpha() and b.isalpha()]
    hits = [b in known.near(a) for a, b in pairs]
    tell(f"{sum(hits)} of {len(pairs)} nicknames are near")
    assert sum(hits) / len(hits) >= 0.9


# Spellings of one surname, from an open list (Apache-2.0): github.com/tfmorris/Names, surname_werelate.txt, lines of two to
# five plain names among the first 16,000 characters.
SURNAMES = """
body boddie boddy bodie|neale neal|farrand ference ferrante|tindell tindal tindall tindle tyndall|rinne wren wrenn
pierson pearce pearse pearson pierce|kiessling kiesling|cockrell cockerill cockrill|cottom cotton|fludd flood|keech keach
vian vivian viviano|willer willard|bannister banister|dion dionne|brien brian bryan bryant|alfonso alonso alonzo|kidman kidd
shears shear sheer sher shires|zwart swart|stenson stimpson stimson stinson|endecott endicott|finnigan finegan finn finnegan
wykstra wijkstra|raison reason|wieland weiland|boyes boice boyce|blaustein bluestein|galbreath galbraith|broome broom
teale teal|weinreich weinrich|albin albino aubin|ridge rigg riggs|conlan conlin conlon quinlan|keel keeler
petty petit pettie pettit pettitt|carron charron|painter paynter pinto|callahan callaghan|barrie barry|lipson lipka lipkin
burd bird byrd|fogerty fogarty|landman landsman|bieber beaver bever|killian kilian killeen killen|beach beech beecher
nowlan nolan noland|kean kane keane|murdoch murdock murtha|tulloch tullock|stearns stearn stern sterne|angier anger
murrell merrill|slate slater|bark berk berke birch burk|fowler vogler|wellman weller welling wells|mott lamotte mota motta
duce dolce doucet|toll tolley tolson tooley towle|kellner kellar keller
"""  # fmt: skip


def test_names_that_sound_alike_are_near(tell: Callable[[str], None]) -> None:
    """Which of these spellings sound alike is said by a rule we do not use: Soundex, as the US National Archives publish it."""
    families = [line.split() for part in SURNAMES.split("\n") for line in part.split("|") if line]
    pairs = [(a, b) for family in families for a in family for b in family if a != b and soundex(a) == soundex(b)]
    known = Words()
    for word in {name for family in families for name in family}:
        known.add(word, [1])
    hits = [b in known.near(a) for a, b in pairs]
    tell(f"{sum(hits)} of {len(pairs)} surnames that sound alike are near")
    assert len(pairs) > 200
    assert sum(hits) / len(hits) >= 0.9


@pytest.mark.parametrize(
    ("typed", "names"),
    [
        ("max 3rd", ["Max Holm 3rd"]),
        ("3rd", ["Max Holm 3rd"]),
        ("holm 3", ["Max Holm 3rd", "Max Holm 3"]),
        ("lane 12", ["Lane Twelve 12"]),
        ("twelve 12", ["Lane Twelve 12"]),
        ("4zz", ["Quin 4zzo"]),
        ("holm 1234", []),
    ],
)
def test_a_name_with_a_digit_is_found(session: Session, who: str, typed: str, names: list[str]) -> None:
    for name in ("Max Holm 3rd", "Max Holm 3", "Max Holm", "Lane Twelve 12", "Quin 4zzo"):
        form = {"who": who, "name": name, "hand": "right", "is_somebody_else": "true"}
        bowlers.register(session, BowlerForm.read(form))
    session.commit()
    rows = bowlers.search(session, typed)
    assert sorted(row.bowler.name for row in rows) == sorted(names)
    assert {not_none(row.found).reason for row in rows} <= {""}
