"""How calculations are let in: small bodies, few callers at a time, and threads of their own, so that pages never wait.

Whoever calls need not be signed in, so what a call may cost is bounded before anything is parsed or worked out.
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
MOST_PROBLEMS = 20  # told of one body
STRANGERS_AT_ONCE, THREADS = 2, 3  # one thread is left for callers who are signed in
MOST_WAITING, PATIENCE_S = 200, 10.0
_MOST_KEYS = 200  # of one JSON object; no calculation takes nearly so many
_MOST_ITEMS = 1_001  # of one JSON list: one more than a calculation takes, so that the list is refused as too long
_REST_S = 0.1  # how long a body full of faults keeps its turn


class Turns:
    """Whose turn it is to calculate: callers who are not signed in stand in one line."""

    def __init__(self) -> None:
        self.strangers = CapacityLimiter(STRANGERS_AT_ONCE)
        self.threads = CapacityLimiter(THREADS)

    @asynccontextmanager
    async def turn(self, request: Request) -> AsyncIterator[None]:
        """Waits for a turn; TooManyCallsError where the line is too long or does not move.

        Who calls is looked up only where there is a line at all, so that a calculation usually asks no database.
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
    """A calculation's handler: its body is parsed, checked, worked out and written down in one hop to a thread."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        usual = super().get_route_handler()
        handler = self.endpoint
        body = get_type_hints(handler).get("body")

        async def answer(request: Request) -> Response:
            turns: Turns = request.app.state.turns
            raw = await request.body()  # whoever sends slowly keeps nobody waiting
            async with turns.turn(request):
                if body is None:
                    return await usual(request)
                is_json = _is_json(request.headers.get("content-type", ""))
                work = to_thread.run_sync(_work_out, handler, body, raw, is_json, limiter=turns.threads)
                return await _unhurried(work)

        return answer


async def _unhurried(work: Awaitable[Response]) -> Response:
    """The answer; a body that has more faults than are told keeps its turn a moment longer."""
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
    """The body without what lies beyond so many keys of an object or items of a list: what is left is refused too."""
    if isinstance(value, dict):
        return {key: _prune(part) for key, part in islice(value.items(), _MOST_KEYS)}
    return [_prune(part) for part in islice(value, _MOST_ITEMS)] if isinstance(value, list) else value


def _is_json(content_type: str) -> bool:
    said = Message()
    said["content-type"] = content_type
    return said.get_content_maintype() == "application" and said.get_content_subtype().split("+")[-1] == "json"
