import multiprocessing
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from app.cli import command
from app.db import open_engine, sessions
from app.models import Setting

COMMANDS = ["serve", "demo", "owner", "invite", "backup", "restore", "export", "import"]


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_explains_itself(name):
    shown = CliRunner().invoke(command, [name, "--help"], env={"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"})
    assert shown.exit_code == 0
    if name in {"serve", "demo"}:
        assert "--host" in shown.output
        assert "--port" in shown.output


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
    ("arguments", "page"), [(["serve"], "Set up this shop"), (["demo", "--no-browser"], "You act as Imke Sand, owner")]
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
