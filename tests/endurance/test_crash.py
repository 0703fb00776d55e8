"""The server is killed again and again amid concurrent writes: what was answered is there, and nothing is there twice."""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable

import httpx
from sqlalchemy import select

from app.db import READ_ONLY, open_engine, sessions
from app.main import create_app
from app.models import Bowler, BowlerWord, Change
from app.settings import Settings
from tests.conftest import Databases, not_none, signed_in
from tests.test_cli import free_port

KILLS = {"sqlite": 120, "postgresql": 80}
WRITERS = 4


class Writer(threading.Thread):
    """Registers one bowler after another, each form sent again under its key until it is answered."""

    def __init__(self, number: int, address: str, token: str, stop: threading.Event) -> None:
        super().__init__()
        self.number, self.address, self.token, self.stop = number, address, token, stop
        self.answered: list[str] = []
        self.refused: list[int] = []
        self.sent_again = 0

    def run(self) -> None:
        headers = {"origin": self.address, "cookie": f"spanbook={self.token}"}
        with httpx.Client(base_url=self.address, headers=headers, timeout=20) as http:
            while not self.stop.is_set():
                name = f"Crash {self.number} {len(self.answered)}"
                self.until_answered(http, name)

    def until_answered(self, http: httpx.Client, name: str) -> None:
        form = {"name": name, "hand": "right", "is_somebody_else": "true", "key": name.replace(" ", "-")}
        while True:
            try:
                answer = http.post("/bowlers", data=form)
                break
            except httpx.TransportError:
                self.sent_again += 1
                time.sleep(0.02)
                if self.stop.is_set():
                    return
        if answer.status_code == 303:
            self.answered.append(name)
        else:
            self.refused.append(answer.status_code)


def test_two_hundred_kills_lose_nothing_and_double_nothing(
    databases: Databases, database_url: str, tell: Callable[[str], None]
) -> None:
    kills = KILLS[databases.kind]
    app = create_app(Settings(database_url=database_url))
    token = signed_in(app)
    app.state.engine.dispose()
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    starter = subprocess.Popen(
        [sys.executable, "-m", "tests.endurance.server", database_url, str(port)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    stop = threading.Event()
    writers = [Writer(i, address, token, stop) for i in range(WRITERS)]
    for writer in writers:
        writer.start()
    chance = random.Random(20261125)
    try:
        for kill in range(kills + 1):
            not_none(starter.stdin).write("again\n")
            not_none(starter.stdin).flush()
            process = int(not_none(starter.stdout).readline())
            wait_for(address)
            if kill == kills:
                time.sleep(0.5)
                stop.set()
                for writer in writers:
                    writer.join(60)
            else:
                time.sleep(chance.uniform(0, 0.2))
            os.kill(process, signal.SIGKILL)
    finally:
        stop.set()
        not_none(starter.stdin).close()
        starter.wait(30)
        not_none(starter.stdout).close()
    answered = [name for writer in writers for name in writer.answered]
    tell(
        f"{kills} kills on {database_url.split(':', maxsplit=1)[0]}, {len(answered)} bowlers answered, {sum(w.sent_again for w in writers)} forms sent again"
    )
    assert [w.refused for w in writers] == [[]] * WRITERS
    assert len(answered) > kills
    assert sum(w.sent_again for w in writers) > kills
    check(database_url, answered)


def wait_for(address: str) -> None:
    for _ in range(2000):
        try:
            httpx.get(f"{address}/healthz", timeout=1)
            return
        except httpx.TransportError:
            time.sleep(0.005)
    raise AssertionError("the server did not come back")


def check(url: str, answered: list[str]) -> None:
    """Each answered bowler is there once, with its words and its line of history; nothing else was half saved."""
    engine = open_engine(url)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        names = Counter(session.scalars(select(Bowler.name).where(Bowler.name.startswith("Crash "))))
        assert set(answered) <= set(names)
        assert set(names.values()) == {1}
        ids = set(session.scalars(select(Bowler.id)))
        assert set(session.scalars(select(BowlerWord.bowler_id))) == ids
        assert (
            set(session.scalars(select(Change.noun_id).where(Change.noun == "bowler", Change.field == "made"))) == ids
        )
        if engine.dialect.name == "sqlite":
            assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            assert session.connection().exec_driver_sql("PRAGMA foreign_key_check").all() == []
    engine.dispose()
