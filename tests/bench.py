"""How fast bowlers are found and pages answered, as ratios within one run: python -m tests.bench [--bowlers 100000] [--folder F]

Every figure is a whole HTTP request over loopback, by a bare client. It is set against a bare page in the same run (the
same framework, one route, raw sqlite3, one indexed row), and against a general-purpose SQLite browser on the same file.
"""

import argparse
import http.client
import json
import os
import platform
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import select

from app.calculation.bores import Bore, sit
from app.calculation.grip import solve_grip
from app.db import READ_ONLY, open_engine, sessions
from app.models import Bowler, Staff
from app.schemas.calc import GripIn
from app.services import identities, lookup
from tests.calculation import reference
from tests.calculation.grips import EXAMPLE
from tests.population import make, typos

TYPOS = 2_000
ASKED = 400


# Servers and clients --------------------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


@contextmanager
def served(command: list[str], port: int, **told: str) -> Iterator[int]:
    process = subprocess.Popen(command, env=os.environ | told, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(600):
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                time.sleep(0.05)
        yield process.pid
    finally:
        process.terminate()
        process.wait(20)


class Client:
    """One keep-alive connection; times whole requests."""

    def __init__(self, port: int, **headers: str) -> None:
        self.http = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = headers

    def get(self, path: str) -> tuple[float, int, bytes]:
        begun = time.perf_counter()
        self.http.request("GET", path, headers=self.headers)
        answer = self.http.getresponse()
        body = answer.read()
        return 1000 * (time.perf_counter() - begun), answer.status, body

    def times(self, paths: Iterable[str]) -> list[float]:
        taken = []
        for path in paths:
            ms, status, _ = self.get(path)
            assert status == 200, (path, status)
            taken.append(ms)
        return taken


def p(taken: list[float], percent: float) -> float:
    return sorted(taken)[min(len(taken) - 1, int(len(taken) * percent / 100))]


def told(what: str, taken: list[float], bare: list[float], percent: int, limit: float | None = None) -> None:
    ratio = p(taken, percent) / p(bare, percent)
    goal = "" if limit is None else f"  (goal ≤ {limit:g}: {'met' if ratio <= limit else 'NOT MET'})"
    print(f"{what:<52} p50 {p(taken, 50):7.2f} ms  p95 {p(taken, 95):7.2f} ms  p{percent} ratio {ratio:6.2f}{goal}")


def machine() -> str:
    cpu = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.machine(),
    )
    return (
        f"{cpu}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()} {platform.release()}"
    )


# What is measured -----------------------------------------------------------------------------------------------------


def bare_app(database: str):  # type: ignore[no-untyped-def]
    """One route, raw sqlite3, one indexed row."""
    import sqlite3

    from fastapi import FastAPI
    from fastapi.responses import HTMLResponse

    app = FastAPI()
    own = threading.local()

    @app.get("/{bowler_id}")
    def row(bowler_id: int) -> HTMLResponse:
        if not hasattr(own, "connection"):
            own.connection = sqlite3.connect(database)
        name, phone = own.connection.execute("SELECT name, phone FROM bowler WHERE id = ?", (bowler_id,)).fetchone()
        return HTMLResponse(f"<!doctype html><title>{name}</title><h1>{name}</h1><p>{phone}</p>")

    return app


def token_of(url: str) -> str:
    engine = open_engine(url)
    with sessions(engine)() as session:
        owner = session.scalars(select(Staff).where(Staff.initials == "TB")).one()
        token = identities.open_sign_in(session, owner, "bench")[1]
        session.commit()
    engine.dispose()
    return token


def two_word_names(url: str, count: int, chance: random.Random) -> list[str]:
    engine = open_engine(url)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        ids = chance.sample(
            range(1001, session.scalar(select(Bowler.id).order_by(Bowler.id.desc()).limit(1))), count * 3
        )
        known = session.scalars(select(Bowler.name).where(Bowler.id.in_(ids[:30_000]))).all()
    engine.dispose()
    return [n for n in known if len(n.split()) == 2 and n.isascii() and len(n) > 9][:count]


def recall(url: str, names: list[str], chance: random.Random) -> None:
    """How often the meant name is among the first ten, by kind of slip; and surname alone."""
    engine = open_engine(url)
    hits: dict[str, list[bool]] = {}
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        for name in names:
            for kind, typed in typos(name, chance):
                found = {name_of(session, f.bowler_id) for f in lookup.look_up(session, typed, 10)}
                hits.setdefault(kind, []).append(fold(name) in map(fold, found))
            surname = name.split(" ", 1)[1]
            for kind, wrong in typos(f"- {surname}", chance):
                if kind != "order" and wrong.startswith("- "):
                    found = {
                        name_of(session, f.bowler_id).split(" ", 1)[-1] for f in lookup.look_up(session, wrong[2:], 10)
                    }
                    hits.setdefault("surname alone", []).append(fold(surname) in map(fold, found))
                    break
    engine.dispose()
    two = [hit for kind, own in hits.items() if kind != "surname alone" for hit in own]
    for kind, own in [("two words", two), *sorted(hits.items())]:
        print(f"recall@10, {kind:<20} {sum(own) / len(own):.4f} of {len(own)}")


def fold(name: str) -> str:
    """Names that are written alike but for their accents are one name to whoever looks up."""
    return " ".join(lookup.folded_words(name))


_names: dict[int, str] = {}


def name_of(session, bowler_id: int) -> str:  # type: ignore[no-untyped-def]
    if bowler_id not in _names:
        _names[bowler_id] = session.scalar(select(Bowler.name).where(Bowler.id == bowler_id)) or ""
    return _names[bowler_id]


def memory_of(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


def crowd(port: int, token: str, names: list[str], count: int) -> tuple[list[float], int]:
    """So many people typing at once, each three searches a second; answers their times and how many failed."""
    taken: list[float] = []
    failed = []

    def types(number: int) -> None:
        client = Client(port, Cookie=f"spanbook={token}", **{"HX-Request": "true"})
        chance = random.Random(number)
        time.sleep(chance.uniform(0, 0.45))  # nobody waits for the others to begin
        for _ in range(20):
            ms, status, _ = client.get(f"/?q={quote(chance.choice(names))}")
            taken.append(ms)
            if status != 200:
                failed.append(status)
            time.sleep(chance.uniform(0.2, 0.45))

    threads = [threading.Thread(target=types, args=(i,)) for i in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return taken, len(failed)


def pages(url: str, count: int) -> dict[str, float]:
    chance = random.Random(count)
    database = url.removeprefix("sqlite:///")
    token = token_of(url)
    names = two_word_names(url, TYPOS // 4, chance)
    wrong = [
        typed
        for name in names
        for kind, typed in typos(name, chance)
        if kind in {"insert", "delete", "swap", "replace"}
    ]
    chance.shuffle(wrong)
    ids = [chance.randrange(1001, 1000 + count) for _ in range(ASKED)]
    ports = [free_port() for _ in range(3)]
    own = [sys.executable, "-m", "app.cli", "serve", "--port", str(ports[1])]
    with (
        served([sys.executable, "-m", "tests.bench", "--serve-bare", database, str(ports[0])], ports[0]),
        served(own, ports[1], SPANBOOK_DATABASE_URL=url, SPANBOOK_BACKUP_HOURS="0") as pid,
    ):
        bare_client = Client(ports[0])
        client = Client(ports[1], Cookie=f"spanbook={token}")
        typing = Client(ports[1], Cookie=f"spanbook={token}", **{"HX-Request": "true"})
        before = memory_of(pid)
        typing.times(["/?q=warm"] * 3)
        after = memory_of(pid)
        bare_client.times(f"/{i}" for i in ids)
        bare = bare_client.times(f"/{i}" for i in ids)
        limit = 6 if count <= 100_000 else 10
        typo = typing.times(f"/?q={quote(t)}" for t in wrong[:ASKED])
        told("look-up with a typo", typo, bare, 95, limit)
        exact = typing.times(f"/?q={quote(n)}" for n in names[:ASKED])
        told("look-up spelled right", exact, bare, 95)
        told("one letter typed", typing.times(f"/?q={c}" for c in "abcdefghijklmnoprstvw" * 4), bare, 95)
        told("last four of the phone", typing.times(f"/?q={i:04d}" for i in range(0, 9999, 50)), bare, 95)
        record = client.times(f"/bowlers/{i}" for i in ids)
        told("record page, first view", record, bare, 50, 3)
        told("record page with fit, balls, drillings", client.times(["/bowlers/1"] * 60), bare, 50, 3)
        told("counter page", client.times(["/"] * 100), bare, 50)
        many, failed = crowd(ports[1], token, wrong, 50)
        single = p(typo, 50)
        print(
            f"{'50 people typing at once':<52} p99 {p(many, 99):.0f} ms: {p(many, 99) / single:.1f} × one person's p50 (goal ≤ 40), {failed} failed"
        )
        print(
            f"memory of the server: {after:.0f} MB, of it for the words of {count:,} bowlers: {after - before:.0f} MB (goal ≤ {60 * count / 100_000:.0f})"
        )
    browser(database, names, ids, ports[2], exact, record)
    recall(url, names, chance)
    return {"typo p50": p(typo, 50)}


def browser(
    database: str, names: list[str], ids: list[int], port: int, exact: list[float], record: list[float]
) -> None:
    """A general-purpose SQLite browser on the same file, tuned: no counts, no facets, the exact name."""
    try:
        import datasette  # noqa: F401
    except ImportError:
        print("no general-purpose browser here to compare with: pip install datasette")
        return
    settings = [
        "--setting",
        "default_facet_size",
        "0",
        "--setting",
        "suggest_facets",
        "off",
        "--setting",
        "allow_facet",
        "off",
    ]
    command = [sys.executable, "-m", "datasette", "serve", "-i", database, "--port", str(port), *settings]
    stem = Path(database).stem
    with served(command, port):
        client = Client(port)
        search = [f"/{stem}/bowler?name__exact={quote(n)}&_nocount=1&_nofacet=1&_nosuggest=1" for n in names[:60]]
        client.times(search[:3])
        theirs = client.times(search)
        rows = client.times(f"/{stem}/bowler/{i}" for i in ids[:60])
    print(
        f"{'a general browser, exact name':<52} p50 {p(theirs, 50):7.2f} ms: {p(theirs, 50) / p(exact, 50):.1f} × ours (goal ≥ 3)"
    )
    print(
        f"{'a general browser, row page':<52} p50 {p(rows, 50):7.2f} ms: {p(rows, 50) / p(record, 50):.1f} × ours (goal ≥ 2)"
    )


def median_ms(call: Callable[[], object], times: int) -> float:
    call()
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        call()
        taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken)


def calculations() -> None:
    body = GripIn.model_validate(EXAMPLE).to_grip()
    ours, scipy = median_ms(lambda: solve_grip(body), 300), median_ms(lambda: reference.solve(EXAMPLE), 5)
    print(
        f"grip solve {ours:.3f} ms; scipy least squares on the same system {scipy:.1f} ms: 1 / {scipy / ours:.0f} (goal ≤ 1/50)"
    )
    made = [Bore(27.0, 1.5, 2.75 - i / 200, -0.25, 0.05 * i) for i in range(6)]
    fitted = [Bore(27.0 - i / 50, 1.5, 2.7 + i / 300, -0.2 + i / 100, 0.0) for i in range(20)]
    grid = median_ms(lambda: [sit(1.25, a, b, 30.0) for a in made for b in fitted], 20)
    print(f"flushness of 20 balls × 6 inners {grid:.2f} ms (goal ≤ 5)")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--bowlers", type=int, nargs="*", default=[10_000, 100_000])
    asked.add_argument("--folder", type=Path)
    asked.add_argument("--serve-bare", nargs=2)
    options = asked.parse_args()
    if options.serve_bare:
        import uvicorn

        uvicorn.run(bare_app(options.serve_bare[0]), port=int(options.serve_bare[1]), log_level="error")
        return
    print(machine())
    calculations()
    with tempfile.TemporaryDirectory() as folder:
        seen = {}
        for count in options.bowlers:
            print(f"\n{count:,} bowlers")
            seen[count] = pages(make(options.folder or Path(folder), count), count)["typo p50"]
        for few, many in zip(options.bowlers, options.bowlers[1:], strict=False):
            print(
                f"\n{few:,} to {many:,} bowlers: typo look-up p50 × {seen[many] / seen[few]:.2f} (goal ≤ 2.5 for × 10)"
            )
    print(json.dumps({"typo p50 ms": {str(k): round(v, 2) for k, v in seen.items()}}))


if __name__ == "__main__":
    main()
