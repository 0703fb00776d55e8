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
from typer.testing import CliRunner

from app.cli import command
from app.db import open_engine, sessions
from app.models import Bowler, Setting


@pytest.mark.parametrize("name", ["serve", "demo", "backup"])
def test_each_command_explains_itself(name):
    shown = CliRunner().invoke(command, [name, "--help"], env={"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"})
    assert shown.exit_code == 0
    if name != "backup":
        assert "--host" in shown.output
        assert "--port" in shown.output


def test_a_backup_is_a_whole_checked_copy(database_url, tmp_path, monkeypatch):
    monkeypatch.setenv("SPANBOOK_DATABASE_URL", database_url)
    done = CliRunner().invoke(command, ["backup", str(tmp_path / "copies")])
    assert done.exit_code == 0, done.output
    copies = list((tmp_path / "copies").glob("spanbook-*.db"))
    assert len(copies) == 1
    copy = sqlite3.connect(copies[0])
    assert copy.execute("SELECT count(*) FROM bowler").fetchone()[0] == 9
    copy.close()


def test_a_backup_of_nothing_says_so(tmp_path, monkeypatch):
    monkeypatch.setenv("SPANBOOK_DATABASE_URL", f"sqlite:///{tmp_path / 'none.db'}")
    assert CliRunner().invoke(command, ["backup", str(tmp_path)]).exit_code == 1


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def started(arguments: list[str], port: int, environment: dict[str, str]) -> subprocess.Popen:
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
    ("arguments", "page"), [(["serve"], "Set up this shop"), (["demo", "--no-browser"], "Quarry Lane")]
)
def test_the_command_serves_from_nothing(tmp_path: Path, arguments, page):
    port = free_port()
    process = started(arguments, port, {"SPANBOOK_DATABASE_URL": f"sqlite:///{tmp_path / 'deep' / 'shop.db'}"})
    try:
        assert page in httpx.get(f"http://127.0.0.1:{port}/", follow_redirects=True).text
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=15)


def write_many(url: str, times: int) -> None:
    engine = open_engine(url)
    for _ in range(times):
        with sessions(engine)() as session:
            row = session.get(Setting, "shared")
            row.value_in += 1
            session.commit()
    engine.dispose()


def test_several_writers_wait_for_each_other_and_lose_nothing(database_url):
    engine = open_engine(database_url)
    with sessions(engine)() as session:
        session.add(Setting(name="shared", value_in=0, typed="0", source="test"))
        session.commit()
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=write_many, args=(database_url, 40)) for _ in range(3)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [w.exitcode for w in writers] == [0, 0, 0]
    with sessions(engine)() as session:
        assert session.get(Setting, "shared").value_in == 120
    engine.dispose()


def write_until_killed(url: str, said) -> None:
    engine = open_engine(url)
    number = 0
    while True:
        with sessions(engine)() as session:
            session.add(Bowler(name=f"kill {number}", hand="right"))
            session.commit()
        said.value = number
        number += 1


def test_what_was_saved_survives_a_killed_server(database_url):
    spawn = multiprocessing.get_context("spawn")
    said = spawn.Value("i", -1)
    writer = spawn.Process(target=write_until_killed, args=(database_url, said))
    writer.start()
    while said.value < 20:
        time.sleep(0.05)
    writer.kill()
    writer.join(20)
    promised = said.value
    engine = open_engine(database_url)
    with sessions(engine)() as session:
        names = {n for (n,) in session.query(Bowler.name).filter(Bowler.name.startswith("kill "))}
        assert {f"kill {i}" for i in range(promised + 1)} <= names
        assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    engine.dispose()
