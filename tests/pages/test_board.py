"""The board's pages: each role is offered what it may do, a fragment is the board alone, paper lists all open work."""

import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import needed_role
from app.models import BallCheck, Staff, Ticket
from app.pages.registry import PAGES
from tests.conftest import Client, CountQueries
from tests.pages.test_pages import text_of
from tests.services.floor_rows import Rows

HTMX = {"HX-Request": "true"}
STATES = ("taken in", "ready", "on the bench", "done")


@pytest.fixture
def rows(session: Session, who: str) -> Iterator[Rows]:
    made = Rows(session, who)
    yield made
    session.rollback()


@pytest.fixture
def counter(app: FastAPI, client: Client) -> Iterator[Client]:
    made = Client(app).sign_in("RV")
    yield made
    made.close()


def fill(rows: Rows) -> dict[str, int]:
    """A ticket in each state, one that waits for an answer, one whose follow-up is due; by state its id."""
    made = {
        state: rows.ticket(1 + number % 3, state=state, due=60 * number + 30) for number, state in enumerate(STATES)
    }
    made["asked"] = rows.ticket(2, what="thumb")
    rows.wait(made["asked"], "question", why="Bevel it wider?")
    made["handed over"] = rows.ticket(3, state="handed over", follow_up_on=rows.at.date())
    rows.session.commit()
    return made


def find_role(method: str, address: str) -> str:
    """The least role that may follow a tap, by the route that answers it."""
    for page in PAGES:
        for route in page.router.routes:
            if method in getattr(route, "methods", ()) and route.path_regex.fullmatch(address):
                return needed_role(method, route.path)
    raise AssertionError(f"no page answers {method} {address}")


@pytest.mark.parametrize("url", ["/", "/board"])
def test_the_counter_is_offered_nothing_it_may_not_do(rows: Rows, client: Client, counter: Client, url: str) -> None:
    fill(rows)
    main = counter.get(url).text.partition("<main")[2]
    posts = re.findall(r'<form method="post" action="([^"]+)"', main)
    links = [link.partition("#")[0].partition("?")[0] for link in re.findall(r'<a [^>]*href="([^"]+)"', main)]
    assert [address for address in posts if find_role("POST", address) != "counter"] == []
    assert [link for link in links if find_role("GET", link) != "counter"] == []
    assert "/balls/1/drillings/new" not in links
    assert f"/tickets/{fill(rows)['taken in']}" not in posts
    drillers = re.findall(r'<form method="post" action="([^"]+)"', client.get(url).text)
    assert any(find_role("POST", address) == "driller" for address in drillers)


def test_each_role_is_told_its_own_next_job(rows: Rows, client: Client, counter: Client, who: str) -> None:
    made = fill(rows)
    for browser, ticket_id, words in ((counter, made["done"], "Hand over"), (client, made["ready"], "Take it")):
        for url in ("/", "/board"):
            told = browser.get(url).text.partition('id="next"')[2].partition("</section>")[0]
            assert words in told
            assert f"/tickets/{ticket_id}" in told
    rows.session.get_one(Staff, int(who))
    mine = rows.ticket(1, state="on the bench", holder_id=int(who))
    rows.session.commit()
    told = client.get("/board").text.partition('id="next"')[2].partition("</section>")[0]
    assert f"/tickets/{mine}/done" in told


def test_a_tap_leads_back_to_the_page_it_was_made_on(rows: Rows, client: Client) -> None:
    taken_in = fill(rows)["taken in"]
    for url in ("/", "/board"):
        shown = client.get(url).text
        form = shown.partition(f'action="/tickets/{taken_in}/ready"')[2].partition("</form>")[0]
        if not form:
            continue
        fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
        assert fields["back"] == url
    answer = client.post(f"/tickets/{taken_in}/ready", fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/board")
    again = client.post(f"/tickets/{taken_in}/ready", fields)  # a double tap
    assert (again.status_code, again.headers["location"]) == (303, "/board")


MANY_AT_THE_COUNTER = 5


def test_a_long_column_at_the_counter_leads_to_the_board(rows: Rows, client: Client, counter: Client) -> None:
    """Who is here today stays near: each column has a few lines, its number, and a link to all."""
    rows.ticket(1, state="done", due=10)  # the next one, above the columns
    for number in range(MANY_AT_THE_COUNTER):
        rows.ticket(1 + number % 3, state="done", due=60)
        rows.ticket(1 + number % 3, state="taken in", due=60)
    rows.session.commit()
    page = counter.get("/").text
    for heading in ("To hand over", "Taken in"):
        column = page.partition(f"<h2>{heading} ")[2].partition("</section>")[0]
        assert column.startswith(f'<span class="quiet">{MANY_AT_THE_COUNTER}</span>')
        assert column.count('<li class="ticket') == 2
        assert re.search(r'href="/board">3 more</a>', column)
    assert client.get("/").text.count('<li class="ticket') == 2  # those to hand over
    assert client.get("/board").text.count('<li class="ticket') == 2 * MANY_AT_THE_COUNTER + 1


@pytest.mark.parametrize("url", ["/board", "/next"])
def test_a_refresh_brings_the_board_alone(rows: Rows, client: Client, url: str) -> None:
    made = fill(rows)
    part = client.get(url, headers=HTMX).text
    assert "<html" not in part
    assert "data-events" not in part  # it goes into what listens, and is not it
    assert f"/tickets/{made['ready']}" in part


def test_the_next_job_stands_once_at_the_counter(rows: Rows, client: Client, counter: Client) -> None:
    """It heads the page; its column counts and lists the others, and says so where there are none."""
    made = fill(rows)
    rows.set_state(made["on the bench"], "called off")
    rows.session.commit()
    for browser, state, heading in ((client, "ready", "To do, in this order"), (counter, "done", "To hand over")):
        page = browser.get("/").text
        assert f"/tickets/{made[state]}" in page.partition('id="next"')[2].partition("</section>")[0]
        column = page.partition(f"<h2>{heading}")[2].partition("</section>")[0]
        assert text_of(column).strip() == "The one above is the only one."
        assert f'id="ticket-{made[state]}"' not in page
    more = rows.ticket(2, due=500)
    rows.session.commit()
    column = client.get("/").text.partition("<h2>To do, in this order ")[2].partition("</section>")[0]
    assert column.startswith('<span class="quiet">1</span>')
    assert f'id="ticket-{more}"' in column


def test_on_the_wall_nothing_is_pressed(rows: Rows, client: Client) -> None:
    made = fill(rows)
    for answer in (client.get("/board?wall=true"), client.get("/board?wall=true", headers=HTMX)):
        assert "<button" not in answer.text.partition("<main")[2 if "<main" in answer.text else 0]
        assert 'action="/tickets' not in answer.text
        assert f'id="ticket-{made["ready"]}"' in answer.text


def test_a_mix_up_is_told_above_all_until_its_own_tag_is_read(rows: Rows, client: Client) -> None:
    done = fill(rows)["done"]
    for is_match in (False, True):
        check = BallCheck(ticket_id=done, ball_id=2, moment="handover", is_match=is_match, staff_id=rows.who)
        rows.session.add(check)
        rows.session.commit()
        assert ("Mixed up:" in text_of(client.get("/board").text)) is not is_match


def test_paper_lists_every_open_ticket_by_promise(rows: Rows, client: Client) -> None:
    made = fill(rows)
    paper = client.get("/board/paper").text
    numbers = [int(number) for number in re.findall(r"<tr><td>(\d+)</td>", paper)]
    assert numbers == [*(made[state] for state in STATES), made["asked"]]
    assert "Bevel it wider?" in paper
    assert client.get("/board/paper.pdf").content.startswith(b"%PDF")


@pytest.mark.parametrize("url", ["/", "/board", "/board/paper"])
def test_forty_tickets_cost_no_query_more_than_one(
    rows: Rows, client: Client, count_queries: CountQueries, url: str
) -> None:
    fill(rows)
    client.get(url)
    few = count_queries(lambda: client.get(url))
    for number in range(40):
        rows.ticket(1 + number % 3, due=number)
    rows.session.commit()
    assert count_queries(lambda: client.get(url)) == few


@pytest.mark.parametrize("act", ["waits", ""])
def test_a_year_mistyped_on_one_ticket_leaves_the_board_standing(
    client: Client, session: Session, who: str, act: str
) -> None:
    wanted = {"who": who, "bowler_id": "1", "thing": "ball:1", "what": "sand"}
    assert client.post("/tickets", wanted).status_code == 303
    version = str(session.scalar(select(Ticket.version)))
    session.rollback()
    far = {"version": version, "kind": "glue", "until": "9999-12-31T23:59", "promised": "9999-12-31T23:59"}
    answer = client.post(f"/tickets/1/{act}".rstrip("/"), wanted | far)
    pages = [client.get(address).status_code for address in ("/board", "/", "/tickets/1")]
    assert (answer.status_code, pages) == (422, [200, 200, 200])
