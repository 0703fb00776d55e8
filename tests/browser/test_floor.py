"""A Saturday on the floor through real browsers: two counters, two benches, a board on the wall, and a power cut.

Each wave of tickets is worked off by one bench in the order that the board proposes; every order of a wave is tried
here to see what could have been kept. The counts stand here, so that a longer day needs no other program.
"""

import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import permutations

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import func, select

from app.calculation.job_order import Cost, Job, Press, evaluate
from app.closed_sets import TicketKind
from app.db import open_engine, sessions
from app.main import create_app
from app.models import BallCheck, Bowler, Change, Ticket
from app.services import ticket_histories, ticket_reads
from app.services.floor import ASSUMED_MINUTES
from app.settings import Settings
from tests.browser.conftest import Shop, opened
from tests.conftest import Databases, not_none, signed_in
from tests.endurance.test_streams import Server

WAVES, TICKETS, WALK_INS = 3, 4, 1  # tickets of a wave, and how many of them are of new bowlers
KINDS: tuple[TicketKind, ...] = ("check", "insert", "sand", "layout", "balance")
PROMISED_MIN = (20, 300, 12, 500, 40)  # in so many minutes; not all of a wave can be kept
POWER_CUT_BEFORE = 2  # the wave before which the server is killed and started again
GLUE_WAVE, MIX_UP_WAVE = 0, 1
NAMES = ("Orla Fenn", "Mabley Zorn", "Ickworth Yeo", "Dunn Tarrow", "Quill Bascombe", "Ebba Lorn")  # unlike each other


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

    def take_in(self, number: int, is_walk_in: bool, minutes: int) -> None:
        page, bowler = self.counters[number % 2], NAMES[len(self.work) // TICKETS]
        if is_walk_in:
            page.goto("/bowlers/new")
            page.get_by_label("Name", exact=True).fill(bowler)
            page.locator(".picked", has_text="right").first.click()
            page.locator("main form .sign button.main").click()
            page.get_by_role("link", name="Take work in").first.click()
            self.posts += 1
        else:
            bowler_id = 1 + number % 3
            page.goto(f"/tickets/new?bowler_id={bowler_id}")
            bowler = page.locator("h1 a").inner_text()
        kind, due = (
            KINDS[number % len(KINDS)],
            datetime.now().replace(second=0, microsecond=0) + timedelta(minutes=minutes),
        )
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
        page = self.benches[0]
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
    for wave_number in range(WAVES):
        if wave_number == POWER_CUT_BEFORE:
            saturday.cut_power()
        first = len(saturday.work)
        for number in range(TICKETS):
            saturday.take_in(wave_number * TICKETS + number, number < WALK_INS, PROMISED_MIN[number])
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
                saturday.see(lambda: expect(saturday.wall.locator(".notice.trouble")).to_contain_text("Mixed up"))
            saturday.hand_over(page, of, of.serial)
            saturday.off_wall(of)
        expect(saturday.wall.locator(".notice.trouble")).to_have_count(0)
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
        assert session.scalar(select(func.count()).select_from(Ticket)) == len(saturday.work) == WAVES * TICKETS
        walked_in = select(func.count()).where(Bowler.name.in_(NAMES))
        assert session.scalar(walked_in) == WAVES * WALK_INS
    engine.dispose()
