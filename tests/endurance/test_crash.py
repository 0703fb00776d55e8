"""The server is killed amid concurrent writes, at each step: what was answered is there, and nothing is there twice."""

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

STEPS = {"sqlite": 36, "postgresql": 24}  # a save has 17: each of them is met, on SQLite in a second save too
WANTED = {"commit", "over", "INSERT INTO bowler", "INSERT INTO change", "INSERT INTO bowler_word"}
MOMENTS = 10  # kills at any time, between the steps as well
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


class Server:
    """The server that is started again after each of its deaths."""

    def __init__(self, url: str) -> None:
        self.starter = subprocess.Popen(
            [sys.executable, "-m", "tests.endurance.server", url],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        self.address = f"http://127.0.0.1:{int(self.read())}"

    def read(self) -> str:
        return not_none(self.starter.stdout).readline().strip()

    def start(self, last: int = 0) -> int:
        """Starts it, to die at this step of its saves (0: at none); returns its process id."""
        not_none(self.starter.stdin).write(f"{last}\n")
        not_none(self.starter.stdin).flush()
        return int(self.read())

    def die_at(self, last: int) -> str:
        """Runs it until that step; returns the step's name."""
        self.start(last)
        name = self.read()
        assert self.read() == ""
        return name

    def die_after(self, seconds: float) -> None:
        process = self.start()
        wait_for(self.address)
        time.sleep(seconds)
        os.kill(process, signal.SIGKILL)
        assert self.read() == ""

    def end(self) -> None:
        not_none(self.starter.stdin).close()
        self.starter.wait(30)
        not_none(self.starter.stdout).close()


def test_kills_at_each_step_and_at_any_moment_lose_nothing_and_double_nothing(
    databases: Databases, database_url: str, tell: Callable[[str], None]
) -> None:
    app = create_app(Settings(database_url=database_url))
    token = signed_in(app)
    app.state.engine.dispose()
    server, stop, chance = Server(database_url), threading.Event(), random.Random(20261125)
    writers = [Writer(i, server.address, token, stop) for i in range(WRITERS)]
    for writer in writers:
        writer.start()
    try:
        met: Counter[str] = Counter()
        for last in range(1, 5 * STEPS[databases.kind]):  # steps of several saves may mix: on to the last kind of step
            if last > STEPS[databases.kind] and set(met) >= WANTED:
                break
            met[server.die_at(last)] += 1
        for _ in range(MOMENTS):
            server.die_after(chance.uniform(0, 0.2))
        process = server.start()
        goals = [len(writer.answered) + 2 for writer in writers]
        while any(len(w.answered) < goal and not w.refused for w, goal in zip(writers, goals, strict=True)):
            time.sleep(0.02)
        stop.set()
        for writer in writers:
            writer.join(60)
        os.kill(process, signal.SIGKILL)
    finally:
        stop.set()
        server.end()
    answered = [name for writer in writers for name in writer.answered]
    again = sum(w.sent_again for w in writers)
    tell(
        f"{met.total() + MOMENTS} kills on {databases.kind}, {len(answered)} bowlers answered, {again} forms sent again"
    )
    assert set(met) >= WANTED
    assert [w.refused for w in writers] == [[]] * WRITERS
    assert again >= met.total()
    check(database_url, answered)


def wait_for(address: str) -> None:
    with httpx.Client(base_url=address, timeout=1) as http:  # a client for each try would read all certificates again
        for _ in range(2000):
            try:
                http.get("/healthz")
                return
            except httpx.TransportError:
                time.sleep(0.01)
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
