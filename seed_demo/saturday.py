"""The demo: Quarry Lane in the middle of its Saturday, with forty bowlers and the work of half a year.

It stands on the small world of `world.py`, which is the tests' world too and does not change.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from argon2 import PasswordHasher
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import make_tables, open_engine, sessions
from app.models import DepthObservation, InsertSystem, Shop
from app.pages.render import Tip
from app.services import backups, bowler_words, hashes, shops
from seed_demo import floor_scenes, past_work, stories, world
from seed_demo.bench_hands import Hands
from seed_demo.past import in_the_past, tell

OPENED_DAYS_AGO, LONG_AGO_DAYS = 180, 2500


@dataclass(frozen=True)
class Fullest:
    """The ids of the records with the most in them, for pictures, measures and tests."""

    bowler: int
    fit: int  # in force
    draft: int
    ball: int  # with old holes, drilled twice
    inner: int
    closed: int  # drillings by their state
    drilled: int
    planned: int
    failing: int  # planned although a check fails
    benched: int  # half done at the bench
    stopped: int  # at the bench, where nobody has decided yet
    plugged: int
    called_off: int
    visitor_inner: int  # of another shop, known in all its numbers
    merger: int
    owner_change: int
    two_shops: int  # a bowler whose inners are of two shops
    unfitted: int  # a bowler without a fit


FULLEST = Fullest(
    bowler=12,
    fit=28,
    draft=38,
    ball=25,
    inner=3,
    closed=5,
    drilled=26,
    planned=28,
    failing=25,
    benched=30,
    stopped=29,
    plugged=18,
    called_off=23,
    visitor_inner=16,
    merger=1,
    owner_change=1,
    two_shops=20,
    unfitted=44,
)


TIPS = (
    Tip(
        "/board",
        "Run the floor",
        "Today’s work in the order that keeps most promises, what waits and why, and two balls mixed up.",
    ),
    Tip(
        f"/drillings/{FULLEST.benched}/bench",
        "Go on at the bench",
        "A ball is half drilled: take the next cut, and type a depth 1/32 off.",
    ),
    Tip(
        f"/drillings/{FULLEST.failing}",
        "Mend a plan",
        "A narrow bridge: see which checks fail, and what to change so that they hold.",
    ),
    Tip(
        f"/bowlers/{FULLEST.two_shops}/sits",
        "Move an inner",
        "Two shops drilled his balls: how far each inner stands proud or sunk in the other.",
    ),
    Tip(
        f"/bowlers/{FULLEST.unfitted}/fits/new",
        "Write a fit down",
        "Type it as on your paper card, such as 4 x 4 1/8 or 1/4 rev, and see how it is read back.",
    ),
)


def fill_saturday(session: Session) -> None:
    """Fills an empty database with the demo's shop."""
    with in_the_past(session) as past, _index_at_the_end(session):
        past.go_to(OPENED_DAYS_AGO)
        world.fill(session)
        session.flush()
        for observed in session.scalars(select(DepthObservation)):
            observed.observed_on -= timedelta(days=OPENED_DAYS_AGO)
        hands = _take_stock(session)
        past.go_to(LONG_AGO_DAYS)
        hands.register(
            "Leif Oxbarrow", "555 0190 1919", league="Monday trios", notes="From the card box; not seen since."
        )
        session.flush()
        tell(session, past, [*stories.list_stories(hands), *floor_scenes.list_stories(hands)])
        past_work.write_down(session, past)


@contextmanager
def _index_at_the_end(session: Session) -> Iterator[None]:
    """Writes the words that people are found by once, and not again at each of their balls."""
    index = bowler_words.index_bowler
    setattr(bowler_words, "index_bowler", lambda *_: None)  # noqa: B010 - mypy refuses the assignment
    try:
        yield
    finally:
        setattr(bowler_words, "index_bowler", index)  # noqa: B010
    session.flush()
    bowler_words.rebuild_index(session)


def make_demo(url: str, backup_folder: Path) -> int:
    """Makes the demo's tables and records, and a backup of them; returns the id of its owner.

    Its password and PIN are shown to everybody, so their hashes need not be slow. Nothing is freed meanwhile.
    """
    make_tables(url)
    hashes.hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    gc.disable()
    engine = open_engine(url)
    with sessions(engine)() as session:
        fill_saturday(session)
        owner_id = shops.list_staff(session)[0].id
        session.commit()
    engine.dispose()
    gc.enable()
    backups.make_backup(url, backup_folder)
    return owner_id


def _take_stock(session: Session) -> Hands:
    """Returns the hands of the shop, with the hardware, shops and people of the small world."""
    hands = Hands(session)
    for name, kind in (("floor", "bore_floor"), ("flange", "ball_surface")):
        hands.hardware[name] = session.scalars(select(InsertSystem).where(InsertSystem.height_set_by == kind)).one()
    for name, shop in zip(("ours", "north", "harbour"), session.scalars(select(Shop).order_by(Shop.id)), strict=True):
        hands.shops[name] = shop
    return hands
