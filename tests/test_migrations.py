import sqlite3
from pathlib import Path

from alembic import command
from sqlalchemy import inspect

from app.db import alembic_config, open_engine, upgrade
from app.models import Base


def test_the_first_migration_makes_every_table_and_takes_it_away(tmp_path: Path):
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    upgrade(url)
    engine = open_engine(url)
    assert set(inspect(engine).get_table_names()) - {"alembic_version"} == set(Base.metadata.tables)
    engine.dispose()
    command.downgrade(alembic_config(url), "base")
    engine = open_engine(url)
    assert set(inspect(engine).get_table_names()) == {"alembic_version"}
    engine.dispose()
    upgrade(url)


def test_tables_and_migrations_agree(empty_database: Path):
    command.check(alembic_config(f"sqlite:///{empty_database}"))


def test_upgrading_twice_changes_nothing(database_url: str):
    path = database_url.removeprefix("sqlite:///")
    with sqlite3.connect(path) as before:
        count = before.execute("SELECT count(*) FROM bowler").fetchone()
    before.close()
    upgrade(database_url)
    with sqlite3.connect(path) as after:
        assert after.execute("SELECT count(*) FROM bowler").fetchone() == count
    after.close()


def test_sqlite_is_opened_for_keeps(app):
    with app.state.engine.connect() as connection:
        settings = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
        }
    assert settings == {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 2, "busy_timeout": 5000}


def test_records_made_before_a_migration_survive_it(database_url: str):
    config = alembic_config(database_url)
    command.downgrade(config, "0001")
    engine = open_engine(database_url)
    with engine.connect() as connection:
        before = {
            t: connection.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar() for t in ("drilling", "measurement")
        }
    engine.dispose()
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:
        after = {t: connection.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar() for t in before}
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    engine.dispose()
    assert after == before
    assert min(after.values()) > 0


def test_a_failed_migration_leaves_the_database_as_it_was(tmp_path: Path, monkeypatch):
    import pytest
    from alembic import op

    url = f"sqlite:///{tmp_path / 'shop.db'}"
    real = op.create_table

    def fails_on_measurement(name, *args, **more):
        if name == "measurement":
            raise RuntimeError("power cut")
        return real(name, *args, **more)

    monkeypatch.setattr(op, "create_table", fails_on_measurement)
    with pytest.raises(RuntimeError):
        upgrade(url)
    monkeypatch.undo()
    upgrade(url)
    engine = open_engine(url)
    assert set(Base.metadata.tables) <= set(inspect(engine).get_table_names())
    engine.dispose()
