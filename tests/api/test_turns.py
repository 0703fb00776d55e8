"""Calculations are open to all, so what they may cost is bounded, and they hold up neither pages nor health."""

import json
import sqlite3
import threading
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import Future
from functools import partial
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import event

from app.api import turns
from app.calculation import inners
from app.schemas.calc import ShopDepthIn
from tests.api.test_calc import BODIES
from tests.calculation.grips import EXAMPLE, Json
from tests.conftest import Client
from tests.pages.test_pages import new_bowler

JSON = {"content-type": "application/json"}
WALL = "/api/v1/calc/inner-wall"


@pytest.fixture
def stranger(app: FastAPI) -> Iterator[Client]:
    made = Client(app)
    yield made
    made.close()


def begun(client: Client, url: str, **more: Any) -> Future[httpx.Response]:
    """A call that is under way while the test goes on."""
    return client.portal.start_task_soon(partial(client.http.post, url, headers={"origin": "http://shop.test"}, **more))


class Held:
    """A calculation that does not come to its end before it is let go; counts how many are in it."""

    def __init__(self, at_once: int) -> None:
        self.go, self.lock = threading.Event(), threading.Lock()
        self.inside, self.most = 0, 0
        self.full = threading.Barrier(at_once + 1, timeout=20)

    def __call__(self, **_asked: object) -> inners.InnerWall:
        with self.lock:
            self.inside += 1
            self.most = max(self.most, self.inside)
        if not self.go.is_set():
            self.full.wait()
            self.go.wait(20)
        with self.lock:
            self.inside -= 1
        return inners.InnerWall(0.1, 0.2)


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[Held]:
    made = Held(turns.STRANGERS_AT_ONCE)
    monkeypatch.setattr(inners, "inner_wall", made)
    yield made
    made.go.set()


@pytest.mark.once
@pytest.mark.parametrize("address", ["/api/v1/calc/grip", "/api/v1/bowlers"])
@pytest.mark.parametrize("is_told", [True, False])
def test_a_body_beyond_64_kb_is_refused_unread(
    stranger: Client, caplog: pytest.LogCaptureFixture, address: str, is_told: bool
) -> None:
    body = b"x" * (turns.LARGEST_BODY + 1)  # no JSON at all: whoever parsed it would answer 422

    async def pieces() -> AsyncIterator[bytes]:
        for at in range(0, len(body), 8192):
            yield body[at : at + 8192]

    content = body if is_told else pieces()
    answer = stranger.post(address, content=content, headers=JSON | {"authorization": "Bearer x"})
    assert (answer.status_code, answer.headers["content-type"]) == (413, "application/json")
    assert [r.message for r in caplog.records if r.levelname == "ERROR"] == []


@pytest.mark.once
@pytest.mark.parametrize("inside", ["", "thumb"])
def test_at_most_twenty_faults_are_told(stranger: Client, inside: str) -> None:
    unknown = {f"k{i}": 0 for i in range(5_000)}
    body = EXAMPLE | ({inside: EXAMPLE[inside] | unknown} if inside else unknown)
    answer = stranger.post("/api/v1/calc/grip", json=body)
    assert answer.status_code == 422
    assert 1 <= len(answer.json()["detail"]) <= turns.MOST_PROBLEMS
    assert len(answer.content) < 4_000


@pytest.mark.once
@pytest.mark.parametrize("count", [1_001, 20_000])
def test_a_list_longer_than_any_calculation_takes_costs_no_more_than_its_limit(
    stranger: Client, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[int] = []
    check = ShopDepthIn.model_validate

    def counted(body: Json) -> ShopDepthIn:
        checked.append(len(body["observations"]))
        return check(body)

    monkeypatch.setattr(ShopDepthIn, "model_validate", counted)
    answer = stranger.post("/api/v1/calc/shop-depth", json={"observations": [{}] * count})
    assert answer.status_code == 422
    assert len(answer.json()["detail"]) <= turns.MOST_PROBLEMS
    assert checked == [1_001]


@pytest.mark.once
@pytest.mark.parametrize("raw", ["[" * 60_000, '{"a":' * 12_000, "1" * 60_000, '{"bridge_in": ' + "9" * 60_000 + "}"])
def test_what_is_nested_or_long_beyond_reason_is_refused_in_words(stranger: Client, raw: str) -> None:
    answer = stranger.post("/api/v1/calc/grip", content=raw, headers=JSON)
    assert answer.status_code == 422
    assert answer.json()["detail"][0]["loc"][0] == "body"


@pytest.mark.once
def test_another_content_type_is_no_calculation(stranger: Client) -> None:
    answer = stranger.post("/api/v1/calc/grip", content=json.dumps(EXAMPLE), headers={"content-type": "text/plain"})
    assert answer.status_code == 422


@pytest.mark.once
def test_strangers_calculate_few_at_once_and_the_others_wait(stranger: Client, held: Held) -> None:
    calls = [begun(stranger, WALL, json=BODIES["inner-wall"]) for _ in range(40)]
    held.full.wait()
    assert not any(call.done() for call in calls)
    held.go.set()
    assert {call.result(20).status_code for call in calls} == {200}
    assert held.most == turns.STRANGERS_AT_ONCE


@pytest.mark.once
def test_a_line_too_long_answers_when_to_come_again(
    stranger: Client, held: Held, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(turns, "MOST_WAITING", 0)
    calls = [begun(stranger, WALL, json=BODIES["inner-wall"]) for _ in range(turns.STRANGERS_AT_ONCE)]
    held.full.wait()
    refused = stranger.post(WALL, json=BODIES["inner-wall"])
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "2")
    held.go.set()
    assert {call.result(20).status_code for call in calls} == {200}


@pytest.mark.once
def test_a_line_that_does_not_move_answers_too(stranger: Client, held: Held, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "PATIENCE_S", 0.05)
    calls = [begun(stranger, WALL, json=BODIES["inner-wall"]) for _ in range(turns.STRANGERS_AT_ONCE)]
    held.full.wait()
    assert stranger.get("/api/v1/measures/span", params={"text": "4"}).status_code == 429
    held.go.set()
    assert {call.result(20).status_code for call in calls} == {200}


def test_pages_and_whoever_is_signed_in_do_not_stand_in_that_line(stranger: Client, client: Client, held: Held) -> None:
    calls = [begun(stranger, WALL, json=BODIES["inner-wall"]) for _ in range(30)]
    held.full.wait()
    assert client.get("/bowlers/1").status_code == 200
    assert client.post("/api/v1/calc/grip", json=EXAMPLE).status_code == 200
    held.go.set()
    assert {call.result(20).status_code for call in calls} == {200}


@pytest.mark.once
def test_thousands_of_small_calls_one_after_another_are_welcome(stranger: Client) -> None:
    async def called() -> set[int]:
        url, body = "/api/v1/calc/felt-pitch", BODIES["felt-pitch"]
        return {(await stranger.http.post(url, json=body)).status_code for _ in range(1_000)}

    assert stranger.portal.call(called) == {200}


def test_a_stuck_writer_holds_up_neither_pages_nor_health_nor_style(
    app: FastAPI, client: Client, who: str, database_url: str
) -> None:
    if database_url.startswith("sqlite"):
        other = sqlite3.connect(database_url.removeprefix("sqlite:///"), isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        let_go = other.rollback
    else:
        own = app.state.engine.connect()
        own.exec_driver_sql("SELECT 1")  # a writer's transaction begins with the lock all writers take
        let_go = own.close
    waiting = [
        begun(client, "/bowlers", data=new_bowler(who, name=f"Writer {i}", is_somebody_else="true", key=f"w{i}"))
        for i in range(60)
    ]
    for url in ("/healthz", "/readyz", "/static/css/page.css", "/bowlers/1", "/sign-in"):
        assert client.get(url).status_code == 200, url
    assert not any(call.done() for call in waiting)
    let_go()
    if database_url.startswith("sqlite"):
        other.close()
    assert {call.result(60).status_code for call in waiting} == {303}


def test_readiness_does_not_wait_for_a_database_that_hangs(app: FastAPI, client: Client) -> None:
    gone = threading.Event()
    event.listen(app.state.engine, "begin", lambda _connection: gone.wait(20), insert=True)
    answer = client.get("/readyz")
    gone.set()
    assert (answer.status_code, answer.json()["status"]) == (503, "the database does not answer")
