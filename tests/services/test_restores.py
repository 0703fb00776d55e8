"""What a restore keeps, refuses and mends; kills are in tests/endurance."""

import gzip
import shutil
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command

from app import locks
from app.db import READ_AT_ONE_MOMENT, alembic_config, open_engine, revision, steps, stored_revision, upgrade
from app.errors import ConflictError, InvalidError
from app.services import backups, rebuilds, restores
from tests.conftest import Databases, not_none
from tests.services.test_portable import lines_of
from tests.test_cli import free_port, run, started


def url_of(file: Path) -> str:
    return f"sqlite:///{file}"


def rename_first(file: Path, name: str) -> sqlite3.Connection:
    """Writes one name through a connection that stays open, so that it lies in the log alone."""
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("UPDATE bowler SET name = ? WHERE id = 1", (name,))
    connection.commit()
    return connection


def first_name(file: Path) -> str:
    with closing(sqlite3.connect(file)) as connection:
        name: str = connection.execute("SELECT name FROM bowler WHERE id = 1").fetchone()[0]
    return name


def test_a_running_server_is_not_restored_under_even_after_it_was_killed_once(shop: Path, tmp_path: Path) -> None:
    copy = backups.make_backup(url_of(shop), tmp_path / "copies")
    told = {"SPANBOOK_DATABASE_URL": url_of(shop), "SPANBOOK_BACKUP_HOURS": "0"}
    process = started(["serve"], free_port(), told)
    try:
        refused = run("restore", str(copy), url=url_of(shop))
        assert refused.exit_code == 1
        assert "open. Stop it first" in refused.output
        assert run("import", str(copy), url=url_of(shop)).exit_code == 1
    finally:
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=15)
    done = run("restore", str(copy), url=url_of(shop))
    assert done.exit_code == 0, done.output


def test_no_server_starts_beside_a_restore(shop: Path) -> None:
    with locks.hold_alone(shop):
        refused = run("serve", url=url_of(shop))
    assert refused.exit_code == 1
    assert "is being restored or imported at this moment" in refused.output


def test_a_program_without_our_lock_is_found_as_well(shop: Path, tmp_path: Path) -> None:
    copy = backups.make_backup(url_of(shop), tmp_path)
    with closing(rename_first(shop, "Nobody Knows")), pytest.raises(ConflictError, match="Another program has"):
        restores.restore(url_of(shop), copy)
    assert first_name(shop) == "Nobody Knows"
    assert [p.name for p in shop.parent.iterdir() if "restor" in p.name or "before" in p.name] == []


def test_the_old_database_is_kept_with_what_was_in_its_log(shop: Path, tmp_path: Path) -> None:
    copy = backups.make_backup(url_of(shop), tmp_path)
    was = first_name(shop)
    left = tmp_path / "left"
    left.mkdir()
    with closing(rename_first(shop, "Only In The Log")):
        for file in shop.parent.glob("shop.db*"):  # as a kill leaves them
            shutil.copyfile(file, left / file.name)
    aside = not_none(restores.restore(url_of(left / "shop.db"), copy))
    assert first_name(left / "shop.db") == was
    assert first_name(aside) == "Only In The Log"


def test_a_damaged_database_is_kept_with_its_log_and_the_log_is_never_read_with_the_new_one(
    shop: Path, tmp_path: Path
) -> None:
    copy = backups.make_backup(url_of(shop), tmp_path)
    was = first_name(shop)
    log = shop.with_name("shop.db-wal")
    with closing(rename_first(shop, "Only In The Log")):
        body = log.read_bytes()
    shop.write_bytes(b"this is no database any more" * 400)
    log.write_bytes(body)
    aside = not_none(restores.restore(url_of(shop), copy))
    assert aside.with_name(f"{aside.name}-wal").read_bytes() == body
    assert first_name(shop) == was


def test_a_log_without_its_database_is_kept_too(shop: Path, tmp_path: Path) -> None:
    copy = backups.make_backup(url_of(shop), tmp_path)
    shop.unlink()
    shop.with_name("shop.db-wal").write_bytes(b"orphan")
    aside = not_none(restores.restore(url_of(shop), copy))
    assert aside.with_name(f"{aside.name}-wal").read_bytes() == b"orphan"


def test_what_was_kept_aside_goes_back_with_its_log(shop: Path, tmp_path: Path) -> None:
    aside = shop.with_name("shop.db.before-20260101-000000")
    with closing(rename_first(shop, "Only In The Log")):
        for ending in ("", "-wal"):
            shutil.copyfile(f"{shop}{ending}", f"{aside}{ending}")
    shop.unlink()
    restores.restore(url_of(shop), aside)
    assert first_name(shop) == "Only In The Log"


def test_an_empty_shop_is_not_set_up_beside_an_older_one_unasked(shop: Path) -> None:
    aside = shop.rename(shop.with_name("shop.db.before-20260101-000000"))
    for words in (["serve"], ["serve", "--no-migrate"], ["owner"]):
        refused = run(*words, url=url_of(shop))
        assert refused.exit_code == 1
        assert f"spanbook restore {aside}" in refused.output
        assert not shop.exists()
    upgrade(url_of(shop))  # tables without a shop are no shop either
    assert "--new" in run("serve", url=url_of(shop)).output
    asked = run(
        "owner", "--new", url=url_of(shop), typed="New Lane\nAda Moss\nam\nthree chalk marks\nthree chalk marks\n"
    )
    assert asked.exit_code == 0, asked.output


def test_nor_beside_copies_of_it(shop: Path) -> None:
    copy = backups.make_backup(url_of(shop), shop.parent / "backups")
    shop.unlink()
    refused = run("serve", url=url_of(shop))
    assert refused.exit_code == 1
    assert str(copy) in refused.output


def test_nor_beside_copies_that_were_made_before_the_folder_moved(shop: Path, tmp_path: Path) -> None:
    backups.make_backup(url_of(shop), shop.parent / "backups")
    moved = tmp_path / "moved"
    (shop.parent / "backups").rename(moved.parent / "copies")
    moved.mkdir()
    (moved.parent / "copies").rename(moved / "backups")
    refused = run("serve", url=url_of(moved / "shop.db"))
    assert refused.exit_code == 1
    assert str(next((moved / "backups").iterdir())) in refused.output
    restores.refuse_leftover_files(url_of(moved / "other.db"), moved / "backups")


@pytest.mark.parametrize("words", [("index",), ("invite", "mk"), ("owner", "--new"), ("backup",), ("export", "-")])
def test_no_command_works_on_a_newer_database(shop: Path, words: tuple[str, ...]) -> None:
    with closing(sqlite3.connect(shop)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    refused = run(*words, url=url_of(shop))
    assert refused.exit_code == 1
    assert "at step 9999, made by a newer Spanbook" in refused.output
    assert len(refused.output.splitlines()) == 1


# A newer database, a disk without writes ------------------------------------------------------------------------------


def test_a_newer_database_is_refused_with_one_line(shop: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(shop)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    before = shop.read_bytes()
    words = (["serve"], ["serve", "--no-migrate"], ["backup", str(tmp_path / "copies")], ["export", "-"], ["owner"])
    for command_words in words:
        refused = run(*command_words, url=url_of(shop))
        assert refused.exit_code == 1
        assert "at step 9999, made by a newer Spanbook" in refused.output
        assert len(refused.output.splitlines()) == 1
    assert shop.read_bytes() == before


def test_an_older_database_is_not_served_without_migrating(shop: Path) -> None:
    command.downgrade(alembic_config(url_of(shop)), steps()[-2])
    refused = run("serve", "--no-migrate", url=url_of(shop))
    assert refused.exit_code == 1
    assert f"older step ({steps()[-2]})" in refused.output


def test_a_database_on_a_disk_without_writes_is_read(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As such a disk answers: folders say that they cannot be written, and SQLite is given no chance to try."""
    backups_made = lines(url_of(shop))
    shop.with_name("shop.db-shm").unlink(missing_ok=True)
    shop.with_name("shop.db-wal").unlink(missing_ok=True)
    monkeypatch.setattr("app.db.os.access", lambda _place, _mode: False)
    engine = open_engine(url_of(shop))
    with engine.connect() as connection:
        connection.execution_options(**READ_AT_ONE_MOMENT)
        assert stored_revision(connection) == revision()
        assert list(rebuilds.export_whole(connection)) == backups_made
    engine.dispose()
    assert not shop.with_name("shop.db-wal").exists()


def damaged(copy: Path) -> None:
    """Turns some bytes over in the middle."""
    body = bytearray(copy.read_bytes())
    for place in range(len(body) // 2, len(body) // 2 + 4000, 7):
        body[place % len(body)] ^= 0xFF
    copy.write_bytes(bytes(body))


def test_a_damaged_copy_is_refused_and_the_present_database_stays(
    databases: Databases, database_url: str, tmp_path: Path
) -> None:
    copy = backups.make_backup(database_url, tmp_path)
    damaged(copy)
    before = lines_of(database_url)
    with pytest.raises((InvalidError, OSError, gzip.BadGzipFile, EOFError)):
        restores.restore(database_url, copy)
    assert lines_of(database_url) == before


def test_restoring_keeps_the_present_file_aside(all_databases: dict[str, Databases], tmp_path: Path) -> None:
    sqlite = all_databases["sqlite"]
    url = sqlite.copied(sqlite.demo)
    copy = backups.make_backup(url, tmp_path)
    path = Path(url.removeprefix("sqlite:///"))
    path.write_bytes(b"this is no database any more, the disk has turned it over" * 100)
    aside = restores.restore(url, copy)
    assert aside is not None
    assert aside.read_bytes().startswith(b"this is no database")
    assert len(lines_of(url)) > 200
    with sqlite3.connect(path) as restored:
        assert restored.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    restored.close()


def lines(url: str) -> list[str]:
    return list(rebuilds.export_from(url))
