"""Copies made under load and by themselves: one reading, numbered by database, rotated, and missed where they stop."""

import errno
import os
import re
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select

from app.db import open_engine, revision, sessions
from app.errors import InvalidError
from app.models import Bowler, BowlerWord, Change
from app.schemas.bowlers import BowlerForm
from app.services import backups, bowlers, restores
from app.settings import Settings
from tests.conftest import Client, Databases


def write_until(stop: threading.Event, url: str) -> None:
    engine = open_engine(url)
    number = 0
    while not stop.is_set():
        with sessions(engine)() as session:
            form = {"who": "1", "name": f"Load Number{number} {threading.get_ident()}", "hand": "right"}
            bowlers.register(session, BowlerForm.read(form | {"is_somebody_else": "true"}))
            session.commit()
        number += 1
    engine.dispose()


def test_a_copy_made_under_load_restores_to_a_consistent_database(
    databases: Databases, database_url: str, tmp_path: Path
) -> None:
    stop = threading.Event()
    writers = [threading.Thread(target=write_until, args=(stop, database_url)) for _ in range(3)]
    for writer in writers:
        writer.start()
    try:
        copies = [backups.make_backup(database_url, tmp_path / "copies") for _ in range(4)]
    finally:
        stop.set()
        for writer in writers:
            writer.join(30)
    assert len(set(copies)) == 4
    seen: list[int] = []
    for copy in copies:
        url = databases.new() if databases.kind == "postgresql" else f"sqlite:///{tmp_path / 'restored' / copy.name}"
        restores.restore(url, copy)
        engine = open_engine(url)
        with sessions(engine)() as session:
            made = session.scalars(select(func.count()).select_from(Bowler)).one()
            told = session.scalar(
                select(func.count()).select_from(Change).where(Change.noun == "bowler", Change.field == "made")
            )
            indexed = session.scalar(select(func.count(BowlerWord.bowler_id.distinct())))
        engine.dispose()
        databases.drop(url)
        assert made == told == indexed  # a bowler, its history and its words were saved together or not at all
        seen.append(made)
    assert seen == sorted(seen)
    assert seen[-1] > 9


def test_the_oldest_copies_go(database_url: str, tmp_path: Path) -> None:
    made = [backups.make_backup(database_url, tmp_path, kept=2) for _ in range(4)]
    assert [c.path for c in backups.list_backups(tmp_path, database_url)] == [made[3], made[2]]


def test_a_copy_without_a_database_says_so(tmp_path: Path) -> None:
    with pytest.raises(InvalidError, match="no SQLite database"):
        backups.make_backup(f"sqlite:///{tmp_path / 'none.db'}", tmp_path / "copies")
    assert not (tmp_path / "copies").exists()


def test_a_copy_that_finds_no_space_says_so_and_leaves_nothing(
    all_databases: dict[str, Databases], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills while the copy is put back in its rehearsal: a real error number, raised where copying writes."""
    sqlite = all_databases["sqlite"]

    def full(*_paths: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(InvalidError, match="No space left on device"):
        backups.make_backup(sqlite.demo, tmp_path)
    assert list(tmp_path.iterdir()) == []


class Busy(sqlite3.Connection):
    """The database being copied, into which somebody writes whenever the copying takes a breath."""

    breaths = 0

    def backup(self, target: sqlite3.Connection, **more: Any) -> None:
        database = self.execute("PRAGMA database_list").fetchone()[2]

        def write(*_left: int) -> None:
            Busy.breaths += 1
            assert Busy.breaths < 30, "the copy starts anew at every write"
            with closing(sqlite3.connect(database)) as other, other:
                other.execute("UPDATE bowler SET notes = notes || 'x'")

        super().backup(target, progress=write, **more)


def test_a_copy_is_one_reading_that_no_write_starts_anew(
    all_databases: dict[str, Databases], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sqlite = all_databases["sqlite"]
    url = sqlite.copied(sqlite.demo)
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as connection:
        connection.execute("UPDATE bowler SET notes = hex(randomblob(6000000)) WHERE id = 1")  # more than 2000 pages
        connection.commit()
    real: Callable[..., sqlite3.Connection] = sqlite3.connect
    Busy.breaths = 0
    first = [True]

    def connect(place: str, *args: Any, **more: Any) -> sqlite3.Connection:
        factory = {"factory": Busy} if first.pop() else {}
        first.append(False)
        made: sqlite3.Connection = real(place, *args, **more, **factory)
        return made

    monkeypatch.setattr(sqlite3, "connect", connect)
    backups._copy_file(Path(url.removeprefix("sqlite:///")), tmp_path / "copy.db")
    assert Busy.breaths == 1


def test_two_databases_in_one_folder_keep_their_own_copies(all_databases: dict[str, Databases], tmp_path: Path) -> None:
    sqlite = all_databases["sqlite"]
    first, second = sqlite.copied(sqlite.demo), sqlite.copied(sqlite.empty)
    ours = backups.make_backup(first, tmp_path, kept=2)
    for _ in range(3):
        backups.make_backup(second, tmp_path, kept=2)
    assert [c.path for c in backups.list_backups(tmp_path, first)] == [ours]
    assert [c.number for c in backups.list_backups(tmp_path, second)] == [3, 2]


def dated(copy: Path, ahead: timedelta) -> Path:
    """The same copy, made by a clock that ran ahead."""
    parts = copy.name.split("-")
    parts[3] = f"{datetime.now(UTC) + ahead:%Y%m%dT%H%M%SZ}.{parts[3].partition('.')[2]}"
    return copy.rename(copy.with_name("-".join(parts)))


def test_the_newest_copy_stays_though_older_ones_are_dated_ahead(database_url: str, tmp_path: Path) -> None:
    ahead = [dated(backups.make_backup(database_url, tmp_path), timedelta(days=d)) for d in (900, 800)]
    newest = backups.make_backup(database_url, tmp_path, kept=2)
    assert [c.path for c in backups.list_backups(tmp_path, database_url)] == [newest, ahead[1]]
    assert backups.make_backup(database_url, tmp_path, kept=1).exists()


def copier(url: str, folder: Path, **more: Any) -> backups.BackupThread:
    return backups.BackupThread(Settings(database_url=url, backup_folder=str(folder), **more))


def test_copies_go_on_after_the_clock_ran_ahead(database_url: str, tmp_path: Path) -> None:
    dated(backups.make_backup(database_url, tmp_path), timedelta(days=900))
    by_itself = copier(database_url, tmp_path)
    assert "too old to rely on" in backups.describe_lateness(by_itself.settings)
    by_itself.back_up_if_due()
    assert len(backups.list_backups(tmp_path, database_url)) == 2
    assert by_itself.warning == ""
    by_itself.back_up_if_due()
    assert len(backups.list_backups(tmp_path, database_url)) == 2  # there is one of today


def test_what_killed_copies_left_goes_and_links_to_nothing_are_passed_over(database_url: str, tmp_path: Path) -> None:
    made = backups.make_backup(database_url, tmp_path)
    left = tmp_path / f".{made.name}.part"
    left.write_bytes(b"half a copy")
    theirs = tmp_path / ".spanbook-other.01234567-000001-20260101T000000Z.db.part"
    theirs.write_bytes(b"another shop is at it")
    (tmp_path / made.name.replace("-000001-", "-000009-")).symlink_to(tmp_path / "nowhere")
    second = backups.make_backup(database_url, tmp_path, kept=5)
    assert [c.path for c in backups.list_backups(tmp_path, database_url)] == [second, made]
    assert (left.exists(), theirs.exists()) == (False, True)


def test_a_copy_of_a_time_before_names_said_whose_they_are_is_shown_and_never_removed(
    database_url: str, tmp_path: Path
) -> None:
    old = tmp_path / f"spanbook-20260101-120000-000000.{'db' if 'sqlite' in database_url else 'jsonl.gz'}"
    old.write_bytes(b"a copy")
    newest = [backups.make_backup(database_url, tmp_path, kept=1) for _ in range(2)][-1]
    assert [c.path for c in backups.list_backups(tmp_path, database_url)] == [newest, old]


def test_whatever_goes_wrong_the_copier_goes_on_and_says_so(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    by_itself = copier(database_url, tmp_path)

    def broken(*_args: object) -> Path:
        raise RuntimeError("no fault we know")

    monkeypatch.setattr(backups, "make_backup", broken)
    by_itself.pause, ended, real = 0, threading.Event(), backups.BackupThread.back_up_if_due
    rounds: list[str] = []

    def once(self: backups.BackupThread) -> None:
        real(self)
        rounds.append(self.warning)
        if len(rounds) == 2:
            monkeypatch.undo()
            monkeypatch.setattr(backups.BackupThread, "back_up_if_due", once)
        if len(rounds) == 3:
            ended.set()

    monkeypatch.setattr(backups.BackupThread, "back_up_if_due", once)
    by_itself.run(ended)
    assert rounds == ["Copies fail: RuntimeError", "Copies fail: RuntimeError", ""]
    assert [getattr(r, "backup", "") for r in caplog.records if r.levelname == "ERROR"] == ["failed"] * 2
    assert len(backups.list_backups(tmp_path, database_url)) == 1


def test_a_database_made_newer_meanwhile_does_not_end_the_copies(database_url: str, tmp_path: Path) -> None:
    engine = open_engine(database_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    by_itself = copier(database_url, tmp_path / "copies")
    by_itself.back_up_if_due()
    assert "made by a newer Spanbook" in by_itself.warning
    with engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE alembic_version SET version_num = '{revision()}'")
    engine.dispose()
    by_itself.back_up_if_due()
    assert (by_itself.warning, by_itself.failures) == ("", 0)


@pytest.mark.parametrize(("hours", "age", "is_late"), [(24, 47, False), (24, 49, True), (2, 3, False), (2, 5, True)])
def test_a_copy_is_too_old_at_twice_its_time(
    database_url: str, tmp_path: Path, hours: int, age: int, is_late: bool
) -> None:
    made = dated(backups.make_backup(database_url, tmp_path), timedelta(hours=-age))
    settings = Settings(database_url=database_url, backup_folder=str(tmp_path), backup_hours=hours)
    assert bool(backups.describe_lateness(settings)) is is_late
    made.unlink()
    assert "no copy of this shop yet" in backups.describe_lateness(settings)


def test_owners_are_told_in_red_where_copies_are_too_old(app: FastAPI, client: Client, settings: Settings) -> None:
    def told(url: str, asking: Client = client) -> list[str]:
        found = re.findall(r'<p class="notice trouble" role="alert">([^<]*[Cc]op[^<]*)', asking.get(url).text)
        return [words.strip() for words in found]

    assert [len(told(url)) for url in ("/backups", "/people")] == [1, 1]
    backups.make_backup(settings.url, settings.backups)
    assert [told(url) for url in ("/", "/backups", "/people")] == [[], [], []]
    app.state.backup_thread = backups.BackupThread(settings)
    app.state.backup_thread.warning = "Copies fail: no space"
    assert [told(url) for url in ("/", "/backups", "/people")] == [["Copies fail: no space"]] * 3
    driller = Client(app).sign_in("OL")
    assert told("/", driller) == []
    driller.close()
