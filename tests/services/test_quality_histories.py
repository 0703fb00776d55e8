"""Figures of quality over random histories made through the services, against a count kept beside them in plain Python.

Intervals are held against scipy: `binomtest` for shares, `quantile_test` for medians.
"""

import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from fractions import Fraction
from itertools import pairwise

import pytest
from scipy.stats import binomtest, quantile_test
from sqlalchemy.orm import Session

from app.models import Ball, Drilling, Ticket, now
from app.services import quality, ticket_moves
from app.services.quality import Share, Times
from seed_demo.past import Past, in_the_past
from tests.services.floor_hands import Floor
from tests.services.test_quality import drilled

pytestmark = pytest.mark.both
REASONS = {"tight": "too tight", "loose": "too loose", "pitch": "a pitch is off"}
ASKED_AFTER = timedelta(days=14)
YEAR = timedelta(days=365)


@dataclass
class Told:
    """What happened to one ticket, written down as it was done."""

    began: datetime
    is_drilled: bool = False
    moments: list[tuple[datetime, str]] = field(default_factory=list)
    handed_over: datetime | None = None
    ask_on: date | None = None
    outcome: str = ""
    again: "Told | None" = None
    reason: str = ""
    is_called_off: bool = False
    waits: list[tuple[str, float]] = field(default_factory=list)


class Shop:
    """Plays tickets through the services, each at moments of its own, and writes down what it did."""

    def __init__(self, session: Session, who: str, past: Past, seed: int) -> None:
        self.session, self.past, self.chance = session, past, random.Random(seed)
        self.floor = Floor(session, who)
        self.told: list[Told] = []

    def pass_time(self, least: int = 3, most: int = 900) -> datetime:
        self.past.moment += timedelta(minutes=self.chance.randint(least, most))
        return self.past.moment

    def play(self, days_ago: float, is_drilled: bool) -> Told:
        """One ticket from intake to what was heard of it."""
        self.past.moment = now().replace(microsecond=0) - timedelta(days=days_ago)
        told = Told(self.past.moment, is_drilled)
        self.told.append(told)
        ball = Ball(bowler_id=1, label=f"Ball {len(self.told)}", circumference_in=Fraction(27))
        self.session.add(ball)
        self.session.flush()
        of = self.floor.take_in(ball, "new" if is_drilled else self.chance.choice(("sand", "check", "insert")))
        told.moments.append((told.began, "taken in"))
        self.work(of, told)
        if self.chance.random() < 0.85:
            self.hear(of, told)
        return told

    def work(self, of: Ticket, told: Told) -> None:
        told.moments.append((self.pass_time(), "ready"))
        self.floor.ready(of)
        if told.is_drilled:
            self.drill(of, told)
        else:
            told.moments.append((self.pass_time(), "on the bench"))
            self.floor.take(of)
            if self.chance.random() < 0.4:
                self.wait(of, told)
            told.moments.append((self.pass_time(), "done"))
            self.floor.finish(of)
        told.handed_over = self.pass_time()
        told.moments.append((told.handed_over, "handed over"))
        self.floor.hand_over(of)
        told.ask_on = (told.handed_over + ASKED_AFTER).date()
        of.follow_up_on = told.ask_on
        self.session.flush()

    def drill(self, of: Ticket, told: Told) -> None:
        """Planned four hours before it is closed, and begun three hours before."""
        closed = self.pass_time() + timedelta(hours=4)
        made: Drilling = drilled(self.session, closed)
        of.drilling_id = made.id
        self.session.flush()
        hours = ((4, "planned"), (3, "on the bench"), (0, "done"))
        told.moments += [(closed - timedelta(hours=before), stage) for before, stage in hours]
        self.past.moment = closed

    def wait(self, of: Ticket, told: Told) -> None:
        """Glue cures by itself; whatever else is waited for is ended by somebody."""
        raised = self.pass_time()
        kind = self.chance.choice(("glue", "part", "question"))
        cures = self.chance.randint(5, 90)
        wait = self.floor.wait(of, kind, why="which one", **({"minutes": "95"} if kind == "glue" else {}))
        if kind == "glue":
            wait.until = raised + timedelta(minutes=cures)
            self.session.flush()
        ended = self.pass_time(1, 120)
        self.floor.end_wait(wait, "it came")
        over = min(ended, wait.until) if wait.until else ended
        told.waits.append((kind, (over - raised).total_seconds() / 60))

    def hear(self, of: Ticket, told: Told) -> None:
        told_at = self.pass_time(14 * 1440, 16 * 1440)
        if told_at > now() - timedelta(hours=2):
            return
        told.outcome = "not fine" if self.chance.random() < 0.3 else "fine"
        more: dict[str, str] = {}
        if told.outcome == "not fine":
            more = {"redo_reason": self.chance.choice(list(REASONS)), "outcome_words": "it was not"}
        again = self.floor.follow_up(of, told.outcome, **more)
        told.moments.append((told_at, "followed up"))
        if again is of:
            return
        told.again = Told(told_at, moments=[(told_at, "taken in")], reason=more["redo_reason"])
        self.told.append(told.again)
        chance = self.chance.random()
        if chance < 0.3:
            told.again.moments.append((self.pass_time(), "called off"))
            ticket_moves.call_off(self.session, again.id, self.floor.why(again))
            told.again.is_called_off = True
        elif chance < 0.7:
            self.work(again, told.again)


@pytest.fixture
def past(session: Session) -> Iterator[Past]:
    with in_the_past(session) as made:
        yield made


def count_right(told: list[Told], at: datetime) -> tuple[int, int]:
    asked = [
        of for of in told if of.is_drilled and of.handed_over and of.ask_on
        and of.handed_over >= at - YEAR and of.ask_on <= at.date()
    ]  # fmt: skip
    good = [of for of in asked if of.outcome != "not fine" and not (of.again and not of.again.is_called_off)]
    return len(good), len(asked)


def count_stages(told: list[Told], at: datetime) -> dict[str, list[float]]:
    spent: dict[str, list[float]] = defaultdict(list)
    for of in told:
        if of.began >= at - YEAR:
            for (since, stage), (until, _) in pairwise(of.moments):
                spent[stage].append((until - since).total_seconds() / 60)
    return spent


def read(session: Session, at: datetime) -> tuple[dict[str, Share], dict[str, Times]]:
    groups = quality.list_groups(session, at, at.date())
    shares = {of.words: of for group in groups for of in group.shares}
    return shares, {of.words: of for group in groups for of in group.times}


@pytest.mark.parametrize("seed", range(3))
def test_figures_are_those_counted_beside_a_random_history(session: Session, who: str, past: Past, seed: int) -> None:
    shop, at = Shop(session, who, past, seed), now()
    for number in range(44):
        days_ago = shop.chance.uniform(368, 400) if number % 11 == 0 else shop.chance.uniform(25, 350)
        shop.play(days_ago, is_drilled=number % 3 != 0)
    shares, times = read(session, at)
    right = shares["right first time"]
    assert (right.successes, right.n) == count_right(shop.told, at)
    assert right.is_shown
    heard = [of for of in shop.told if of.outcome and of.handed_over and of.handed_over >= at - YEAR]
    fine = shares["fine, of those we asked about"]
    assert (fine.successes, fine.n) == (sum(of.outcome == "fine" for of in heard), len(heard))
    redone = [of.again for of in shop.told if of.again and not of.again.is_called_off and of.again.began >= at - YEAR]
    for reason, words in REASONS.items():
        count = sum(of.reason == reason for of in redone)
        if count:
            assert (shares[words].successes, shares[words].n) == (count, len(redone))
    spent = count_stages(shop.told, at)
    for stage in ("taken in", "ready", "planned", "on the bench", "done"):
        assert times[stage].minutes == pytest.approx(sorted(spent[stage]), abs=1e-6), stage
    for kind, words in (("glue", "glue or resin that cures"), ("part", "a part"), ("question", "an answer")):
        own = sorted(minutes for of in shop.told if of.began >= at - YEAR for what, minutes in of.waits if what == kind)
        assert times[words].minutes == pytest.approx(own, abs=1e-6), kind
    check_intervals(shares, times)


def check_intervals(shares: dict[str, Share], times: dict[str, Times]) -> None:
    shown = [of for of in shares.values() if of.is_shown]
    assert {"right first time", "fine, of those we asked about"} <= {of.words for of in shown}
    for of in shown:
        known = binomtest(of.successes, of.n).proportion_ci(method="exact")
        assert of.interval == pytest.approx((known.low, known.high), abs=1e-9)
    told = [of for of in times.values() if of.is_shown]
    assert len(told) >= 5
    for stage in told:
        known = quantile_test(stage.minutes, q=0, p=0.5).confidence_interval(0.95)
        assert stage.interval == (known.low, known.high)


def test_a_figure_is_hidden_at_nineteen_and_shown_at_twenty(session: Session, who: str, past: Past) -> None:
    shop, at = Shop(session, who, past, 5), now()
    for n in range(1, 21):
        shop.play(40 + n, is_drilled=True)
        shares, times = read(session, at)
        assert shares["right first time"].n == n == times["planned"].n
        assert shares["right first time"].is_shown is times["planned"].is_shown is (n == 20)
