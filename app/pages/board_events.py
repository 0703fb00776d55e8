"""Tells boards that something has changed, by server-sent events: the page then fetches itself again.

One task for each app looks once a second whether the history has grown, while anybody listens. There are no queues: a
stream holds only the version it sent last, and a slow one gets the newest alone, so memory is bounded whatever the
browsers do. A stream ends by itself after five minutes; the browser opens it again and is admitted anew, so that
somebody who was signed out hears nothing for longer. When the server stops, streams end at once.
"""

import asyncio
from collections.abc import AsyncGenerator
from contextlib import suppress
from dataclasses import dataclass, field

from anyio import CapacityLimiter, Event, Lock, move_on_after, to_thread
from fastapi import FastAPI, Response
from sqlalchemy.exc import SQLAlchemyError
from starlette.background import BackgroundTask
from starlette.responses import StreamingResponse

from app.errors import ShopError
from app.models import now
from app.pages.admission import PageDep, PageRouter
from app.services import board_versions

router = PageRouter()
MEDIA_TYPE = "text/event-stream"
MOST_STREAMS = 200  # of one process
LOOKS_EVERY_S = 1.0
BEATS_EVERY_S = 15.0  # proxies cut a connection on which nothing came for a minute
LASTS_S = 300.0
_HEADERS = {"X-Accel-Buffering": "no", "Cache-Control": "no-store"}


class TooManyStreamsError(ShopError):
    """So many screens listen already that this one asks again later."""

    status = 503
    retry_after_s = 30


@dataclass(eq=False)
class BoardNews:
    """The version of the board that one app knows, and who waits for the next."""

    app: FastAPI
    version: int = 0
    listening: int = 0
    is_closing: bool = False
    looks_every_s: float = LOOKS_EVERY_S
    beats_every_s: float = BEATS_EVERY_S
    lasts_s: float = LASTS_S
    _seen: int = -1  # last line of history read
    _cured: tuple[int, int] = (0, 0)
    _risen: Event = field(default_factory=Event)
    _lane: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(1))  # never one of the pages' own
    _beginning: Lock = field(default_factory=Lock)
    _task: asyncio.Task[None] | None = None

    async def listen(self) -> AsyncGenerator[str, None]:
        """Yields an event at once and at each rise of the version, and a beat now and then, until the time is over."""
        self.listening += 1
        try:
            await self._begin_watching()
            loop, sent = asyncio.get_running_loop(), -1
            ends = loop.time() + self.lasts_s
            while not self.is_closing and loop.time() < ends:
                if sent != self.version:
                    sent = self.version
                    yield write_event(sent)
                    continue
                risen, before = self._risen, loop.time()
                with move_on_after(min(self.beats_every_s, ends - before)):
                    await risen.wait()
                if not risen.is_set() and not self.is_closing and loop.time() < ends:
                    yield ": beat\n\n"
        finally:
            self.listening -= 1
            if not self.listening and self._task:
                self._task.cancel()
                self._task = None

    def close(self) -> None:
        """Ends every stream: called when the server stops, from a signal's handler."""
        self.is_closing = True

    async def _begin_watching(self) -> None:
        """Looks where the history ends before the first event is sent: what comes later is news."""
        async with self._beginning:
            if self._task is None or self._task.done():
                self._seen = -1
                await self._look()
                self._task = asyncio.create_task(self._watch())

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(self.looks_every_s)
            if self.is_closing:
                self._rise()
                return
            await self._look()

    async def _look(self) -> None:
        """Raises the version if there is news; a fault of the database is told by pages, and looked past here."""
        with suppress(SQLAlchemyError):
            if await to_thread.run_sync(self._has_news, limiter=self._lane):
                self.version += 1
                self._rise()

    def _rise(self) -> None:
        risen, self._risen = self._risen, Event()
        risen.set()

    def _has_news(self) -> bool:
        state = self.app.state
        with state.sessions(bind=state.reader) as session:
            if self._seen < 0:
                self._seen = board_versions.read_newest(session)
            news = board_versions.read_news(session, self._seen, now())
        is_new = news.is_relevant or news.cured != self._cured
        self._seen, self._cured = news.last_id, news.cured
        return is_new


def write_event(version: int) -> str:
    """One event as the standard writes it (WHATWG HTML, server-sent events)."""
    return f"retry: 1000\nid: {version}\ndata: board\n\n"


async def _do_nothing() -> None:
    """Stands where admission would write at a stream's end that the browser was seen: each refresh notes that."""


@router.get("/board/events")
def stream_events(page: PageDep) -> Response:
    """A stream for whoever asks for one; any other request gets one event and an end."""
    news: BoardNews = page.request.app.state.board
    if MEDIA_TYPE not in page.request.headers.get("accept", ""):
        return Response(write_event(news.version), media_type=MEDIA_TYPE, headers=_HEADERS)
    if news.listening >= MOST_STREAMS or news.is_closing:
        raise TooManyStreamsError("Too many screens listen for changes. This one will ask again.")
    return StreamingResponse(
        news.listen(), media_type=MEDIA_TYPE, headers=_HEADERS, background=BackgroundTask(_do_nothing)
    )
