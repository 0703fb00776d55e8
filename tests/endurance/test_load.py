"""Thirty-two people at once, looking up and saving on one SQLite file: nobody is told to wait."""

import asyncio
import os
import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import httpx
from sqlalchemy import func, select

from app.db import READ_ONLY, open_engine, sessions
from app.main import create_app
from app.models import Bowler
from app.settings import Settings
from tests.conftest import Databases, signed_in
from tests.endurance.test_crash import wait_for
from tests.test_cli import free_port

CLIENTS, EACH, WRITES = 32, 20, 0.2  # requests of each, and the share of them that save


async def person(number: int, http: httpx.AsyncClient, seen: list[tuple[str, int, float]]) -> None:
    chance = random.Random(number)
    for _ in range(EACH):
        is_write = chance.random() < WRITES
        begun = time.perf_counter()
        if is_write:
            form = {
                "name": f"Load {number} {len(seen)}",
                "hand": "left",
                "is_somebody_else": "true",
                "key": f"{number}-{len(seen)}",
            }
            answer = await http.post("/bowlers", data=form)
        else:
            look = chance.choice(["/?q=jonson", "/?q=7788", "/?q=bertil", "/bowlers/1", "/drillings/1", "/"])
            answer = await http.get(look)
        assert "database is locked" not in answer.text
        seen.append(("save" if is_write else "look up", answer.status_code, 1000 * (time.perf_counter() - begun)))


async def everybody(address: str, token: str) -> list[tuple[str, int, float]]:
    seen: list[tuple[str, int, float]] = []
    headers = {"origin": address, "cookie": f"spanbook={token}"}
    limits = httpx.Limits(max_connections=CLIENTS)
    async with httpx.AsyncClient(base_url=address, headers=headers, timeout=30, limits=limits) as http:
        await asyncio.gather(*(person(i, http, seen) for i in range(CLIENTS)))
    return seen


def test_nobody_is_turned_away(all_databases: dict[str, Databases], tell: Callable[[str], None]) -> None:
    databases = all_databases["sqlite"]
    url = databases.copied(databases.demo)
    app = create_app(Settings(database_url=url))
    token = signed_in(app)
    app.state.engine.dispose()
    port = free_port()
    command = [sys.executable, "-m", "app.cli", "serve", "--port", str(port)]
    told = os.environ | {"SPANBOOK_DATABASE_URL": url, "SPANBOOK_BACKUP_HOURS": "0"}
    server = subprocess.Popen(command, env=told, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for(f"http://127.0.0.1:{port}")
        with ThreadPoolExecutor(1) as apart:  # a browser of an earlier test may run a loop in this thread
            seen = apart.submit(asyncio.run, everybody(f"http://127.0.0.1:{port}", token)).result()
    finally:
        server.terminate()
        server.wait(15)
    for kind, expected in (("look up", 200), ("save", 303)):
        taken = sorted(ms for what, _, ms in seen if what == kind)
        slow = taken[int(len(taken) * 0.99)]
        tell(
            f"{CLIENTS} clients, {kind}: {len(taken)} answered, median {statistics.median(taken):.0f} ms, 99 % {slow:.0f} ms"
        )
        assert {status for what, status, _ in seen if what == kind} == {expected}
    engine = open_engine(url)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        saved = session.scalar(select(func.count()).select_from(Bowler).where(Bowler.name.startswith("Load ")))
    engine.dispose()
    assert saved == sum(what == "save" for what, _, _ in seen)
