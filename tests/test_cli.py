import json
import multiprocessing
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner, Result

from app.cli import command
from app.db import open_engine, sessions
from app.models import ShopLimit
from tests.conftest import Databases, not_none

COMMANDS = ["serve", "demo", "owner", "invite", "backup", "restore", "export", "import", "import-sheet"]


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_explains_itself(name: str) -> None:
    shown = CliRunner().invoke(command, [name, "--help"], env={"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"})
    assert shown.exit_code == 0
    if name in {"serve", "demo"}:
        assert "--host" in shown.output
        assert "--port" in shown.output


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


def started(arguments: list[str], port: int, environment: dict[str, str]) -> subprocess.Popen[bytes]:
    process = subprocess.Popen(
        [sys.executable, "-m", "app.cli", *arguments, "--port", str(port)],
        env=os.environ | environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    for _ in range(150):
        try:
            httpx.get(f"http://127.0.0.1:{port}/", timeout=1)
            return process
        except httpx.HTTPError:
            time.sleep(0.1)
    process.kill()
    raise AssertionError(process.communicate()[0].decode())


@pytest.mark.parametrize(
    ("arguments", "page"), [(["serve"], "Set up this shop"), (["demo", "--no-browser"], "You act as Imke Sand, owner")]
)
def test_the_command_serves_from_nothing(tmp_path: Path, arguments: list[str], page: str) -> None:
    port = free_port()
    process = started(arguments, port, {"SPANBOOK_DATABASE_URL": f"sqlite:///{tmp_path / 'deep' / 'shop.db'}"})
    try:
        assert page in " ".join(httpx.get(f"http://127.0.0.1:{port}/", follow_redirects=True).text.split())
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=15)


def write_many(url: str, times: int) -> None:
    engine = open_engine(url)
    for _ in range(times):
        with sessions(engine)() as session:
            row = not_none(session.get(ShopLimit, "shared"))
            row.value_in += 1
            session.commit()
    engine.dispose()


def test_several_writers_wait_for_each_other_and_lose_nothing(database_url: str) -> None:
    engine = open_engine(database_url)
    with sessions(engine)() as session:
        session.add(ShopLimit(name="shared", value_in=0, typed="0", source="test"))
        session.commit()
    forks = multiprocessing.get_context("forkserver")  # of a process of its own, which has imported this once
    forks.set_forkserver_preload([__name__])
    writers = [forks.Process(target=write_many, args=(database_url, 40)) for _ in range(3)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [w.exitcode for w in writers] == [0, 0, 0]
    with sessions(engine)() as session:
        assert not_none(session.get(ShopLimit, "shared")).value_in == 120
    engine.dispose()


def run(*arguments: str, url: str, typed: str = "") -> Result:
    return CliRunner().invoke(command, list(arguments), input=typed, env={"SPANBOOK_DATABASE_URL": url})


def test_the_network_is_not_let_in_before_somebody_can_sign_in(empty_url: str) -> None:
    refused = run("serve", "--host", "0.0.0.0", url=empty_url)
    assert refused.exit_code == 1
    assert "Nobody can sign in yet" in refused.output


def test_the_demo_is_for_this_machine_only() -> None:
    refused = CliRunner().invoke(command, ["demo", "--host", "0.0.0.0"])
    assert refused.exit_code == 1
    assert "on this machine only" in refused.output


def test_the_owner_is_set_up_from_the_terminal_and_let_in_again(empty_url: str) -> None:
    typed = "Test Lane\nAda Moss\nam\nthree chalk marks\nthree chalk marks\n"
    done = run("owner", url=empty_url, typed=typed)
    assert done.exit_code == 0, done.output
    assert "Sign in as am" in done.output
    assert "three chalk marks" not in done.output
    assert run("owner", url=empty_url, typed="Ada\nax\nthree chalk marks\nthree chalk marks\n").exit_code == 1
    assert "/welcome as am" in run("invite", "AM", url=empty_url).output
    assert run("invite", "nobody", url=empty_url).exit_code == 1


def test_everything_is_exported_and_imported_from_the_terminal(
    database_url: str, empty_url: str, tmp_path: Path
) -> None:
    first, second = tmp_path / "first.jsonl", tmp_path / "second.jsonl"
    assert run("export", str(first), url=database_url).exit_code == 0
    done = run("import", str(first), url=empty_url)
    assert done.exit_code == 0, done.output
    assert run("export", str(second), url=empty_url).exit_code == 0
    assert first.read_bytes() == second.read_bytes()
    again = run("import", str(first), url=empty_url)
    assert again.exit_code == 1
    assert "not empty" in again.output


def test_a_copy_is_made_and_put_back_from_the_terminal(all_databases: dict[str, Databases], tmp_path: Path) -> None:
    sqlite = all_databases["sqlite"]
    url = sqlite.copied(sqlite.demo)
    done = run("backup", str(tmp_path), url=url)
    assert done.exit_code == 0, done.output
    copy = next(tmp_path.glob("spanbook-*.db"))
    Path(url.removeprefix("sqlite:///")).write_bytes(b"broken" * 999)
    started = run("serve", url=url)
    assert started.exit_code == 1
    assert "damaged" in started.output
    assert "spanbook restore" in started.output
    restored = run("restore", str(copy), url=url)
    assert restored.exit_code == 0, restored.output
    assert "What was there before is kept as" in restored.output
    with sqlite3.connect(url.removeprefix("sqlite:///")) as connection:
        assert connection.execute("SELECT count(*) FROM bowler").fetchone() == (9,)
    connection.close()


@pytest.mark.parametrize(
    "words", [["backup"], ["index"], ["invite", "tb"], ["export", "lines.jsonl"]], ids=lambda w: w[0]
)
def test_a_command_without_a_database_says_so_and_makes_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = run(*words, url=f"sqlite:///{tmp_path / 'none.db'}")
    assert refused.exit_code == 1
    assert f"no database at {tmp_path / 'none.db'}" in refused.output
    assert [p.name for p in tmp_path.iterdir() if not p.name.endswith(".lock")] == []


def test_the_server_makes_its_own_copies(all_databases: dict[str, Databases], tmp_path: Path) -> None:
    sqlite = all_databases["sqlite"]
    folder = tmp_path / "copies"
    told = {"SPANBOOK_DATABASE_URL": sqlite.copied(sqlite.demo), "SPANBOOK_BACKUP_FOLDER": str(folder)}
    process = started(["serve"], free_port(), told)
    try:
        for _ in range(100):
            if list(folder.glob("spanbook-*.db")):
                break
            time.sleep(0.1)
        assert len(list(folder.glob("spanbook-*.db"))) == 1
    finally:
        process.send_signal(signal.SIGINT)
        said = process.communicate(timeout=15)[0].decode()
    lines = [json.loads(line) for line in said.splitlines() if line.startswith("{")]
    assert any("backup" in line for line in lines)
    assert all({"at", "log", "level"} <= set(line) for line in lines)


def test_a_demo_that_is_ended_from_outside_leaves_nothing_behind(tmp_path: Path) -> None:
    told = {"TMPDIR": str(tmp_path)}
    process = started(["demo", "--no-browser"], free_port(), told)
    assert [p.name.rsplit("-", 1)[0] for p in tmp_path.iterdir()] == ["spanbook-demo"]
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=15)
    assert list(tmp_path.iterdir()) == []
