"""Puts the app together: database, pages, API, static files, and what is refused."""

import gc
import hashlib
import logging
from contextlib import asynccontextmanager
from mimetypes import guess_type
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlencode

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm.exc import StaleDataError
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import NotModifiedResponse
from starlette.types import Scope

from app import logs, queries
from app.api import calc, calc_balances, calc_layouts, health, records
from app.api.turns import LARGEST_BODY as LARGEST_CALL
from app.api.turns import MOST_PROBLEMS, Turns
from app.calculation.errors import CannotBuildError
from app.db import READ_ONLY, open_engine, sessions
from app.errors import AlreadySentError, NotAllowedError, ShopError, SignedOutError
from app.guards import Guard
from app.pages import people
from app.pages.admission import LARGEST_FORM
from app.pages.board_events import BoardNews
from app.pages.lanes import Lanes
from app.pages.registry import PAGES, WITH_PHOTO
from app.pages.render import SAFE_METHODS, Demo, keep_typed, tell
from app.queries import find_fault
from app.services import bowlers
from app.services.inbox_desks import InboxDesks
from app.services.sheet_runs import SheetRuns
from app.settings import ROOT, Settings

log = logging.getLogger("spanbook")
LARGEST_BODY = 26 * 1024 * 1024


def create_app(settings: Settings, demo: Demo | None = None) -> FastAPI:
    """The app on the database of these settings, whose tables are already up to date."""
    engine = open_engine(settings.url)
    queries.log_slow_queries(engine, settings.slow_query_ms)

    @asynccontextmanager
    async def lifespan(made: FastAPI):  # type: ignore[no-untyped-def]
        Thread(target=_read_words, args=(made,), daemon=True).start()
        Thread(target=made.state.sheet_runs.resume, args=(made.state.sessions,), daemon=True).start()
        yield
        made.state.sheet_runs.stop()
        engine.dispose()

    app = FastAPI(
        title="Spanbook", version="1", docs_url=None, redoc_url=None, lifespan=lifespan, max_body_size=LARGEST_BODY
    )
    app.state.sessions = sessions(engine)
    app.state.engine = engine
    app.state.reader = engine.execution_options(**READ_ONLY)
    app.state.settings = settings
    app.state.demo = demo
    app.state.backup_thread = None
    app.state.lanes = Lanes()
    app.state.turns = Turns()
    app.state.board, app.state.sheet_runs, app.state.inbox_desks = BoardNews(app), SheetRuns(settings.url), InboxDesks()
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(
        Guard, host_names=settings.host_names, refuse=_answer, broken=_answer_broken, largest_body=find_largest_body
    )
    for page in PAGES:
        largest = LARGEST_BODY if page in WITH_PHOTO else LARGEST_FORM
        app.include_router(page.router, include_in_schema=False, max_body_size=largest)
    app.include_router(health.router, include_in_schema=False)  # routes are tried in this order
    app.include_router(calc.router)
    app.include_router(calc_layouts.router)
    app.include_router(calc_balances.router)
    app.include_router(records.router)
    app.mount("/static", KeptFiles(directory=ROOT / "static"), name="static")
    _add_handlers(app)
    return app


def _add_handlers(app: FastAPI) -> None:
    """Answers each kind of error with its own page or JSON."""
    app.add_exception_handler(SignedOutError, _answer_signed_out)
    app.add_exception_handler(NotAllowedError, _answer_not_allowed)
    app.add_exception_handler(AlreadySentError, _answer_already_sent)
    app.add_exception_handler(ShopError, _answer_refused)
    app.add_exception_handler(CannotBuildError, _answer_cannot_build)
    app.add_exception_handler(RequestValidationError, _answer_not_valid)
    app.add_exception_handler(HTTPException, _answer_http)
    app.add_exception_handler(StaleDataError, _answer_stale)
    app.add_exception_handler(IntegrityError, _answer_dangling_reference)
    app.add_exception_handler(DBAPIError, _answer_database_fault)


def find_largest_body(path: str) -> int:
    """Bytes a request to this path may bring: only a photo needs many. One without a length is counted on its way."""
    if path.startswith("/api/"):
        return LARGEST_CALL
    return LARGEST_BODY if path.startswith(tuple(page.router.prefix for page in WITH_PHOTO)) else LARGEST_FORM


class KeptFiles(StaticFiles):
    """Files that templates name with the hash of their content: a browser that has one never asks for it again.

    They are few and held in memory, so that no thread has to be free before one can be sent.
    """

    def __init__(self, directory: Path) -> None:
        super().__init__(directory=directory)
        files = (path for path in directory.rglob("*") if path.is_file())
        self.held = {path.relative_to(directory).as_posix(): path.read_bytes() for path in files}

    async def get_response(self, path: str, scope: Scope) -> Response:
        name = Path(path).as_posix()
        if scope["method"] not in {"GET", "HEAD"} or name not in self.held:
            raise HTTPException(404 if scope["method"] in {"GET", "HEAD"} else 405)
        is_named_by_hash = scope.get("query_string", b"").startswith(b"v=")
        headers = {
            "Cache-Control": "public, max-age=31536000, immutable" if is_named_by_hash else "no-cache",
            "ETag": f'"{hashlib.sha256(self.held[name]).hexdigest()[:32]}"',
        }
        answer = Response(self.held[name], headers=headers, media_type=guess_type(name)[0])
        return (
            NotModifiedResponse(answer.headers)
            if self.is_not_modified(answer.headers, Headers(scope=scope))
            else answer
        )


def _read_words(app: FastAPI) -> None:
    """Reads the words bowlers are found by while the server already answers."""
    with app.state.sessions() as session:
        try:
            session.connection(execution_options=READ_ONLY)
            bowlers.prepare_search(session)
        except DBAPIError:
            log.warning("the search could not be prepared yet; the first one will be slower")
    gc.freeze()  # what stays for good need not be gone through again and again: that held pages up


def _answer_signed_out(request: Request, error: Exception) -> Response:
    """A page asks for the sign-in first; a form that was sent stays typed on the page that says so."""
    assert isinstance(error, SignedOutError)
    if request.url.path.startswith("/api/"):
        answer = _answer(request, 401, "A token is needed: Authorization: Bearer …")
        answer.headers["WWW-Authenticate"] = "Bearer"
        return answer
    if request.app.state.demo and request.method == "GET":
        return people.enter_demo(request)
    if request.headers.get("HX-Request"):
        return Response(status_code=401)  # the page decides: it may hold what somebody has typed
    if request.method in SAFE_METHODS:
        asked = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?{urlencode({'next': asked})}", 303)
    message = "You were signed out before this was saved"
    return keep_typed(request, 401, message, error.posted)


def _answer_not_allowed(request: Request, error: Exception) -> Response:
    """A form somebody may not send stays typed, for somebody who may."""
    assert isinstance(error, NotAllowedError)
    if not error.posted:
        return _answer_refused(request, error)
    return keep_typed(request, 403, error.message, error.posted)


def _answer_already_sent(_request: Request, error: Exception) -> Response:
    assert isinstance(error, AlreadySentError)
    return RedirectResponse(error.location, 303)


def _answer(request: Request, status: int, message: str, detail: Any = None) -> Response:
    """Words for people on a page; the same words as JSON under /api."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": detail or message}, status)
    return tell(request, status, message)


def _answer_refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, ShopError)
    fields = [{"loc": ["query", name], "msg": f.message, "type": "refused"} for name, f in error.fields.items()]
    answer = _answer(request, error.status, error.message, fields)
    if error.retry_after_s:
        answer.headers["Retry-After"] = str(error.retry_after_s)
    return answer


def _answer_cannot_build(request: Request, error: Exception) -> Response:
    assert isinstance(error, CannotBuildError)
    place = ["body", *error.field.split(".")]
    return _answer(request, 422, error.message, [{"loc": place, "msg": error.message, "type": "cannot_build"}])


def _answer_not_valid(request: Request, error: Exception) -> Response:
    """Without the input: it may hold numbers such as NaN that JSON cannot send back. Not more than anybody reads."""
    assert isinstance(error, RequestValidationError)
    if not request.url.path.startswith("/api/"):
        return _answer(request, 404, "There is no such page.")
    return JSONResponse(
        {"detail": [{k: e[k] for k in ("loc", "msg", "type")} for e in error.errors()[:MOST_PROBLEMS]]}, 422
    )


def _answer_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "That cannot be done at this address."}
    answer = _answer(request, error.status_code, words.get(error.status_code, str(error.detail)))
    answer.headers.update(error.headers or {})
    return answer


def _answer_stale(request: Request, _error: Exception) -> Response:
    return tell(request, 409, "Somebody else saved this record a moment earlier.", again=True)


def _answer_dangling_reference(request: Request, _error: Exception) -> Response:
    """The net under the services' own checks: a foreign key or a unique name that went meanwhile."""
    return _answer(request, 409, "That refers to a record that is gone, or that exists already. Nothing was saved.")


def _answer_database_fault(request: Request, error: Exception) -> Response:
    """Says what is wrong with the disk or the database, and the way on."""
    assert isinstance(error, DBAPIError)
    told = find_fault(error)
    if told is None:
        return _answer_broken(request, error)
    log.error("database", extra={"id": request.state.request_id, "database": told.name})
    answer = _answer(request, told.status, f"{told.words} {told.way_on}")
    if told.status == 503:
        answer.headers["Retry-After"] = "5"
    return answer


def _answer_broken(request: Request, error: Exception) -> Response:
    """Nobody sees what broke; the log does, under the same id, by the places in the code and not by the values."""
    log.error("broken", extra={"id": request.state.request_id} | logs.describe_place(error))
    return _answer(
        request, 500, "Something broke here, and nothing of this step was saved. Try again; nothing is lost."
    )
