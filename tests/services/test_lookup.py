"""Finding bowlers by anything on the record, with the reason."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.db import READ_ONLY, open_engine, sessions
from app.models import Bowler, Staff
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.services import balls, bowler_words, bowlers, lookup
from tests.conftest import Client, Databases, not_none
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


WITH_DIGITS: dict[str, dict[str, str]] = {
    name: {"home_shop_id": ""} for name in ("Max Holm 3rd", "Max Holm 3", "Max Holm", "Lane Twelve 12", "Quin 4zzo")
}


def register(session: Session, who: str, records: dict[str, dict[str, str]]) -> None:
    for name, more in records.items():
        form = {"who": who, "name": name, "hand": "right", "home_shop_id": "1", "is_somebody_else": "true"} | more
        added = bowlers.register(session, BowlerForm.read(form))
        if name == "Jan van den Berg":
            ball = {"who": who, "label": "Red", "serial": "XK 4471-B", "circumference": "27"}
            balls.add(session, added, BallForm.read(ball))
    session.commit()


@pytest.fixture
def filled(session: Session, who: str) -> Session:
    register(session, who, RECORDS)
    return session


class Shelf:
    """Shops filled once for all tests that only look."""

    def __init__(self) -> None:
        self.made: dict[tuple[str, str], tuple[Databases, Engine]] = {}

    def open(self, databases: Databases, records: dict[str, dict[str, str]]) -> Session:
        key = (databases.kind, min(records))  # the first name, of no other set of records
        if key not in self.made:
            engine = open_engine(databases.copied(databases.demo))
            self.made[key] = databases, engine
            with sessions(engine)() as session:
                owner = session.scalars(select(Staff.id).where(Staff.initials == "TB")).one()
                register(session, str(owner), records)
        opened = sessions(self.made[key][1])()
        opened.connection(execution_options=READ_ONLY)
        return opened

    def clear(self) -> None:
        for databases, engine in self.made.values():
            engine.dispose()
            databases.drop(engine.url.render_as_string(hide_password=False))


@pytest.fixture(scope="module")
def shelf() -> Iterator[Shelf]:
    made = Shelf()
    yield made
    made.clear()


@pytest.fixture
def standing(databases: Databases, shelf: Shelf) -> Iterator[Session]:
    """A shop with RECORDS to look at."""
    with shelf.open(databases, RECORDS) as session:
        yield session


@pytest.fixture
def with_digits(databases: Databases, shelf: Shelf) -> Iterator[Session]:
    with shelf.open(databases, WITH_DIGITS) as session:
        yield session


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
        ("XK 4471-B", "Jan van den Berg", "ball xk4471b"),  # as it is written on the ball
        ("xk-4471", "Jan van den Berg", "ball xk4471"),
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
def test_a_bowler_is_found_with_the_reason(standing: Session, typed: str, name: str, reason: str) -> None:
    row = next((row for row in bowlers.search(standing, typed) if row.bowler.name == name), None)
    assert row, found(standing, typed)
    assert not_none(row.found).reason == reason


def test_right_hands_are_left_out_when_left_is_asked_for(standing: Session) -> None:
    names = [row.bowler.name for row in bowlers.search(standing, "tuesday left hand")]
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
def test_a_word_of_the_house_shop_keeps_to_its_bowlers(standing: Session, typed: str) -> None:
    rows = bowlers.search(standing, typed)
    assert rows[0].bowler.name == "Karel Jansen"
    assert {row.bowler.home_shop for row in rows} == {"Quarry Lane Pro Shop"}
    assert "Karel Jansen" not in found(standing, typed.replace("left", "right").replace("quarry", "harbour"))
    assert all("house shop quarry" in not_none(row.found).reason for row in rows)


def test_the_shop_alone_lists_its_bowlers(standing: Session) -> None:
    assert {row.bowler.home_shop for row in bowlers.search(standing, "quarry lane")} == {"Quarry Lane Pro Shop"}


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
def test_a_name_with_a_digit_is_found(with_digits: Session, typed: str, names: list[str]) -> None:
    rows = bowlers.search(with_digits, typed)
    assert sorted(row.bowler.name for row in rows) == sorted(names)
    assert {not_none(row.found).reason for row in rows} <= {""}
