"""Streams of events: what moves them, how they end, how many there may be; read as the standard writes them.

The form of an event is that of WHATWG HTML, "Server-sent events": fields a line each, an empty line after each event.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import aclosing
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy.exc import OperationalError

from app.main import create_app
from app.models import Ball, InsertSystem, Ticket, TicketWait, now
from app.pages import board_events
from app.pages.board_events import BoardNews
from app.services import board_versions, changes
from app.settings import Settings
from tests.conftest import Client, not_none

pytestmark = pytest.mark.both


def run(told: Callable[[], Awaitable[None]]) -> None:
    """Runs in a loop of its own: a browser of an earlier test may run one in this thread."""

    async def whole() -> None:
        await asyncio.wait_for(told(), 20)

    with ThreadPoolExecutor(1) as apart:
        apart.submit(asyncio.run, whole()).result()


def quick(app: FastAPI) -> BoardNews:
    """The app's own news, which looks often enough for a test."""
    news: BoardNews = app.state.board
    news.looks_every_s = 0.01
    return news


async def read_events(stream: AsyncIterator[str], count: int) -> list[int]:
    """The versions of the next events, without the beats between them."""
    versions: list[int] = []
    async for text in stream:
        if not text.startswith(":"):
            fields = dict(line.split(": ", 1) for line in text.strip().splitlines())
            assert text.endswith("\n\n")
            assert fields["data"] == "board"
            versions.append(int(fields["id"]))
        if len(versions) == count:
            break
    return versions


def write(app: FastAPI, model: type, field: str, text: str) -> None:
    with app.state.sessions() as session, session.begin():
        changes.revise(session, 1, not_none(session.get(model, 1)), {field: text})


def add_cured_wait(app: FastAPI) -> None:
    """A wait for glue that is over in a moment; its own rows make no line of history here."""
    with app.state.sessions() as session, session.begin():
        of = Ticket(ball_id=1, what="sand", state="ready", staff_id=1)
        session.add(of)
        session.flush()
        until = now() + timedelta(seconds=0.3)
        session.add(TicketWait(ticket_id=of.id, kind="glue", until=until, raised_by_id=1))


def test_a_request_for_no_stream_gets_one_event_and_an_end(client: Client) -> None:
    answer = client.get("/board/events")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/event-stream; charset=utf-8")
    assert answer.text == "retry: 1000\nid: 0\ndata: board\n\n"
    assert answer.headers["x-accel-buffering"] == "no"


def test_a_stream_tells_at_once_and_then_of_every_change_that_boards_show(app: FastAPI) -> None:
    async def told() -> None:
        news = quick(app)
        async with aclosing(news.listen()) as stream:
            (first,) = await read_events(stream, 1)
            await asyncio.to_thread(write, app, InsertSystem, "notes", "of no ticket")
            await asyncio.to_thread(write, app, Ball, "colour", "green")
            assert await read_events(stream, 1) == [first + 1]
            await asyncio.to_thread(add_cured_wait, app)
            assert await read_events(stream, 1) == [first + 2]
            assert news.listening == 1
        assert news.listening == 0

    run(told)


def test_what_another_process_wrote_is_told_too(app: FastAPI, settings: Settings) -> None:
    other = create_app(settings)

    async def told() -> None:
        async with aclosing(quick(app).listen()) as stream:
            (first,) = await read_events(stream, 1)
            await asyncio.to_thread(write, other, Ball, "colour", "red")
            assert await read_events(stream, 1) == [first + 1]

    run(told)
    other.state.engine.dispose()


def test_a_slow_screen_gets_the_newest_alone(app: FastAPI) -> None:
    async def told() -> None:
        news = quick(app)
        async with aclosing(news.listen()) as slow, aclosing(news.listen()) as fast:
            (first,) = await read_events(slow, 1)
            await read_events(fast, 1)
            for number in range(5):
                await asyncio.to_thread(write, app, Ball, "colour", f"colour {number}")
                assert await read_events(fast, 1) == [first + number + 1]
            assert await read_events(slow, 1) == [first + 5]

    run(told)


def test_a_quiet_stream_beats_and_ends_when_its_time_is_over(app: FastAPI) -> None:
    async def told() -> None:
        news = quick(app)
        news.beats_every_s, news.lasts_s = 0.02, 0.3
        texts = [text async for text in news.listen()]
        assert texts[0].startswith("retry: 1000\n")
        assert set(texts[1:]) == {": beat\n\n"}

    run(told)


def test_streams_end_when_the_server_stops(app: FastAPI) -> None:
    async def told() -> None:
        news = quick(app)
        async with aclosing(news.listen()) as stream:
            await read_events(stream, 1)
            news.close()
            assert await read_events(stream, 1) == []
        assert [text async for text in news.listen()] == []

    run(told)


def test_a_fault_of_the_database_is_looked_past(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    async def told() -> None:
        news = quick(app)
        async with aclosing(news.listen()) as stream:
            (first,) = await read_events(stream, 1)
            with monkeypatch.context() as broken:
                broken.setattr(board_versions, "read_news", fail)
                await asyncio.to_thread(write, app, Ball, "colour", "blue")
                await asyncio.sleep(0.1)
            assert await read_events(stream, 1) == [first + 1]

    run(told)


def fail(*_: object) -> None:
    raise OperationalError("SELECT", {}, Exception("the disk is away"))


def test_beyond_so_many_streams_a_screen_is_asked_to_come_again(
    app: FastAPI, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_events, "MOST_STREAMS", 0)
    refused = client.get("/board/events", headers={"accept": "text/event-stream"})
    assert (refused.status_code, refused.headers["retry-after"]) == (503, "30")


def test_nobody_signed_out_listens(client: Client) -> None:
    client.sign_out()
    answer = client.get("/board/events", headers={"accept": "text/event-stream"})
    assert answer.status_code == 303
