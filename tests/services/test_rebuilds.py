"""Lines of every older step and lines that were cut, imported into a new database."""

import gzip
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from app.db import READ_AT_ONE_MOMENT, open_engine, steps, upgrade
from app.errors import InvalidError
from app.services import portable, rebuilds, restores
from tests.conftest import Databases
from tests.services.test_restores import lines, url_of
from tests.test_cli import run

# Every third step and the newest six: test_migrations upgrades each step in place, and lines take the same way. They are
# the same for both databases; a server takes in fewer.
TRIED = [(n, step) for n, step in enumerate(steps()) if n % 3 == 0 or n >= len(steps()) - 6]
OLDER_STEPS = [pytest.param(step, marks=[pytest.mark.once] if n % 4 else []) for n, step in TRIED]


@pytest.mark.parametrize("step", OLDER_STEPS)
def test_lines_of_older_steps_are_migrated_on_import(
    all_databases: dict[str, Databases], empty_url: str, tmp_path: Path, step: str
) -> None:
    """Held against the database of that step itself, migrated in place."""
    sqlite = all_databases["sqlite"]
    old = sqlite.demo_at(step)
    file = tmp_path / "old.jsonl"
    assert run("export", str(file), url=old).exit_code == 0
    assert json.loads(file.read_text().splitlines()[0])["tables"] == step
    upgrade(old)
    done = run("import", str(file), url=empty_url)
    assert done.exit_code == 0, done.output
    assert lines(empty_url) == lines(old)
    assert len(lines(old)) > 100
    sqlite.drop(old)


def test_lines_of_a_newer_step_are_refused_with_one_line(database_url: str, empty_url: str, tmp_path: Path) -> None:
    file = tmp_path / "new.jsonl"
    engine = open_engine(database_url)
    with engine.connect() as connection:
        connection.execution_options(**READ_AT_ONE_MOMENT)
        rebuilds.write_lines(file, portable.export_lines(connection, "9999"))
    engine.dispose()
    refused = run("import", str(file), url=empty_url)
    assert refused.exit_code == 1
    assert "of step 9999, which a newer Spanbook wrote" in refused.output
    assert len(refused.output.splitlines()) == 1


def without_end(url: str) -> list[str]:
    """Lines as they were written before they had an end."""
    written = lines(url)
    return [written[0].replace('"spanbook": 2', '"spanbook": 1'), *written[1:-1]]


def test_lines_without_an_end_are_taken_when_asked_or_packed(
    all_databases: dict[str, Databases], tmp_path: Path
) -> None:
    sqlite = all_databases["sqlite"]
    body = "\n".join(without_end(sqlite.demo)) + "\n"
    plain, packed = tmp_path / "plain.jsonl", tmp_path / "packed.jsonl.gz"
    plain.write_text(body)
    packed.write_bytes(gzip.compress(body.encode()))
    urls = [url_of(tmp_path / f"{n}.db") for n in range(3)]
    assert "--without-end" in run("import", str(plain), url=urls[0]).output
    assert not Path(urls[0].removeprefix("sqlite:///")).exists()
    assert run("import", str(plain), "--without-end", url=urls[1]).exit_code == 0
    assert run("restore", str(packed), url=urls[2]).exit_code == 0
    assert lines(urls[1]) == lines(urls[2]) == lines(sqlite.demo)


@pytest.mark.parametrize("cut", [0.3, 0.999])
def test_a_packed_file_that_was_cut_is_refused(all_databases: dict[str, Databases], tmp_path: Path, cut: float) -> None:
    packed, url = tmp_path / "packed.jsonl.gz", url_of(tmp_path / "new.db")
    rebuilds.write_lines(packed, lines(all_databases["sqlite"].demo))
    packed.write_bytes(packed.read_bytes()[: int(packed.stat().st_size * cut)])
    with pytest.raises(InvalidError, match="cut short or damaged"):
        restores.restore(url, packed)
    assert {p.name for p in tmp_path.iterdir()} == {"packed.jsonl.gz", "new.db.lock"}


def test_an_export_that_fails_leaves_the_older_file(shop: Path, tmp_path: Path) -> None:
    file = tmp_path / "all.jsonl"
    file.write_text("older")
    with closing(sqlite3.connect(shop)) as connection:
        connection.execute("UPDATE change SET at = 'not a moment' WHERE id = 9")
        connection.commit()
    with pytest.raises(ValueError, match="not a moment"):
        rebuilds.write_lines(file, rebuilds.export_from(url_of(shop)))
    assert file.read_text() == "older"
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []
