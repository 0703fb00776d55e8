import re

import pytest
from httpx import Response
from sqlalchemy.orm import Session

from app.services import bench
from tests.conftest import Client, not_none


def ticked(client: Client, who: str, position: int, **typed: str) -> Response:
    unread = {} if "depth" in typed else {"not_read": "true"}
    return client.post(f"/drillings/3/steps/{position}/tick", {"who": who, "version": ""} | unread | typed)


def test_the_bench_shows_one_step_pauses_and_takes_each_tick_once(client: Client, who: str) -> None:
    assert "Mark grip centre" in client.get("/drillings/3/bench").text
    for position in (1, 2, 3):
        assert ticked(client, who, position).headers["location"] == "/drillings/3/bench"
    paused = client.get("/drillings/3/bench").text
    assert "Read this back before the first cut" in paused
    for words in ("Piet Olander", "left hand", "serial QL-1101", "one-eighth reverse"):
        assert words in paused
    assert ticked(client, who, 4).status_code == 409
    assert client.post("/drillings/3/confirmation", {"who": who, "version": ""}).status_code == 303
    assert ticked(client, who, 4, depth="2 3/4", bit="1 1/16").status_code == 303
    again = ticked(client, "1", 4)
    assert again.headers["location"] == "/drillings/3/bench?ticked=4"
    assert "Nothing was ticked twice" in client.get(again.headers["location"]).text
    bad = ticked(client, who, 99)
    assert bad.status_code == 404


def version_shown(client: Client) -> str:
    return not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/3/bench").text))[1]


def test_a_page_read_before_a_pitch_was_taken_back_confirms_nothing(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    read = version_shown(client)
    assert client.post("/drillings/3/steps/3/tick-removal", {"who": who, "version": read}).status_code == 303
    ticked(client, who, 3)
    assert client.post("/drillings/3/confirmation", {"who": who, "version": read}).status_code == 409
    assert ticked(client, who, 4).status_code == 409  # the pause is still due
    again = {"who": who, "version": version_shown(client)}
    assert client.post("/drillings/3/confirmation", again).status_code == 303


def test_a_bad_depth_at_the_bench_keeps_its_text(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    bad = ticked(client, who, 4, depth="2 3/0", bit="old one")
    assert bad.status_code == 422
    assert 'value="2 3/0"' in bad.text
    assert "cannot have 0 below the line" in bad.text


def test_the_later_bench_sees_the_earlier_ones_ticks(client: Client, who: str) -> None:
    assert (
        "has ticked further steps" not in client.get("/drillings/3/bench?seen=1", headers={"HX-Request": "true"}).text
    )
    ticked(client, who, 1)
    shown = client.get("/drillings/3/bench?seen=1", headers={"HX-Request": "true"}).text
    assert "Tadeo Birk has ticked further steps" in shown


def test_a_stop_is_decided_on_its_page_and_its_words_are_kept(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    assert ticked(client, who, 4, bit="1 1/4").status_code == 303
    shown = client.get("/drillings/3/bench").text
    assert "did not come out as planned" in shown
    assert ticked(client, who, 5).status_code == 409
    assert "mistyped, or bore on with the" not in shown  # a pilot needs no wider bit
    unsure = decided(client, who, decision="", reason="typed before")
    assert (unsure.status_code, 'value="typed before"' in unsure.text) == (422, True)
    assert decided(client, who, decision="hand_over", reason="ask Piet").status_code == 303
    assert "Handed over:</strong> ask Piet" in client.get("/drillings/3/bench").text
    assert decided(client, who, decision="take_back").status_code == 303
    back = client.get("/drillings/3/bench")
    assert (back.status_code, "did not come out as planned" in back.text) == (200, False)


def decided(client: Client, who: str, **typed: str) -> Response:
    page = client.get("/drillings/3/bench").text
    version = re.findall(r'name="version" value="(\d+)"', page)[0]
    return client.post("/drillings/3/decision", {"who": who, "version": version} | typed)


def test_a_screen_is_ticked_by_what_was_tapped(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    shown = client.get("/drillings/3/bench").text
    steps, main = re.findall(r'name="steps" value="([\d,]+)"', shown)[0], re.findall(r"/steps/(\d+)/tick\"", shown)[0]
    bad = ticked(client, who, int(main), steps=steps, met="2 3/0")
    assert bad.status_code == 422
    kept = ticked(client, who, int(main), steps=steps, met="not_read", depth="")
    assert kept.headers["location"] == "/drillings/3/bench"
    due = re.findall(r'name="steps" value="([\d,]+)"', client.get("/drillings/3/bench").text)[0]
    assert int(due.split(",")[0]) == max(map(int, steps.split(","))) + 1


@pytest.mark.parametrize(("met", "shown"), [
    ("5/32 reverse, 1/8 left", "5⁄32 reverse 1⁄8 left"), ("unknown", "unknown"), ("", "1⁄8 reverse 1⁄8 left"),
])  # fmt: skip
def test_a_cut_is_shown_with_the_pitch_that_was_met_before_it(client: Client, who: str, met: str, shown: str) -> None:
    ticked(client, who, 1)
    ticked(client, who, 2, pitch=met)
    ticked(client, who, 3)
    for decision in ("", "carry_on"):  # what may be beyond the limit is carried on with
        if decision and "did not come out as planned" in client.get("/drillings/3/bench").text:
            decided(client, who, decision=decision, reason="as it is")
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    page = client.get("/drillings/3/bench").text
    told = re.sub(r"<[^>]+>", " ", re.findall(r'<div class="set-up">(.*?)</div>', page, re.DOTALL)[0])
    assert " ".join(told.split()).replace(" ⁄ ", "⁄").partition("pitch ")[2] == shown


def test_a_depth_that_nobody_tapped_or_typed_is_not_read(client: Client, session: Session, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    page = client.get("/drillings/3/bench").text
    assert re.findall(r'name="met" value="([^"]+)" checked', page) == ["not_read"]
    assert ticked(client, who, 4, met="not_read", depth="").status_code == 303
    (step,) = (step for step in bench.get_drilling(session, 3).steps if step.position == 4)
    assert (step.met_depth_in, step.is_depth_unread) == (None, True)


def test_an_open_bench_asks_for_news_without_anything_being_worked_out(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.pages.bench.work_out", lambda *_: 1 / 0)
    asked = {"HX-Request": "true"}
    assert "Show the next step" not in client.get("/drillings/3/bench?seen=1", headers=asked).text
    assert client.post("/drillings/3/steps/1/tick", {"who": "2"}).status_code == 303
    assert "Show the next step" in client.get("/drillings/3/bench?seen=1", headers=asked).text


def test_nothing_is_left_to_tick_at_a_ball_plugged_half_drilled(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    asked = {"HX-Request": "true"}
    assert ("/steps/4/tick" in client.get("/drillings/3/bench").text, "cut nothing more" in client.get("/drillings/3/bench?seen=4", headers=asked).text) == (True, False)  # fmt: skip
    plugging = {"who": who, "version": version_shown(client), "reason": "slipped"}
    assert client.post("/drillings/3/plugging", plugging).status_code == 303
    assert "/tick" not in client.get("/drillings/3/bench").text
    assert "cut nothing more" in client.get("/drillings/3/bench?seen=4", headers=asked).text
    late = ticked(client, who, 4, depth="2 3/4 collar")
    assert (late.status_code, "2 3/4 collar" in late.text) == (409, True)  # what was met can still be copied
