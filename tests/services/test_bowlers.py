import pytest
from sqlalchemy import event, insert, select, text
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Bowler
from app.prepared import AnyRow, Prepared
from app.schemas.bowlers import BowlerForm
from app.services import bowlers, changes, counter_rows, lookup


def form(who: str, **typed: str) -> BowlerForm:
    return BowlerForm.read({"who": who, "name": "Lars Quint", "phone": "555 0100 4477", "hand": "right"} | typed)


def names(session: Session, text: str) -> list[str]:
    return [row.bowler.name for row in bowlers.search(session, text)]


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("john", "Anna Johnson"), ("jonson", "Anna Johnson"), ("jhonson", "Anna Johnson"), ("anna j", "Anna Johnson"), ("johnson anna", "Anna Johnson"),
        ("7788", "Anna Johnson"), ("0142 7788", "Anna Johnson"), ("akerlund", "Søren Åkerlund"), ("Soren", "Søren Åkerlund"), ("tanaka", "Mei Tanaka-Ruiz"),
        ("ruiz", "Mei Tanaka-Ruiz"), ("montanni", "Chiara Montani"), ("OLANDER", "Piet Olander"), ("castelan", "Vern Castellan"),
    ],
)  # fmt: skip
def test_a_bowler_is_found_by_anything(session: Session, typed: str, expected: str) -> None:
    assert expected in names(session, typed)[:3]


@pytest.mark.parametrize("typed", ["", "   ", "%", "_", "zzzzzz", "'; drop table bowler", "∞"])
def test_what_names_nobody_finds_nobody(session: Session, typed: str) -> None:
    assert names(session, typed) == []


def test_a_row_tells_hand_fit_balls_shop_and_what_waits(session: Session) -> None:
    row = bowlers.search(session, "olander")[0]
    assert (row.bowler.hand, row.fits[0].letter, row.balls) == ("left", "A", ["Grey solid"])
    assert row.bowler.home_shop == "Quarry Lane Pro Shop"
    assert row.waiting == ["Grey solid: to drill"]


def test_two_of_one_name_are_marked_and_never_opened_by_enter(session: Session) -> None:
    found = bowlers.search(session, "bertil johnson")
    assert [row.of_this_name for row in found[:2]] == [2, 2]
    assert not bowlers.is_clear(found)


def test_a_clear_name_may_be_opened_by_enter(session: Session) -> None:
    found = bowlers.search(session, "anna johnson")
    assert bowlers.is_clear(found)
    assert found[0].bowler.name == "Anna Johnson"


def test_registering_leaves_its_history(session: Session, who: str) -> None:
    added = bowlers.register(session, form(who))
    line = changes.list_record_lines(session, added)[0]
    assert (line.field, line.new, line.initials) == ("made", "Lars Quint, right hand", "TB")
    session.commit()
    assert names(session, "quint") == ["Lars Quint"]


@pytest.mark.parametrize("typed", [{"name": "Ana Johnson"}, {"name": "Jonson Anna"}, {"phone": "(555) 0142-7788"}])
def test_a_likely_duplicate_is_shown_before_it_is_saved(session: Session, who: str, typed: dict[str, str]) -> None:
    with pytest.raises(bowlers.LikelyDuplicateError) as refused:
        bowlers.register(session, form(who, **typed))
    assert "Anna Johnson" in [row.bowler.name for row in refused.value.rows]
    assert session.scalar(select(Bowler).where(Bowler.name == "Ana Johnson")) is None


def test_somebody_else_of_the_same_name_is_saved_when_said_so(session: Session, who: str) -> None:
    added = bowlers.register(session, form(who, name="Anna Johnson", is_somebody_else="true"))
    assert added.id


def test_every_changed_field_is_told_with_old_and_new(session: Session, who: str) -> None:
    anna = bowlers.get_bowler(session, bowlers.search(session, "7788")[0].bowler.id)
    typed = {"name": anna.name, "phone": "555 0142 1111", "hand": "left", "version": str(anna.version)}
    bowlers.edit(session, anna.id, form(who, **typed))
    session.flush()
    told = {c.field: (c.old, c.new) for c in changes.list_record_lines(session, bowlers.get_bowler(session, anna.id))}
    assert told["phone"] == ("555 0142 7788", "555 0142 1111")
    assert told["hand"] == ("right", "left")
    session.commit()
    assert names(session, "1111") == ["Anna Johnson"]


def test_two_people_saving_one_record_is_a_conflict_that_names_the_other(session: Session, who: str) -> None:
    anna = bowlers.get_bowler(session, bowlers.search(session, "7788")[0].bowler.id)
    seen = str(anna.version)
    bowlers.edit(session, anna.id, form(who, name=anna.name, phone="555 0142 1111", version=seen))
    session.flush()
    with pytest.raises(ConflictError, match="Tadeo Birk"):
        bowlers.edit(session, anna.id, form(who, name="Anna J", version=seen))


@pytest.mark.parametrize(
    ("typed", "field"),
    [({"name": ""}, "name"), ({"name": "x" * 10_000}, "name"), ({"hand": "both"}, "hand"), ({"phone": "12"}, "phone"), ({"who": ""}, "who"), ({"home_shop_id": "x"}, "home_shop_id")],
)  # fmt: skip
def test_bad_input_is_refused_at_its_field(who: str, typed: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidError) as refused:
        form(**({"who": who} | typed))
    assert field in refused.value.fields


def test_an_unknown_home_shop_is_refused_at_its_field(session: Session, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        bowlers.register(session, form(who, home_shop_id="999"))
    assert "home_shop_id" in refused.value.fields


def test_a_missing_bowler_is_not_found(session: Session) -> None:
    with pytest.raises(NotFoundError):
        bowlers.get_bowler(session, 999)


@pytest.mark.once
@pytest.mark.parametrize("has_statistics", [True, False])
def test_a_record_among_many_is_found_by_indexes_alone(session: Session, has_statistics: bool) -> None:
    """With statistics of a column that is nearly always NULL, SQLite scanned every bowler for each record."""
    session.execute(insert(Bowler), [{"name": f"Nobody {i}", "hand": "left", "version": 1} for i in range(2_000)])
    session.flush()
    if has_statistics:
        session.execute(text("ANALYZE"))
    asked: list[tuple[str, tuple[int, ...]]] = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *of: asked.append((of[2], of[3])))
    bowlers.ask_record(1).fetch(session)
    record = next(query for query in asked if "has_merged" in query[0])
    plan = session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {record[0]}", record[1])
    assert [row[3] for row in plan if row[3].startswith("SCAN bowler")] == []


def test_the_namesake_without_more_words_comes_before_many_who_have_more(session: Session, who: str) -> None:
    """Whoever is added again is asked about, though a crowd has these words too."""
    for number in range(30):
        longer = form(who, name=f"John Bartholomew{'aeiouy'[number % 6] * (1 + number // 6)} Smith", phone="")
        bowlers.register(session, longer.model_copy(update={"is_somebody_else": True}))
    bowlers.register(session, form(who, name="John Smith", phone="").model_copy(update={"is_somebody_else": True}))
    session.commit()
    assert names(session, "john smith")[0] == "John Smith"
    with pytest.raises(bowlers.LikelyDuplicateError) as raised:
        bowlers.register(session, form(who, name="John Smith", phone=""))
    assert "John Smith" in [row.bowler.name for row in raised.value.rows]


def test_a_search_after_the_start_compiles_nothing_anew(
    session: Session, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the queries that most searches ask: a first search took thirty times as long as the next."""
    for name in ("Abe Quist", "Agda Rask", "Asta Sund"):
        bowlers.register(session, form(who, name=name, phone=""))
    session.commit()
    queries: list[Prepared[AnyRow]] = [lookup._OWN_NAMES, counter_rows._CHOSEN, counter_rows._OF_ROWS]
    for query in queries:
        monkeypatch.setattr(query, "statements", {})
    bowlers.prepare_search(session)
    known = [set(query.statements) for query in queries]
    assert [len(names(session, typed)) for typed in ("olander", "jonhsom", "a")] == [1, 3, 6]
    assert [set(query.statements) for query in queries] == known
