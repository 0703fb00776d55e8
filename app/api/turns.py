"""Limits what calculations may cost: small bodies, few callers at a time, and own threads, so that pages never wait.

Callers need not be signed in, so the cost of a call is bounded before anything is parsed or calculated.
"""

import json
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine
from contextlib import asynccontextmanager
from email.message import Message
from itertools import islice
from typing import Any, get_type_hints

from anyio import CapacityLimiter, WouldBlock, fail_after, sleep, to_thread
from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel, ValidationError

from app.db import READ_ONLY
from app.errors import TooManyCallsError
from app.pages.render import name_session_cookie
from app.services import sign_ins, tokens

LARGEST_BODY = 64 * 1024
MOST_PROBLEMS = 20  # reported for one body
STRANGERS_AT_ONCE, THREADS = 2, 3  # one thread is left for callers who are signed in
MOST_WAITING, PATIENCE_S = 200, 10.0
_MOST_KEYS = 200  # of one JSON object; no calculation takes half as many
_MOST_ITEMS = 1_001  # of one JSON list: one more than a calculation takes, so that the list is refused as too long
_REST_S = 0.1  # how much longer a body with very many errors keeps its turn


class Turns:
    """Slots for calculations; callers who are not signed in share one queue."""

    def __init__(self) -> None:
        self.strangers = CapacityLimiter(STRANGERS_AT_ONCE)
        self.threads = CapacityLimiter(THREADS)

    @asynccontextmanager
    async def take(self, request: Request) -> AsyncIterator[None]:
        """Waits for a slot; raises TooManyCallsError if the queue is too long or does not move.

        The caller is looked up only if there is a queue, so most calculations send no query.
        """
        token = object()
        try:
            self.strangers.acquire_on_behalf_of_nowait(token)
        except WouldBlock:
            if await to_thread.run_sync(_is_signed_in, request, limiter=self.threads):
                yield
                return
            await self._wait(token)
        try:
            yield
        finally:
            self.strangers.release_on_behalf_of(token)

    async def _wait(self, token: object) -> None:
        if self.strangers.statistics().tasks_waiting >= MOST_WAITING:
            raise TooManyCallsError()
        try:
            with fail_after(PATIENCE_S):
                await self.strangers.acquire_on_behalf_of(token)
        except TimeoutError:
            raise TooManyCallsError() from None


def _is_signed_in(request: Request) -> bool:
    cookie = request.cookies.get(name_session_cookie(request), "")
    bearer = request.headers.get("authorization", "").removeprefix("Bearer ")
    if not cookie and not bearer:
        return False
    with request.app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        lifetime = request.app.state.settings.sign_in_lifetime
        if cookie and sign_ins.find_present(session, cookie, lifetime):
            return True
        return bool(bearer) and tokens.find_token(session, bearer) is not None


class CalculationRoute(APIRoute):
    """A route whose body is parsed, validated, calculated and serialised in one call of a thread."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        usual = super().get_route_handler()
        handler = self.endpoint
        body = get_type_hints(handler).get("body")

        async def answer(request: Request) -> Response:
            turns: Turns = request.app.state.turns
            raw = await request.body()  # read before taking a slot: a slow sender blocks nobody
            async with turns.take(request):
                if body is None:
                    return await usual(request)
                is_json = _is_json(request.headers.get("content-type", ""))
                work = to_thread.run_sync(_work_out, handler, body, raw, is_json, limiter=turns.threads)
                return await _delay_if_faulty(work)

        return answer


async def _delay_if_faulty(work: Awaitable[Response]) -> Response:
    """Awaits the response; a body with more errors than are reported keeps its slot for `_REST_S` longer."""
    try:
        return await work
    except RequestValidationError as error:
        if len(error.errors()) > MOST_PROBLEMS:
            await sleep(_REST_S)
        raise


def _work_out(handler: Callable[..., BaseModel], body: type[BaseModel], raw: bytes, is_json: bool) -> Response:
    asked = _read(raw) if is_json else raw
    try:
        checked = body.model_validate(asked)
    except ValidationError as error:
        told = error.errors(include_url=False, include_input=False, include_context=False)
        raise RequestValidationError([{**e, "loc": ("body", *e["loc"])} for e in told]) from None
    return Response(handler(checked).model_dump_json(), media_type="application/json")


def _read(raw: bytes) -> object:
    try:
        return _prune(json.loads(raw))
    except (ValueError, RecursionError):
        message = "JSON decode error" if raw else "Field required"
        kind = "json_invalid" if raw else "missing"
        raise RequestValidationError([{"type": kind, "loc": ("body",), "msg": message}]) from None


def _prune(value: object) -> object:
    """Drops keys and items beyond the limits; the rest is still too long for any calculation and is refused."""
    if isinstance(value, dict):
        return {key: _prune(part) for key, part in islice(value.items(), _MOST_KEYS)}
    return [_prune(part) for part in islice(value, _MOST_ITEMS)] if isinstance(value, list) else value


def _is_json(content_type: str) -> bool:
    said = Message()
    said["content-type"] = content_type
    return said.get_content_maintype() == "application" and said.get_content_subtype().split("+")[-1] == "json"
