import json
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest
from alembic import command, op
from alembic.operations.base import AbstractOperations
from fastapi import FastAPI
from sqlalchemy import inspect, select, text
from sqlalchemy.orm import joinedload, undefer

from app.db import alembic_config, open_engine, sessions, upgrade
from app.models import Base, DepthObservation, Drilling, Inner, Photo, Scale
from tests import reflected
from tests.conftest import Databases
from tests.photos.made import make_picture, place_exif, write


def tables_of(url: str) -> set[str]:
    engine = open_engine(url)
    try:
        return set(inspect(engine).get_table_names())
    finally:
        engine.dispose()


def counts_of(url: str, *tables: str) -> dict[str, int]:
    engine = open_engine(url)
    with engine.connect() as connection:
        counted = {t: connection.exec_driver_sql(f'SELECT count(*) FROM "{t}"').scalar_one() for t in tables}
        if engine.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    engine.dispose()
    return counted


@pytest.fixture
def bare_url(databases: Databases) -> Iterator[str]:
    url = databases.new()
    yield url
    databases.drop(url)


def test_the_migrations_make_every_table_and_take_it_away(bare_url: str) -> None:
    upgrade(bare_url)
    assert tables_of(bare_url) - {"alembic_version"} == set(Base.metadata.tables)
    command.downgrade(alembic_config(bare_url), "base")
    assert tables_of(bare_url) == {"alembic_version"}
    upgrade(bare_url)


def schema_of(url: str) -> list[tuple[str, list[str]]]:
    """The statements that make all tables and indexes of an SQLite file, in no order of their lines."""
    engine = open_engine(url)
    with engine.connect() as connection:
        made = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE sql <> ''").all()
    engine.dispose()
    return sorted((name, sorted(line.strip(" \t,") for line in sql.splitlines())) for name, sql in made)


def test_the_apps_own_migrations_make_the_tables_that_tests_have(
    all_databases: dict[str, Databases], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(AbstractOperations, "batch_alter_table", reflected.WITH_LINKED)
    sqlite = all_databases["sqlite"]
    url = sqlite.new()
    upgrade(url)
    made = schema_of(url)
    assert made == schema_of(sqlite.empty)
    assert sum("REFERENCES" in line for _, lines in made for line in lines) > 100
    command.downgrade(alembic_config(url), "0004")
    monkeypatch.undo()
    assert schema_of(url) == schema_of(sqlite.demo_at("0004"))


def test_tables_and_migrations_agree(empty_url: str) -> None:
    command.check(alembic_config(empty_url))


def test_upgrading_twice_changes_nothing(database_url: str) -> None:
    before = counts_of(database_url, "bowler")
    upgrade(database_url)
    assert counts_of(database_url, "bowler") == before


def test_sqlite_is_opened_for_keeps(app: FastAPI) -> None:
    if app.state.engine.dialect.name != "sqlite":
        return  # PostgreSQL keeps its own promises, see its fsync and synchronous_commit
    with app.state.engine.connect() as connection:
        settings = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
        }
    assert settings == {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 2, "busy_timeout": 10_000}


def test_records_made_before_a_migration_survive_it(database_url: str) -> None:
    config = alembic_config(database_url)
    command.downgrade(config, "0001")
    before = counts_of(database_url, "drilling", "measurement")
    upgrade(database_url)
    assert counts_of(database_url, "drilling", "measurement") == before
    assert min(before.values()) > 0


def test_records_made_before_there_were_accounts_belong_to_the_one_shop(database_url: str) -> None:
    config = alembic_config(database_url)
    command.downgrade(config, "0003")
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:
        made = connection.exec_driver_sql("SELECT DISTINCT made_by_shop_id FROM bowler").scalars().all()
        names = connection.exec_driver_sql("SELECT sign_in_name FROM staff WHERE initials = 'TB'").scalars().all()
    engine.dispose()
    assert made == [1]
    assert names == ["tb"]


def test_verdicts_made_before_their_doubt_was_kept_get_none_invented(database_url: str) -> None:
    command.downgrade(alembic_config(database_url), "0011")
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:
        kept = "SELECT DISTINCT doubt_in, doubt_freedom, doubt_source FROM drilling WHERE verdict <> ''"
        assert [tuple(row) for row in connection.exec_driver_sql(kept)] == [(None, None, "")]
    engine.dispose()


def test_a_failed_migration_leaves_the_database_as_it_was(bare_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    real = op.create_table

    def fails_on_measurement(name: str, *args: Any, **more: Any) -> object:
        if name == "measurement":
            raise RuntimeError("power cut")
        return real(name, *args, **more)

    monkeypatch.setattr(op, "create_table", fails_on_measurement)
    with pytest.raises(RuntimeError):
        upgrade(bare_url)
    monkeypatch.undo()
    upgrade(bare_url)
    assert set(Base.metadata.tables) <= tables_of(bare_url)


def test_a_migration_that_leaves_links_to_nothing_is_not_committed(
    all_databases: dict[str, Databases], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check comes before the commit: the database is at the step it was at, with the record it had."""
    sqlite = all_databases["sqlite"]
    url = sqlite.copied(sqlite.demo)
    command.downgrade(alembic_config(url), "0004")
    before = counts_of(url, "bowler", "ball")
    real = op.drop_table

    def loses_bowlers(name: str, *args: Any, **more: Any) -> None:
        op.execute("DELETE FROM bowler")
        return real(name, *args, **more)

    monkeypatch.setattr(op, "drop_table", loses_bowlers)
    with pytest.raises(RuntimeError, match="would leave"):
        upgrade(url)
    monkeypatch.undo()
    assert counts_of(url, "bowler", "ball") == before
    assert stored_in(url) == "0004"
    upgrade(url)


def stored_in(url: str) -> str:
    engine = open_engine(url)
    with engine.connect() as connection:
        found: str = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one()
    engine.dispose()
    return found


def test_the_migration_forgets_zeros_of_unknowns_and_mends_sides_that_are_certain(database_url: str) -> None:
    command.downgrade(alembic_config(database_url), "0006")
    engine = open_engine(database_url)
    with engine.begin() as connection:
        run = connection.exec_driver_sql
        foreign = run('SELECT trimmed_in_id FROM "inner" ORDER BY id DESC LIMIT 1').scalar()
        run(
            f"""UPDATE bore SET forward_in = '0', typed = '{{"bore_pitch": "Unknown", "outside": "1"}}' WHERE id = {foreign}"""
        )
        run("""UPDATE "inner" SET typed = '{"tilt": "?"}' WHERE id = 2""")
        run("""UPDATE "inner" SET right_in = '1/8', typed = '{"tilt": "0, 1/8 under"}' WHERE id = 1""")
        run(
            """UPDATE drilling SET plan = replace(CAST(plan AS TEXT), '"hand": "right"', '"hand": "left"')"""
            + ("::json" if engine.dialect.name == "postgresql" else "")
        )
        run("""UPDATE depth_observation SET typed = '{"pitch": "unknown", "resolution": "??"}' WHERE id = 3""")
    engine.dispose()
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:

        def rows(sql: str) -> list[tuple[object, ...]]:
            return [tuple(row) for row in connection.execute(text(sql))]

        assert rows(f"SELECT forward_in, right_in, hand FROM bore WHERE id = {foreign}") == [(None, None, "")]
        assert rows('SELECT forward_in, right_in FROM "inner" ORDER BY id') == [("0", "-1/8"), (None, None)]
        assert rows("SELECT DISTINCT hand FROM bore WHERE id <> " + str(foreign)) == [("left",)]
        assert rows("SELECT forward_in, resolution_in FROM depth_observation ORDER BY id") == [
            ("0", "0"),
            ("0", "0"),
            (None, None),
        ]
        assert rows("SELECT old, new FROM change WHERE noun = 'inner' AND field = 'right_in'") == [("1/8", "-1/8")]
    engine.dispose()


def test_the_migration_tells_absent_zero_and_unknown_apart(database_url: str) -> None:
    """Ball 1 is drilled by us; the last bore is another shop's, as is the last inner."""
    command.downgrade(alembic_config(database_url), "0013")
    engine = open_engine(database_url)
    with engine.begin() as connection:
        run = connection.exec_driver_sql
        foreign = run('SELECT trimmed_in_id FROM "inner" ORDER BY id DESC LIMIT 1').scalar()
        run("""UPDATE ball SET typed = '{"circumference": "?", "safe_depth": "unk"}' WHERE id = 1""")
        run("""UPDATE ball SET circumference_in = '269/10', typed = '{"circumference": "unknown"}' WHERE id = 2""")
        left_empty = """forward_in = '0', right_in = '0', notch_deg = '180', typed = '{"outside": "1 1/4"}'"""
        run(f"UPDATE bore SET {left_empty} WHERE id = {foreign}")
        run("""UPDATE "inner" SET forward_in = '0', right_in = '0', typed = '{"tilt": "0"}' WHERE id = 1""")
        run("""UPDATE "inner" SET forward_in = '0', right_in = '0', typed = '{}' WHERE id = 2""")
        run("UPDATE depth_observation SET datum = 'crown' WHERE id = 2")
        run("UPDATE depth_observation SET obtained = 'trial_fit', inner_id = 2 WHERE id = 3")
    engine.dispose()
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:

        def rows(sql: str) -> list[tuple[object, ...]]:
            return [tuple(row) for row in connection.execute(text(sql))]

        def texts(table: str, row_id: object) -> dict[str, str]:
            kept = connection.exec_driver_sql(f'SELECT typed FROM "{table}" WHERE id = {row_id}').scalar_one()
            found: dict[str, str] = json.loads(kept) if isinstance(kept, str) else kept
            return found

        assert rows("SELECT circumference_in FROM ball WHERE id < 3 ORDER BY id") == [(None,), ("269/10",)]
        own = "SELECT b.circumference_in FROM bore b JOIN drilling d ON d.bore_id = b.id WHERE d.ball_id < 3 ORDER BY d.ball_id"
        assert rows(own) == [(None,), ("27",)]
        assert texts("bore", foreign) == {
            "outside": "1 1/4", "bore_pitch": "straight, or never asked", "notch": "as ours, or never asked",
        }  # fmt: skip
        assert "bore_pitch" not in texts("bore", 1)
        assert [texts("inner", i).get("tilt") for i in (1, 2)] == ["0", "straight, or never asked"]
        marks = [texts("depth_observation", i).get("pitch") for i in (1, 2, 3)]
        assert marks == [None, "straight, or never asked", "straight, or never asked"]
    with sessions(engine)() as session:
        plan = session.get_one(Drilling, 1).plan
        assert plan is not None
        assert plan.unknown == ("circumference", "safe depth")
    engine.dispose()
    command.downgrade(alembic_config(database_url), "0013")
    assert "never asked" not in "".join(map(str, export_texts(database_url)))


def export_texts(url: str) -> list[object]:
    engine = open_engine(url)
    with engine.connect() as connection:
        found = [
            connection.exec_driver_sql(f'SELECT typed FROM "{t}"').scalars().all()
            for t in ("bore", "inner", "depth_observation")
        ]
    engine.dispose()
    return [*found]


def test_a_trial_over_an_unknown_pitch_was_kept_as_straight(database_url: str) -> None:
    command.downgrade(alembic_config(database_url), "0013")
    engine = open_engine(database_url)
    with engine.begin() as connection:
        run = connection.exec_driver_sql
        run(
            'UPDATE bore SET forward_in = NULL, right_in = NULL WHERE id = (SELECT trimmed_in_id FROM "inner" WHERE id = 2)'
        )
        run(
            "UPDATE depth_observation SET obtained = 'trial_fit', inner_id = 2, forward_in = '0', right_in = '0' WHERE id = 3"
        )
    engine.dispose()
    upgrade(database_url)
    engine = open_engine(database_url)
    with sessions(engine)() as session:
        seen = session.get_one(DepthObservation, 3)
        assert (seen.forward_in, seen.right_in, seen.typed["pitch"]) == (None, None, "unknown")
    engine.dispose()


def test_an_unknown_outside_goes_down_as_the_size_it_counted_with(database_url: str) -> None:
    engine = open_engine(database_url)
    with sessions(engine)() as session, session.begin():
        counted = {}
        for of in session.scalars(select(Inner).options(joinedload(Inner.system))):
            of.outside_in = None
            counted[of.id] = str(of.counted_outside_in)
    engine.dispose()
    command.downgrade(alembic_config(database_url), "0015")
    engine = open_engine(database_url)
    with engine.connect() as connection:
        assert {i: size for i, size in connection.exec_driver_sql('SELECT id, outside_in FROM "inner"')} == counted
    assert not {c["name"]: c["nullable"] for c in inspect(engine).get_columns("inner")}["outside_in"]
    engine.dispose()
    upgrade(database_url)


@pytest.mark.parametrize(
    ("statement", "below"),
    [
        ("UPDATE fit SET grip_holes = 'thumbless' WHERE id = 1", "0016"),
        ("UPDATE drilling SET state = 'not drilled' WHERE id = 1", "0017"),
        ("UPDATE ball SET removed_at = '2026-01-02 00:00:00' WHERE id = 1", "0017"),
        (
            "INSERT INTO old_hole (id, ball_id, digit, label, along_in, across_in, state, filling, filled_by, typed, version)"
            " VALUES (1, 1, 'thumb', '', '-2', '0', 'open', '', '', '{}', 1)",
            "0018",
        ),
        ("UPDATE fit SET clinician_notes = 'rest it' WHERE id = 1", "0019"),
        ("UPDATE insert_system SET lift_in = '1/16', lift_deg = '180' WHERE id = 1", "0020"),
        (
            "INSERT INTO axis_point (id, bowler_id, hand, over_in, up_in, found_by, note, typed, staff_id, made_at,"
            " taken_back_reason, version)"
            " VALUES (1, 1, 'right', '9/2', '1/2', 'tape', '', '{}', 1, '2026-01-02 00:00:00', '', 1)",
            "0028",
        ),
        (
            "INSERT INTO photo (id, fit_id, media_type, data, staff_id, at)"
            " VALUES (90, 1, 'image/jpeg', '', 1, '2026-01-02 00:00:00')",
            "0033",
        ),
    ],
)  # fmt: skip
def test_what_nothing_older_can_hold_is_not_lost_on_the_way_down(database_url: str, statement: str, below: str) -> None:
    engine = open_engine(database_url)
    with engine.begin() as connection:
        connection.exec_driver_sql(statement)
    engine.dispose()
    with pytest.raises(RuntimeError, match="nothing older"):
        command.downgrade(alembic_config(database_url), below)
    upgrade(database_url)


def test_stock_becomes_parts_on_the_shelf_and_goes_back(database_url: str) -> None:
    """Sizes as the app writes them in words, whole, with a remainder, and as a decimal; the counts stay."""
    config = alembic_config(database_url)
    command.downgrade(config, "0024")  # parts that the stock tells too hold nothing up
    stock = {"1 1/4": 3, "1 3/8": 0, "1 1/4 + 0.003": 2, "1 3/8 − 0.002": 1}
    engine = open_engine(database_url)
    with engine.begin() as connection:
        kept = connection.execute(text("SELECT stock FROM insert_system WHERE id = 2")).scalar_one()
        connection.execute(text("UPDATE insert_system SET stock = :s WHERE id = 1"), {"s": json.dumps(stock)})
    upgrade(database_url)
    with engine.connect() as connection:
        sums = "SELECT p.size_in, sum(coalesce(m.count, 0)) FROM part p LEFT JOIN part_movement m ON m.part_id = p.id"
        found = connection.execute(text(f"{sums} WHERE p.system_id = 1 GROUP BY p.id ORDER BY p.id")).all()
        whys = set(connection.execute(text("SELECT cause, why FROM part_movement")).all())
    assert [tuple(row) for row in found] == [("5/4", 3), ("11/8", 0), ("1253/1000", 2), ("1373/1000", 1)]
    assert {tuple(row) for row in whys} == {("count", "carried over from the hardware's page")}
    command.downgrade(config, "0024")
    with engine.connect() as connection:
        assert connection.execute(text("SELECT stock FROM insert_system WHERE id = 2")).scalar_one() == kept
    upgrade(database_url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE part SET lot = 'A7' WHERE id = 1"))
    with pytest.raises(RuntimeError, match="part"):
        command.downgrade(config, "0024")
    engine.dispose()


def test_a_scale_of_older_records_keeps_its_readings_and_gets_no_arm_invented(database_url: str) -> None:
    config = alembic_config(database_url)
    command.downgrade(config, "0030")
    engine = open_engine(database_url)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO scale (shop_id, label, mass_oz, place_in, readings_oz, note, typed, version)"
            """ VALUES (1, 'Older scale', '2', '27/4', '["21/10"]', '', '{"reading_1": "2.1"}', 1)"""
        )
    upgrade(database_url)
    with sessions(engine)() as session:
        of = session.scalars(select(Scale).where(Scale.label == "Older scale")).one()
        assert (of.readings_oz, of.typed, of.mass_oz) == (["21/10"], {"reading_1": "2.1"}, Fraction(2))
        assert (of.arm_in, of.taped_first_oz, of.mass_doubt_oz, of.lift_in) == (None, None, None, None)
        of.taped_first_oz = Fraction(9, 4)
        session.commit()
    command.downgrade(config, "0030")
    with engine.connect() as connection:
        kept = connection.exec_driver_sql("SELECT mass_oz FROM scale WHERE label = 'Older scale'").scalar_one()
    engine.dispose()
    assert kept == "2"
    upgrade(database_url)


def test_old_photos_are_made_anew_and_what_cannot_be_decoded_stays(database_url: str) -> None:
    """The place in an old photo is gone after the migration, and its thumbnail is there."""
    command.downgrade(alembic_config(database_url), "0033")
    held = {91: write(make_picture(), exif=place_exif(6)), 92: b"\xff\xd8\xff of an older time"}
    engine = open_engine(database_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM photo")
        add = text(
            "INSERT INTO photo (id, ball_id, media_type, data, staff_id, at)"
            " VALUES (:id, 1, 'image/jpeg', :data, 1, '2026-01-02 00:00:00')"
        )
        for number, data in held.items():
            connection.execute(add, {"id": number, "data": data})
    upgrade(database_url)
    with sessions(engine)() as session:
        kept = {
            of.id: of for of in session.scalars(select(Photo).options(undefer(Photo.data), undefer(Photo.thumbnail)))
        }
    engine.dispose()
    assert b"MADE-UP" in held[91]
    assert b"MADE-UP" not in kept[91].data
    assert (kept[91].width, kept[91].height) == (480, 640)
    assert kept[91].thumbnail
    assert (kept[92].data, kept[92].thumbnail, kept[92].width) == (held[92], None, None)
