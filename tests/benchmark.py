"""How fast the grip is solved and pages are answered, as ratios within one run: python -m tests.benchmark"""

import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from fastapi import FastAPI

from app.calculation.grip import solve_grip
from app.db import open_engine, sessions, upgrade
from app.main import create_app
from app.models import Bowler, BowlerWord
from app.pages import pictures
from app.pages.render import templates
from app.schemas.calc import GripIn
from app.services import bowlers, drillings
from app.services.work_outs import work_out
from app.settings import Settings
from seed_demo import fill
from tests.calculation import reference
from tests.calculation.grips import EXAMPLE
from tests.conftest import Client

MANY_BOWLERS = 20_000
FIRST = [
    "Ada",
    "Berit",
    "Cosmo",
    "Dita",
    "Egon",
    "Frida",
    "Gero",
    "Hanka",
    "Ivo",
    "Jorun",
    "Kaja",
    "Lino",
    "Mira",
    "Nilo",
    "Orsa",
    "Pavo",
    "Runa",
    "Stig",
    "Tove",
    "Uno",
]


def median_ms(call: Callable[[], object], times: int) -> float:
    call()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


def grip() -> None:
    body = GripIn.model_validate(EXAMPLE).to_grip()
    ours = median_ms(lambda: solve_grip(body), 300)
    scipy = median_ms(lambda: reference.solve(EXAMPLE), 5)
    print(
        f"grip solve                     {ours:8.3f} ms; scipy on the same system {scipy:.1f} ms: 1 / {scipy / ours:.0f}"
    )


def pages() -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'shop.db'}"
        upgrade(url)
        engine = open_engine(url)
        with sessions(engine)() as session:
            fill(session)
            for i in range(MANY_BOWLERS):
                name = f"{FIRST[i % len(FIRST)]} {FIRST[i // 20 % 20]}{'aeiou'[i % 5]}{FIRST[i // 400 % 20].lower()}{i // 8000}"
                session.add(Bowler(id=1000 + i, name=name, hand="right", phone_last4=f"{i % 10000:04d}"))
                session.add_all(BowlerWord(bowler_id=1000 + i, word=word) for word in bowlers.folded_words(name))
            session.commit()
        app = create_app(Settings(database_url=url))
        with closing(Client(app)) as client:
            pages_of(client)
            drawings(app, client)
        app.state.engine.dispose()
        engine.dispose()


def pages_of(client: Client) -> None:
    bare = median_ms(lambda: client.get("/static/icon.svg"), 60)
    print(f"a static file, in process      {bare:8.3f} ms")
    for what, address in (
        (f"found among {MANY_BOWLERS:,}", "/?q=john"),
        ("found by its end of phone", "/?q=7788"),
        ("found though spelled wrong", "/?q=jonson"),
        ("bowler's record", "/bowlers/1"),
        ("a drilling's plan", "/drillings/1"),
    ):
        headers = {"HX-Request": "true"} if "?q=" in address else {}
        taken = median_ms(lambda a=address, h=headers: client.get(a, headers=h), 40)
        print(f"{what:<30} {taken:8.3f} ms: {taken / bare:5.1f} static files")


def drawings(app: FastAPI, client: Client) -> None:
    """The pictures of a plan, made and written as SVG, against the plan's page without them."""
    with app.state.sessions() as session:
        plan = drillings.drilling(session, 1).plan
    worked = work_out(plan)
    show = templates.globals["show"]

    def draw() -> str:
        grip_svg = show.grip_picture(pictures.grip_picture(worked.solved, 180.0))
        return grip_svg + "".join(
            show.section_picture(pictures.section_picture(plan, worked, f)) for f in ("middle", "ring")
        )

    whole, drawn = median_ms(lambda: client.get("/drillings/1"), 40), median_ms(draw, 60)
    print(
        f"the SVG of a plan              {drawn:8.3f} ms: its page is {whole / (whole - drawn):.2f} of the page without it"
    )


if __name__ == "__main__":
    grip()
    pages()
