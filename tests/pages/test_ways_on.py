"""From the marks to the layout, from the layout to its drilling, and from what a page lacked back to that page."""

import re
from urllib.parse import urlencode

import pytest
from sqlalchemy.orm import Session

from app.models import Ball
from tests.conftest import Client
from tests.pages.test_history import AXIS_POINT, REGULATION, SCALE
from tests.pages.test_layouts import NUMBERS, choose, record_point

MARKS = {"version": "0", "has_mass_mark": "unknown"}


def list_links(html: str) -> list[str]:
    return re.findall(r'<a [^>]*href="([^"]+)"', html)


def main_links(html: str) -> list[str]:
    return re.findall(r'<a class="button main" href="([^"]+)"', html)


def test_a_chosen_layout_leads_to_the_drilling_of_its_ball(client: Client, who: str) -> None:
    record_point(client, who)
    assert main_links(client.get("/balls/1/layout", params=NUMBERS).text) == []  # nothing is chosen yet
    choose(client, who)
    page = client.get("/balls/1/layout").text
    assert main_links(page) == ["/drillings/1"]
    assert "/balls/1" in list_links(page)
    assert main_links(client.get("/balls/1/layout", params=NUMBERS | {"drilling": "70"}).text) == []


def test_a_chosen_layout_of_a_ball_that_is_free_leads_to_drilling_it(
    client: Client, session: Session, who: str
) -> None:
    free = Ball(bowler_id=1, label="Undrilled", typed={})
    session.add(free)
    session.commit()
    record_point(client, who)
    choose(client, who, ball_id=free.id)
    assert main_links(client.get(f"/balls/{free.id}/layout").text) == [f"/balls/{free.id}/drillings/new"]


def test_saved_marks_lead_on_to_the_layout(client: Client, who: str) -> None:
    assert main_links(client.get("/balls/1/marks").text) == []
    saved = client.post("/balls/1/marks", MARKS | {"who": who}).headers["location"]
    assert main_links(client.get(saved).text) == ["/balls/1/layout"]


BALANCE = "/drillings/1/balance"


@pytest.mark.parametrize(
    ("path", "form"),
    [
        ("/scales", SCALE),
        ("/regulations", REGULATION),
        ("/bowlers/1/axis-points", AXIS_POINT),
        ("/balls/1/marks", MARKS),
    ],
)
@pytest.mark.parametrize("back", [BALANCE, f"{BALANCE}?start_top=3+1%2F4&along=0", "/balls/1/layout"])
def test_what_is_recorded_for_a_page_leads_back_to_it(
    client: Client, who: str, path: str, form: dict[str, str], back: str
) -> None:
    page = client.get(path, params={"return_to": back}).text
    shown = back.replace("&", "&amp;")
    assert list_links(page).count(shown) == 1
    assert f'name="return_to" value="{shown}"' in page
    saved = client.post(path, form | {"who": who, "return_to": back})
    assert saved.status_code == 303, saved.text
    assert urlencode({"return_to": back}) in saved.headers["location"]
    assert list_links(client.get(saved.headers["location"]).text).count(shown) == 1


@pytest.mark.parametrize(
    "back",
    ["https://elsewhere.example/", "//elsewhere.example/drillings/1/balance", "/drillings/1/balance\r\nX: y", "/sign-in",
     "/drillings/1/balance/../../..", "/drillings/1/balance?x=<script>", "javascript:alert(1)", "/drillings/١/balance"],
)  # fmt: skip
def test_no_other_page_is_led_back_to(client: Client, who: str, back: str) -> None:
    page = client.get("/scales", params={"return_to": back}).text
    assert 'id="return"' not in page
    assert client.post("/scales", SCALE | {"who": who, "return_to": back}).headers["location"] == "/scales/1"


def test_the_balance_sends_along_where_it_is(client: Client) -> None:
    page = client.get("/drillings/3/balance", params={"start_top": "3"}).text
    asked = urlencode({"return_to": "/drillings/3/balance?start_top=3"})
    ends = {link.partition("?")[0].split("/")[-1] for link in list_links(page) if link.endswith(asked)}
    assert {"scales", "layout"} <= ends, list_links(page)


@pytest.mark.parametrize(("drilling", "is_weighed_first"), [(1, True), (3, False)])
def test_what_is_to_do_stands_first_on_the_page_of_a_balance(
    client: Client, who: str, drilling: int, is_weighed_first: bool
) -> None:
    """One is drilled, three is planned and not read back."""
    client.post("/scales", SCALE | {"who": who})
    page = client.get(f"/drillings/{drilling}/balance", params={"start_top": "3", "along": "0", "across": "0"}).text
    assert (page.index('name="right_1"') < page.index('<figure class="picture balance"')) == is_weighed_first
    asked = client.get(f"/drillings/{drilling}/balance").text  # nothing is known to predict it from
    assert (asked.index('name="right_1"') < asked.index('id="look"')) == is_weighed_first
