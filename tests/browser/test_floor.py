"""A Saturday on the floor through real browsers: two counters, two benches, a board on the wall, and a power cut.

Each wave of tickets is worked off by one bench in the order that the board proposes; every order of a wave is tried
here to see what could have been kept. After a wave a ball is drilled from its plan to the closed drilling. A day of 40
tickets, 12 of them for new bowlers: SPANBOOK_SATURDAY="8 4 12 8" pytest tests/browser/test_floor.py
"""

import os
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from itertools import permutations

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import func, select

from app.calculation.job_order import Cost, Job, Press, evaluate
from app.closed_sets import TicketKind
from app.db import open_engine, sessions
from app.main import create_app
from app.models import BallCheck, Bowler, Change, Part, Ticket
from app.services import ticket_histories, ticket_reads
from app.services.floor import ASSUMED_MINUTES
from app.settings import Settings
from tests.browser.conftest import Shop, opened
from tests.conftest import Databases, not_none, signed_in
from tests.endurance.test_streams import Server

# waves, tickets of each, how many of all are of new bowlers, and balls drilled besides, one after a wave
WAVES, TICKETS, WALK_INS, DRILLED = map(int, os.environ.get("SPANBOOK_SATURDAY", "3 4 3 1").split())
KINDS: tuple[TicketKind, ...] = ("check", "insert", "sand", "layout", "balance")
PROMISED_MIN = (20, 300, 12, 500, 40)  # in so many minutes; not all of a wave can be kept
POWER_CUT_BEFORE = 2  # the wave before which the server is killed and started again
GLUE_WAVE, MIX_UP_WAVE = 0, 1
NAMES = (  # unlike each other
    *("Orla Fenn", "Mabley Zorn", "Ickworth Yeo", "Dunn Tarrow", "Quill Bascombe", "Ebba Lorn"),
    *("Sten Vickery", "Pruna Oddny", "Garrick Hule", "Tilda Wexcombe", "Jory Apsley", "Nessa Crabtree"),
)


@dataclass
class Work:
    """One piece of work as the counter took it in."""

    ticket_id: int
    bowler: str
    serial: str
    kind: TicketKind
    due: datetime


class Saturday:
    """The shop's browsers, what was taken in, and how long the wall took to show each change."""

    def __init__(self, browser: Browser, server: Server) -> None:
        self.server, self.work, self.posts = server, list[Work](), 0
        self.newcomers = iter(NAMES)
        self.lags: list[float] = []
        address, app = f"http://shop.test:{server.port}", create_app(Settings(database_url=server.url))
        tokens = {name: signed_in(app, name) for name in ("RV", "TB", "OL", "IS")}
        app.state.engine.dispose()

        def open_page(initials: str) -> Page:
            shop = Shop(address, tokens[initials], server.url)
            return opened(browser, shop, viewport={"width": 1280, "height": 900}).new_page()

        self.counters = [open_page("RV"), open_page("TB")]
        self.benches = [open_page("OL"), open_page("IS")]
        self.wall = open_page("RV")
        self.wall.goto("/board?wall=true")

    def see(self, shows: Callable[[], None]) -> None:
        """The wall shows what was just done, by itself."""
        begun = time.perf_counter()
        shows()
        self.lags.append(time.perf_counter() - begun)

    def on_wall(self, of: Work, column: str) -> None:
        heading = self.wall.locator("section", has=self.wall.get_by_role("heading", name=column))
        self.see(lambda: expect(heading.locator(f"#ticket-{of.ticket_id}")).to_have_count(1))

    def off_wall(self, of: Work) -> None:
        self.see(lambda: expect(self.wall.locator(f"#ticket-{of.ticket_id}")).to_have_count(0))

    def take_in(self, is_walk_in: bool, minutes: int, what: TicketKind | None = None) -> Work:
        """A ball just brought, of a new or a known bowler; a kind that is named is for the bowler whose fit is in force."""
        number = len(self.work)
        page, kind = self.counters[number % 2], what or KINDS[number % len(KINDS)]
        if is_walk_in:
            bowler = next(self.newcomers)
            self.add_bowler(page, bowler)
        else:
            page.goto(f"/tickets/new?bowler_id={1 if what else 1 + number % 3}")
            bowler = page.locator("h1 a").inner_text()
        due = datetime.now().replace(second=0, microsecond=0) + timedelta(minutes=minutes)
        page.locator(f'input[name="what"][value="{kind}"]').check(force=True)
        page.locator('input[name="thing"][value="new"]').check(force=True)
        page.get_by_label("The new ball").fill(f"Ball {number}")
        page.get_by_label("Its serial").fill(f"SAT-{number}")
        page.locator("details summary", has_text="Another time").click()
        page.get_by_label("Another time", exact=True).fill(due.strftime("%Y-%m-%dT%H:%M"))
        page.locator("main form .sign button.main").click()
        page.wait_for_url("**/tickets/*")
        of = Work(int(page.url.rpartition("/")[2]), bowler, f"SAT-{number}", kind, due)
        self.work.append(of)
        self.on_wall(of, "Taken in")
        page.goto("/board")
        page.locator(f"#ticket-{of.ticket_id}").get_by_role("button", name="Tagged and racked").click()
        self.on_wall(of, "To do")
        self.posts += 2
        return of

    def add_bowler(self, page: Page, name: str) -> None:
        page.goto("/bowlers/new")
        page.get_by_label("Name", exact=True).fill(name)
        page.locator(".picked", has_text="right").first.click()
        page.locator("main form .sign button.main").click()
        page.get_by_role("link", name="Take work in").first.click()
        self.posts += 1

    def restock(self) -> None:
        """A delivery of the inner that the drilled balls get."""
        engine = open_engine(self.server.url)
        with sessions(engine)() as session:
            part = session.scalars(select(Part).where(Part.kind == "inner", Part.size_in == Fraction(5, 4))).first()
        engine.dispose()
        page = self.counters[1]
        page.goto(f"/parts/{not_none(part).id}")
        page.get_by_label("How many came").fill(str(DRILLED))
        page.get_by_role("button", name="Put on the shelf").click()
        page.wait_for_load_state()
        self.posts += 1

    def drill(self, bench: Page) -> Work:
        """From the board to the closed drilling: planned on the fit in force, each step ticked, measured as predicted."""
        of = self.take_in(is_walk_in=False, minutes=600, what="same")
        bench.goto("/board")
        bench.locator("#next").get_by_role("link", name="Plan it").click()
        bench.get_by_role("button", name="Save this plan").click()
        bench.get_by_role("heading", name="Before the first cut").wait_for()
        bench.goto("/board")
        bench.locator("#next").get_by_role("button", name="Take it").click()
        bench.locator("#next").get_by_role("link", name="Go on").click()
        bench.wait_for_url("**/bench")
        title = bench.get_by_role("heading", level=1)
        while not (heading := title.inner_text()).startswith("Measure"):
            is_pause = heading.startswith("Stop")
            bench.get_by_role("button", name="It is this hand" if is_pause else "Done", exact=not is_pause).click()
            expect(title).not_to_have_text(heading)
        self.on_wall(of, "In hand")
        bench.get_by_role("link", name="Measure and close").click()
        for finger, predicted in (("middle", "3 47/64"), ("ring", "3 55/64")):
            bench.get_by_label(f"To {finger}", exact=True).fill(predicted)
        bench.get_by_role("button", name="Log these").click()
        bench.get_by_role("button", name="Close this drilling").click()
        self.on_wall(of, "To hand over")
        return of

    def work_off(self, bench: Page, wave: list[Work]) -> list[int]:
        """One bench takes what the board proposes until nothing of this wave is left; returns the order."""
        taken: list[int] = []
        for _ in wave:
            bench.goto("/board")
            bench.locator("#next").get_by_role("button", name="Take it").click()
            bench.wait_for_url("**/board")
            holds = bench.locator("#next .button", has_text="Done")
            expect(holds).to_have_count(1)
            address = not_none(bench.locator("#next form").get_attribute("action"))
            of = next(of for of in wave if address == f"/tickets/{of.ticket_id}/done")
            self.on_wall(of, "In hand")
            holds.click()
            bench.wait_for_url("**/board")
            self.on_wall(of, "To hand over")
            taken.append(of.ticket_id)
            self.posts += 2
        return taken

    def hand_over(self, page: Page, of: Work, scan: str) -> None:
        page.goto(f"/tickets/{of.ticket_id}#hand-over")
        form = page.locator("#hand-over form")
        form.get_by_label("To whom").fill(of.bowler)
        form.get_by_label("Scan of its tag").fill(scan)
        form.locator(".sign button.main").click()
        page.wait_for_load_state()
        self.posts += 1

    def let_glue_cure(self, of: Work) -> None:
        """Glue that cures takes a ticket off the list until somebody says why it need not wait any longer."""
        page = self.benches[0]  # a driller alone goes on before the time is up
        page.goto(f"/tickets/{of.ticket_id}")
        page.locator("#waits summary").click()
        page.locator('#waits input[name="kind"][value="glue"]').check(force=True)
        page.locator("#waits").get_by_label("Minutes to cure").fill("90")
        page.locator("#waits .sign button.main").click()
        self.on_wall(of, "Waiting")
        page.goto(f"/tickets/{of.ticket_id}")
        page.locator("#wait").get_by_label("Why you go on").fill("a dry fit, no glue was used")
        page.locator("#wait .sign button.main").click()
        self.on_wall(of, "To do")
        self.posts += 2

    def cut_power(self) -> None:
        self.server.stop(signal.SIGKILL)
        expect(self.wall.locator("[data-out-of-step]")).to_be_visible()
        self.server.start()
        self.see(lambda: expect(self.wall.locator("[data-out-of-step]")).to_be_hidden())


@pytest.fixture
def saturday(browser: Browser, all_databases: dict[str, Databases]) -> Iterator[Saturday]:
    databases = all_databases["sqlite"]
    server = Server(databases.copied(databases.demo), SPANBOOK_HOSTS="shop.test")
    made = Saturday(browser, server)
    yield made
    for page in (*made.counters, *made.benches, made.wall):
        page.context.close()
    server.process.kill()
    server.process.wait(15)


def count_broken(order: list[int], wave: list[Work], at: datetime) -> tuple[Cost, Cost]:
    """What the order that was taken costs, and the least that any order would have cost, from the same moment."""
    jobs = {
        of.ticket_id: Job(of.ticket_id, ASSUMED_MINUTES[of.kind], int((of.due - at).total_seconds() // 60), "")
        for of in wave
    }
    press = [Press(0, "")]
    return evaluate([jobs[key] for key in order], press, 0), min(
        evaluate(tried, press, 0) for tried in permutations(jobs.values())
    )


def test_every_ball_ends_with_its_owner(saturday: Saturday, tell: Callable[[str], None]) -> None:
    saturday.restock()
    for wave_number in range(WAVES):
        if wave_number == POWER_CUT_BEFORE:
            saturday.cut_power()
        first = len(saturday.work)
        for number in range(TICKETS):
            place = wave_number * TICKETS + number  # new bowlers come evenly over the day
            is_walk_in = place * WALK_INS // (WAVES * TICKETS) < (place + 1) * WALK_INS // (WAVES * TICKETS)
            saturday.take_in(is_walk_in, PROMISED_MIN[number])
        wave = saturday.work[first:]
        if wave_number == GLUE_WAVE:
            saturday.let_glue_cure(wave[1])
        begun = datetime.now().replace(second=0, microsecond=0)
        taken, best = count_broken(saturday.work_off(saturday.benches[wave_number % 2], wave), wave, begun)
        assert taken.broken <= best.broken
        for number, of in enumerate(wave):
            page = saturday.counters[number % 2]
            if wave_number == MIX_UP_WAVE and number == 0:
                saturday.hand_over(page, of, wave[1].serial)
                expect(page.locator("main")).to_contain_text("Another ball")
                saturday.see(
                    lambda: expect(saturday.wall.locator("#floor-board .notice.trouble")).to_contain_text("Mixed up")
                )
            saturday.hand_over(page, of, of.serial)
            saturday.off_wall(of)
        expect(saturday.wall.locator("#floor-board .notice.trouble")).to_have_count(0)
        if wave_number < DRILLED:
            drilled = saturday.drill(saturday.benches[wave_number % 2])
            saturday.hand_over(saturday.counters[0], drilled, drilled.serial)
            saturday.off_wall(drilled)
    lags = sorted(saturday.lags)
    tell(f"{len(lags)} changes shown on the wall: median {lags[len(lags) // 2]:.1f} s, longest {lags[-1]:.1f} s")
    require_whole(saturday)


def require_whole(saturday: Saturday) -> None:
    """Every ball went to its owner, every stage says who and when, the mix-up is kept, and no form left no trace."""
    engine = open_engine(saturday.server.url)
    with sessions(engine)() as session:
        for of in saturday.work:
            ticket = ticket_reads.get_ticket(session, of.ticket_id)
            assert (ticket.state, ticket.handed_to) == ("handed over", ticket_reads.bowler_of(ticket).name)
            assert (ticket_reads.bowler_of(ticket).name, not_none(ticket.ball).serial) == (of.bowler, of.serial)
            moves = ticket_histories.list_moves(session, of.ticket_id)
            assert {"taken in", "ready", "on the bench", "done", "handed over"} <= {move.stage for move in moves}
            assert all(move.initials and move.at for move in moves)
        wrong = session.scalar(select(func.count()).select_from(BallCheck).where(BallCheck.is_match.is_(False)))
        assert wrong == 1
        assert not_none(session.scalar(select(func.count()).select_from(Change))) >= saturday.posts
        assert (
            session.scalar(select(func.count()).select_from(Ticket)) == len(saturday.work) == WAVES * TICKETS + DRILLED
        )
        walked_in = select(func.count()).where(Bowler.name.in_(NAMES))
        assert session.scalar(walked_in) == WALK_INS
    engine.dispose()
