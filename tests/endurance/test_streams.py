"""Fifty screens listen to one server: each hears the last change, none is kept after it left, all survive a restart.

The counts stand here, so that a longer run by hand needs no other program.
"""

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager

import httpx
import pytest

from app.main import create_app
from app.settings import Settings
from tests.conftest import Databases, signed_in
from tests.endurance.test_crash import wait_for
from tests.test_cli import free_port

SCREENS, CHANGES = 50, 300
ACCEPTS = {"accept": "text/event-stream"}
MORE_KIB = 64 * 1024  # that the server may hold after all the changes, beyond what it held with all screens open


class Server:
    """The command `serve` in a process of its own, on one port however often it is started."""

    def __init__(self, url: str, **environment: str) -> None:
        self.url, self.port, self.environment = url, free_port(), environment
        self.address = f"http://127.0.0.1:{self.port}"
        self.process = self.start()

    def start(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "app.cli", "serve", "--port", str(self.port)]
        told = os.environ | {"SPANBOOK_DATABASE_URL": self.url, "SPANBOOK_BACKUP_HOURS": "0"} | self.environment
        self.process = subprocess.Popen(command, env=told, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for(self.address)
        return self.process

    def stop(self, how: signal.Signals) -> int:
        self.process.send_signal(how)
        return self.process.wait(15)

    def measure_kib(self) -> int:
        """Resident memory now, as Linux tells it."""
        with open(f"/proc/{self.process.pid}/status", encoding="utf-8") as told:
            return next(int(line.split()[1]) for line in told if line.startswith("VmRSS"))


@pytest.fixture
def server(all_databases: dict[str, Databases]) -> Iterator[Server]:
    databases = all_databases["sqlite"]
    made = Server(databases.copied(databases.demo))
    yield made
    made.process.kill()
    made.process.wait(15)


class Screen:
    """A browser that listens, comes again after a cut, and keeps the number of the last event it heard."""

    def __init__(self, http: httpx.AsyncClient) -> None:
        self.http = http
        self.last, self.heard, self.opened = -1, 0, 0

    async def listen(self) -> None:
        while True:
            try:
                async with self.http.stream("GET", "/board/events", headers=ACCEPTS) as answer:
                    assert answer.status_code == 200
                    self.opened += 1
                    async for line in answer.aiter_lines():
                        if line.startswith("id: "):
                            self.last, self.heard = int(line[4:]), self.heard + 1
            except httpx.TransportError:
                pass
            await asyncio.sleep(0.2)


@asynccontextmanager
async def watching(server: Server, token: str) -> AsyncIterator[tuple[list[Screen], httpx.AsyncClient]]:
    limits = httpx.Limits(max_connections=SCREENS + 5)
    headers = {"cookie": f"spanbook={token}", "origin": server.address}
    async with httpx.AsyncClient(base_url=server.address, headers=headers, timeout=30, limits=limits) as http:
        screens = [Screen(http) for _ in range(SCREENS)]
        tasks = [asyncio.create_task(screen.listen()) for screen in screens]
        try:
            yield screens, http
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)


async def until(holds: Callable[[], bool]) -> None:
    """Waits until something holds; a test that waits for ever is ended from outside."""
    while not holds():
        await asyncio.sleep(0.05)


def run(told: Callable[[], Awaitable[None]]) -> None:
    async def whole() -> None:
        await asyncio.wait_for(told(), 120)

    with ThreadPoolExecutor(1) as apart:  # a browser of an earlier test may run a loop in this thread
        apart.submit(asyncio.run, whole()).result()


def sign_in(url: str) -> str:
    app = create_app(Settings(database_url=url))
    token = signed_in(app)
    app.state.engine.dispose()
    return token


def test_fifty_screens_hear_the_last_change_within_bounded_memory(server: Server, tell: Callable[[str], None]) -> None:
    token = sign_in(server.url)

    async def told() -> None:
        async with watching(server, token) as (screens, http):
            await until(lambda: all(screen.heard for screen in screens))
            before = server.measure_kib()
            for number in range(CHANGES):
                form = {"name": f"Screen {number}", "hand": "left", "is_somebody_else": "true", "key": f"s-{number}"}
                assert (await http.post("/bowlers", data=form)).status_code == 303
            heard = [screen.heard for screen in screens]
            last = {"name": "Last Screen", "hand": "left", "is_somebody_else": "true"}
            assert (await http.post("/bowlers", data=last)).status_code == 303
            await until(lambda: all(screen.heard > was for screen, was in zip(screens, heard, strict=True)))
            await until(lambda: len({screen.last for screen in screens}) == 1)
            more = server.measure_kib() - before
            tell(f"{SCREENS} streams, {CHANGES} changes: {screens[0].heard} events each, {more} KiB more than at first")
            assert max(screen.heard for screen in screens) <= CHANGES + 1
            assert more < MORE_KIB

    run(told)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_screens_come_again_after_a_stop_and_a_kill(server: Server, how: signal.Signals) -> None:
    token = sign_in(server.url)

    async def told() -> None:
        async with watching(server, token) as (screens, http):
            await until(lambda: all(screen.heard for screen in screens))
            await asyncio.to_thread(server.stop, how)  # it waits for no stream
            await asyncio.to_thread(server.start)
            await until(lambda: all(screen.opened > 1 for screen in screens))
            heard = [screen.heard for screen in screens]
            form = {"name": "After Restart", "hand": "left", "is_somebody_else": "true"}
            assert (await http.post("/bowlers", data=form)).status_code == 303
            await until(lambda: all(screen.heard > was for screen, was in zip(screens, heard, strict=True)))

    run(told)
