"""How fast bowlers are found and pages answered, as ratios within one run.

    python -m tests.benchmark [--bowlers 100000 1000000] [--folder F] [--postgres URL] [--requests 50000]

Every figure is a whole HTTP request over loopback, by a bare client. It is set against a bare page in the same run (the
same framework, one route, the driver alone, one indexed row), and on SQLite against a general-purpose browser of such
files. With the address of a PostgreSQL server the populations are databases of that server. `--requests` measures only
by how much so many mixed requests make the server grow.
"""

import argparse
import http.client
import math
import os
import platform
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from itertools import cycle, pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import FastAPI
from sqlalchemy import create_engine, make_url, select, text

from app.calculation import bores
from app.calculation.balances import balance
from app.calculation.bores import Bore, Flushness, flushness
from app.calculation.grip import SolvedGrip
from app.calculation.grip_solver import solve_grip
from app.calculation.layouts import AxisPoint, LaidOut, Layout, solve_layout
from app.db import READ_ONLY, open_engine, sessions, upgrade
from app.models import Bowler, Staff
from app.pages import ball_labels, layout_pictures, pictures
from app.schemas.calc_grips import GripIn
from app.services import bowler_words, lookup, sign_ins
from tests.calculation import reference
from tests.calculation.grips import EXAMPLE
from tests.calculation.test_balances import BALL, DOUBTS, HOLES
from tests.conftest import not_none
from tests.drawn_fits import random_fits
from tests.population import make, typos

TYPOS = 2_000
ASKED = 400


# Servers and clients --------------------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


@contextmanager
def served(command: list[str], port: int, **told: str) -> Iterator[int]:
    usual = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}  # as installed
    process = subprocess.Popen(command, env=usual | told, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(6000):
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                time.sleep(0.01)
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
        return self._ask("GET", path, None, {})

    def post(self, path: str, form: dict[str, str]) -> tuple[float, int]:
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self._ask("POST", path, urlencode(form), kind)[:2]

    def _ask(self, method: str, path: str, body: str | None, more: dict[str, str]) -> tuple[float, int, bytes]:
        """Opens the connection anew where the server has closed it meanwhile."""
        begun = time.perf_counter()
        self.http.request(method, path, body, self.headers | more)
        try:
            answer = self.http.getresponse()
        except http.client.RemoteDisconnected:
            self.http.close()
            return self._ask(method, path, body, more)
        text = answer.read()
        return 1000 * (time.perf_counter() - begun), answer.status, text

    def times(self, paths: Iterable[str]) -> list[float]:
        taken = []
        for path in paths:
            ms, status, _ = self.get(path)
            assert status == 200, (path, status)
            taken.append(ms)
        return taken


def p(taken: list[float], percent: float) -> float:
    return sorted(taken)[min(len(taken) - 1, int(len(taken) * percent / 100))]


Taken = tuple[list[float], list[float]]  # (what was asked, bare pages asked in turn with it), ms


def told(what: str, taken: Taken, percent: int, limit: float | None = None) -> None:
    ours, bare = taken
    ratio = p(ours, percent) / p(bare, percent)
    goal = "" if limit is None else f"  ({verdict(ratio <= limit)}: goal ≤ {limit:g})"
    print(f"{what:<46} p50 {p(ours, 50):6.2f} ms  p95 {p(ours, 95):6.2f} ms  p{percent} {ratio:5.2f} × bare{goal}")


def verdict(is_met: bool) -> str:
    return "met" if is_met else "NOT MET"


def machine() -> str:
    cpu = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.machine(),
    )
    return (
        f"{cpu}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()} {platform.release()}"
    )


# What is measured -----------------------------------------------------------------------------------------------------


def bare_app(url: str) -> FastAPI:
    """One route, the database's driver alone, one indexed row."""
    from fastapi import FastAPI
    from fastapi.responses import HTMLResponse

    app = FastAPI()
    own = threading.local()

    def connect() -> Any:
        if url.startswith("sqlite"):
            import sqlite3

            return sqlite3.connect(url.removeprefix("sqlite:///"))
        import psycopg

        return psycopg.connect(url.replace("+psycopg", ""), autocommit=True)

    mark = "?" if url.startswith("sqlite") else "%s"

    @app.get("/{bowler_id}")
    def row(bowler_id: int) -> HTMLResponse:
        if not hasattr(own, "connection"):
            own.connection = connect()
        found = own.connection.execute(f"SELECT name, phone FROM bowler WHERE id = {mark}", (bowler_id,))
        name, phone = found.fetchone()
        return HTMLResponse(f"<!doctype html><title>{name}</title><h1>{name}</h1><p>{phone}</p>")

    return app


def token_of(url: str) -> str:
    engine = open_engine(url)
    with sessions(engine)() as session:
        owner = session.scalars(select(Staff).where(Staff.initials == "TB")).one()
        token = sign_ins.open_sign_in(session, owner, "bench")[1]
        session.commit()
    engine.dispose()
    return token


def two_word_names(url: str, count: int, chance: random.Random) -> list[str]:
    engine = open_engine(url)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        ids = chance.sample(
            range(1001, not_none(session.scalar(select(Bowler.id).order_by(Bowler.id.desc()).limit(1)))), count * 3
        )
        known = session.scalars(select(Bowler.name).where(Bowler.id.in_(ids[:30_000]))).all()
    engine.dispose()
    return [n for n in known if len(n.split()) == 2 and max(n) < "\u0250" and len(n) > 9][:count]


def recall(url: str, names: list[str], chance: random.Random, count: int) -> None:
    """How often the meant name is among the first ten, by kind of slip; and surname alone."""
    engine = open_engine(url)
    hits: dict[str, list[bool]] = {}
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)

        @cache
        def name_of(bowler_id: int) -> str:
            return session.scalar(select(Bowler.name).where(Bowler.id == bowler_id)) or ""

        def found(typed: str) -> set[str]:
            return {name_of(f.bowler_id) for f in lookup.look_up(session, typed, 10)}

        for name in names:
            for kind, typed in typos(name, chance):
                hits.setdefault(kind, []).append(fold(name) in map(fold, found(typed)))
            surname = name.split(" ", 1)[1]
            slips = [
                wrong[2:] for kind, wrong in typos(f"- {surname}", chance) if kind != "order" and wrong[:2] == "- "
            ]
            for wrong in slips[:1]:
                surnames = {fold(other.split(" ", 1)[-1]) for other in found(wrong)}
                hits.setdefault("surname alone", []).append(fold(surname) in surnames)
    engine.dispose()
    alone = hits.pop("surname alone")
    two = [hit for own in hits.values() for hit in own]
    goals = {"two words": 0.995, "surname alone": 0.97 if count <= 100_000 else 0.9}
    for kind, own in [("two words", two), ("surname alone", alone), *sorted(hits.items())]:
        share = sum(own) / len(own)
        goal = f"  ({verdict(share >= goals[kind])}: goal ≥ {goals[kind]})" if kind in goals else ""
        print(f"recall@10, {kind:<35} {share:.4f} of {len(own)}{goal}")


def fold(name: str) -> str:
    """Names that are written alike but for their accents are one name to whoever looks up."""
    return " ".join(bowler_words.fold_words(name))


def memory_of(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


def crowd(port: int, token: str, names: list[str], count: int) -> tuple[list[float], list[float], int]:
    """So many people typing at once, each three searches a second, while one saves bowlers.

    Answers the times of the searches and of the saves, and how many of either failed.
    """
    taken: list[float] = []
    saved: list[float] = []
    failed = []
    cookie = f"spanbook={token}"

    def types(number: int) -> None:
        client = Client(port, Cookie=cookie, **{"HX-Request": "true"})
        chance = random.Random(number)
        time.sleep(chance.uniform(0, 0.45))  # nobody waits for the others to begin
        for _ in range(20):
            ms, status, _ = client.get(f"/?q={quote(chance.choice(names))}")
            taken.append(ms)
            if status != 200:
                failed.append(status)
            time.sleep(chance.uniform(0.2, 0.45))

    def saves() -> None:
        client = Client(port, Cookie=cookie, Origin=f"http://127.0.0.1:{port}")
        for number in range(15):
            form = {"name": f"Newcomer {number} {time.time()}", "hand": "left", "is_somebody_else": "true"}
            ms, status = client.post("/bowlers", form)
            saved.append(ms)
            if status != 303:
                failed.append(status)
            time.sleep(0.4)

    threads = [threading.Thread(target=types, args=(i,)) for i in range(count)] + [threading.Thread(target=saves)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return taken, saved, len(failed)


def pages(url: str, count: int) -> float:
    """Prints what is measured with so many bowlers; answers a typo look-up's median in ms."""
    chance = random.Random(count)
    token = token_of(url)
    names = two_word_names(url, TYPOS // 4, chance)
    wrong = [typed for name in names for kind, typed in typos(name, chance) if kind != "order"]
    chance.shuffle(wrong)
    ids = [chance.randrange(1001, 1000 + count) for _ in range(ASKED)]
    ports = [free_port() for _ in range(3)]
    own = [sys.executable, "-m", "app.cli", "serve", "--port", str(ports[1])]
    with (
        served(own, ports[1], SPANBOOK_DATABASE_URL=url, SPANBOOK_BACKUP_HOURS="0") as pid,
        served([sys.executable, "-m", "tests.benchmark", "--serve-bare", url, str(ports[0])], ports[0]),
    ):
        client = Client(ports[1], Cookie=f"spanbook={token}")
        typing = Client(ports[1], Cookie=f"spanbook={token}", **{"HX-Request": "true"})
        bare = Client(ports[0])

        def paired(asked: Client, paths: Iterable[str]) -> Taken:
            """Each path in turn with a bare page, so that both meet the same moments of the machine."""
            ours, theirs = [], []
            for path, i in zip(paths, cycle(ids)):
                ours += asked.times([path])
                theirs += bare.times([f"/{i}"])
            return ours, theirs

        first = typing.times(["/?q=warm"])[0]
        print(f"{'first search after the start, words being read':<46} {first / 1000:.2f} s")
        held = memory_of(pid)
        for path in ("/", "/bowlers/1"):
            paired(client, [path] * 50)
        typo = paired(typing, [f"/?q={quote(t)}" for t in wrong[:ASKED]])
        told("look-up with a typo", typo, 95, 4 if count <= 100_000 else 8)
        told("look-up spelled right", paired(typing, [f"/?q={quote(n)}" for n in names[:ASKED]]), 95)
        told("one letter typed", paired(typing, [f"/?q={c}" for c in "abcdefghijklmnoprstvw" * 4]), 95)
        told("last four of the phone", paired(typing, [f"/?q={i:04d}" for i in range(0, 9999, 50)]), 95)
        record = paired(client, [f"/bowlers/{i}" for i in ids])
        told("record page, each seen for the first time", record, 50, 3)
        told("record page with all there is", paired(client, ["/bowlers/1"] * 100), 50)
        told("counter page", paired(client, ["/"] * 100), 50, 3)
        many, saved, failed = crowd(ports[1], token, wrong, 50)
        single = p(typo[0], 50)
        ratio = p(many, 99) / single
        print(
            f"{'50 people typing at once':<46} p99 {p(many, 99):.0f} ms, {ratio:.1f} × one person's p50 ({verdict(ratio <= 40)}: goal ≤ 40); "
            f"{failed} failed ({verdict(not failed)}); saves meanwhile p50 {p(saved, 50):.0f} ms, at most {max(saved):.0f} ms"
        )
        print(f"{'memory of the server in the end':<46} {memory_of(pid):.0f} MB")
    with tempfile.TemporaryDirectory() as folder:
        (empty, bare_memory), (filled, _) = start_up(f"sqlite:///{folder}/empty.db"), start_up(url)
    per = (held - bare_memory) * 100_000 / max(count, 100_000)
    print(
        f"{'memory for the words of 100,000 bowlers':<46} {per:.0f} MB ({verdict(per <= 60)}: goal ≤ 60), "
        f"{held - bare_memory:.0f} MB for all"
    )
    more = filled - empty
    print(
        f"{'start-up until it is ready':<46} {filled:.2f} s ({verdict(filled <= 2)}: goal ≤ 2), "
        f"{more:+.2f} s on an empty database ({verdict(more <= 1)}: goal ≤ 1)"
    )
    if url.startswith("sqlite"):
        browser(url.removeprefix("sqlite:///"), names, ids, ports[2], typo[0], record[0])
    recall(url, names, chance, count)
    return single


def start_up(url: str) -> tuple[float, float]:
    """(seconds from the command until it says it is ready, the tables being up to date; memory of the server then, MB)."""
    upgrade(url)
    port = free_port()
    begun = time.perf_counter()
    command = [sys.executable, "-m", "app.cli", "serve", "--port", str(port)]
    with served(command, port, SPANBOOK_DATABASE_URL=url, SPANBOOK_BACKUP_HOURS="0") as pid:
        client = Client(port)
        client.times(["/readyz"])
        taken = time.perf_counter() - begun
        client.get("/setup")
        return taken, memory_of(pid)


def grow(url: str, requests: int, count: int) -> None:
    """Prints how much memory the server holds before and after so many mixed requests of four clients.

    Bowlers taken in meanwhile have names of words that are known: words are counted by themselves.
    """
    names = two_word_names(url, 500, random.Random(count))
    token, port = token_of(url), free_port()
    command = [sys.executable, "-m", "app.cli", "serve", "--port", str(port)]
    with served(command, port, SPANBOOK_DATABASE_URL=url, SPANBOOK_BACKUP_HOURS="0") as pid:

        def asks(number: int, times: int) -> None:
            client = Client(port, Cookie=f"spanbook={token}", Origin=f"http://127.0.0.1:{port}")
            chance = random.Random(f"{number} {times}")
            for turn in range(times):
                if turn % 100 == 99:
                    form = {"name": chance.choice(names), "hand": "left", "is_somebody_else": "true"}
                    assert client.post("/bowlers", form)[1] == 303
                else:
                    client.times([chance.choice(MIXED)(chance, count)])

        def all_ask(times: int) -> float:
            with ThreadPoolExecutor(4) as pool:
                list(pool.map(lambda number: asks(number, times // 4), range(4)))
            return memory_of(pid)

        first = all_ask(2_000)  # words, templates and statements are read once
        steps = [all_ask(requests // 5) for _ in range(5)]
        grown = steps[-1] - first
        print(f"memory after 2,000 requests {first:.0f} MB, then {', '.join(f'{mb:.0f}' for mb in steps)} MB")
        print(f"{f'grown by {requests:,} mixed requests':<46} {grown:.1f} MB ({verdict(grown <= 20)}: goal ≤ 20)")


MIXED: tuple[Callable[[random.Random, int], str], ...] = (
    lambda chance, count: "/",
    lambda chance, count: f"/bowlers/{chance.randrange(1001, 1000 + count)}",
    lambda chance, count: f"/bowlers/{chance.randrange(1, 9)}",
    lambda chance, count: f"/?q={chance.randrange(10_000):04d}",
    lambda chance, count: f"/?q={''.join(chance.choices('aeinorstlmk', k=6))}",
    lambda chance, count: f"/read-back/span?of=a&a={chance.randrange(1, 6)}+{chance.randrange(1, 64)}/64",
    lambda chance, count: f"/fits/{chance.randrange(1, 4)}",
    lambda chance, count: f"/drillings/{chance.randrange(1, 4)}",
    lambda chance, count: f"/inners/{chance.randrange(1, 3)}",
    lambda chance, count: f"/balls/{chance.randrange(1, 5)}",
    lambda chance, count: "/visitors",
    lambda chance, count: "/settings",
)


def browser(database: str, names: list[str], ids: list[int], port: int, typo: list[float], record: list[float]) -> None:
    """A general-purpose SQLite browser on the same file, tuned: no counts, no facets, and the name spelled right."""
    try:
        import datasette  # noqa: F401
    except ImportError:
        print("no general-purpose browser here to compare with: pip install -e '.[bench]'")
        return
    settings = {"default_facet_size": "0", "suggest_facets": "off", "allow_facet": "off"}
    told_so = [word for name, value in settings.items() for word in ("--setting", name, value)]
    command = [sys.executable, "-m", "datasette", "serve", "-i", database, "--port", str(port), *told_so]
    stem = Path(database).stem
    with served(command, port):
        client = Client(port)
        search = [f"/{stem}/bowler?name__exact={quote(n)}&_nocount=1&_nofacet=1&_nosuggest=1" for n in names[:60]]
        client.times(search[:3])
        theirs = client.times(search)
        rows = client.times(f"/{stem}/bowler/{i}" for i in ids[:60])
    for what, taken, ours, goal in (
        ("a general browser, exact name, to our typo", theirs, typo, 3),
        ("a general browser, row page, to our record", rows, record, 2),
    ):
        ratio = p(taken, 50) / p(ours, 50)
        print(f"{what:<46} p50 {p(taken, 50):6.2f} ms: {ratio:.1f} × ours ({verdict(ratio >= goal)}: goal ≥ {goal})")


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

    def whole_grid() -> list[Flushness]:
        bores._rim_curve.cache_clear()
        return [flushness(1.25, a, b, 30.0) for a in made for b in fitted]

    grid = median_ms(whole_grid, 20)
    print(f"flushness of 20 balls × 6 inners {grid:.2f} ms (goal ≤ 5)")
    taken = median_ms(lambda: balance(BALL, HOLES, DOUBTS), 200)
    print(f"balance of a plan {taken:.2f} ms ({verdict(taken <= 20)}: goal ≤ 20)")


def drawings() -> None:
    """The ball with its labels, each fit and each layout drawn for the first time."""
    fits = cycle(random_fits(100, 3))
    taken = median_ms(
        lambda: ball_labels.letter_ball.__wrapped__(pictures.draw_grip.__wrapped__(*next(fits)), "page"), 100
    )
    print(f"drawing of the ball with its labels {taken:.1f} ms ({verdict(taken < 20)}: goal < 20)")
    laid = cycle(random_layouts(100, 3))
    taken = median_ms(
        lambda: ball_labels.letter_ball.__wrapped__(layout_pictures.draw_layout.__wrapped__(*next(laid)), "layout"), 100
    )
    print(f"drawing of a layout with its labels {taken:.1f} ms ({verdict(taken < 20)}: goal < 20)")


def random_layouts(count: int, seed: int) -> list[tuple[LaidOut, SolvedGrip]]:
    """Layouts on balls with random fits, any angle and arc."""
    chance = random.Random(seed)
    found = []
    for solved, *_ in random_fits(count, seed):
        point = AxisPoint(chance.uniform(3.5, 5.5), chance.uniform(-1.5, 1.5))
        layout = Layout(chance.uniform(1, 7), chance.uniform(-180, 180), chance.uniform(-180, 180))
        around_in = 2 * math.pi * solved.radius_in
        found.append((solve_layout(around_in, solved.grip.hand, point, layout), solved))
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--bowlers", type=int, nargs="*", default=[10_000, 100_000])
    asked.add_argument("--folder", type=Path, help="where SQLite files of populations are kept for the next run")
    asked.add_argument("--postgres", help="a server's address, any database of it; populations are kept there")
    asked.add_argument("--requests", type=int, help="measure the growth by so many mixed requests, and nothing else")
    asked.add_argument("--serve-bare", nargs=2, help=argparse.SUPPRESS)
    options = asked.parse_args()
    if options.serve_bare:
        import uvicorn

        uvicorn.run(bare_app(options.serve_bare[0]), port=int(options.serve_bare[1]), log_level="error")
        return
    print(f"{machine()}, {'PostgreSQL' if options.postgres else 'SQLite'}")
    with tempfile.TemporaryDirectory() as folder:
        urls = {
            n: copied(populated(options.postgres, options.folder or Path(folder), n), Path(folder))
            for n in options.bowlers
        }
        if options.requests:
            for count, url in urls.items():
                grow(url, options.requests, count)
            return
        calculations()
        drawings()
        seen: dict[int, float] = {}
        for count, url in urls.items():
            print(f"\n{count:,} bowlers")
            seen[count] = pages(url, count)
    for few, many in pairwise(options.bowlers):
        growth = seen[many] / seen[few]
        print(f"\n{few:,} to {many:,} bowlers: typo look-up p50 × {growth:.2f} ({verdict(growth <= 2.5)}: goal ≤ 2.5)")


def populated(server: str | None, folder: Path, count: int) -> str:
    """The address of a database with so many bowlers, made where there is none."""
    if server:
        url = make_url(server).set(database=f"population_{count}")
        engine = create_engine(server, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            known = connection.scalar(text("SELECT 1 FROM pg_database WHERE datname = :name"), {"name": url.database})
            if not known:
                connection.exec_driver_sql(f"CREATE DATABASE {url.database}")
        engine.dispose()
        address = url.render_as_string(hide_password=False)
    else:
        path = folder / f"population-{count}.db"
        address, known = f"sqlite:///{path}", path.exists()
    if not known:
        make(address, count)
    return address


def copied(address: str, folder: Path) -> str:
    """The address of a copy, so that what one run adds is not measured by the next."""
    url = make_url(address)
    if url.get_backend_name() == "sqlite":
        path = Path(str(url.database))
        shutil.copy(path, folder / f"copy-{path.name}")
        return f"sqlite:///{folder}/copy-{path.name}"
    copy = url.set(database=f"copy_{url.database}")
    engine = create_engine(url.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {copy.database}")
        connection.exec_driver_sql(f"CREATE DATABASE {copy.database} TEMPLATE {url.database}")
    engine.dispose()
    made = create_engine(copy, isolation_level="AUTOCOMMIT")
    with made.connect() as connection:
        connection.exec_driver_sql("VACUUM ANALYZE")
    made.dispose()
    return copy.render_as_string(hide_password=False)


if __name__ == "__main__":
    main()
