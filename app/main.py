"""Puts the app together: database, pages, API, static files, and what is refused."""

from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.orm.exc import StaleDataError
from starlette.exceptions import HTTPException

from app.api import calc
from app.calculation.errors import CannotBuildError
from app.db import open_engine, sessions
from app.errors import ShopError
from app.pages import (
    balls,
    bench,
    bits,
    bowlers,
    counter,
    drillings,
    fits,
    intake,
    prints,
    shops,
    studies,
    systems,
    troubles,
    visitors,
)
from app.pages.render import templates
from app.settings import ROOT, Settings

PAGES = (
    counter,
    bowlers,
    fits,
    balls,
    drillings,
    bench,
    prints,
    systems,
    shops,
    visitors,
    intake,
    bits,
    studies,
    troubles,
)
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
        "frame-ancestors 'none'; form-action 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}
_SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
_STATELESS = "/api/v1/calc/"


def create_app(settings: Settings) -> FastAPI:
    """The app on the database of these settings, whose tables are already up to date."""
    engine = open_engine(settings.url)

    @asynccontextmanager
    async def lifespan(_: FastAPI):  # type: ignore[no-untyped-def]
        yield
        engine.dispose()

    app = FastAPI(title="Spanbook", version="1", docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.sessions = sessions(engine)
    app.state.engine = engine
    app.middleware("http")(_guard)
    for page in PAGES:
        app.include_router(page.router, include_in_schema=False)
    app.include_router(calc.router)
    app.mount("/static", StaticFiles(directory=ROOT / "static"), name="static")
    app.add_exception_handler(ShopError, _refused)
    app.add_exception_handler(CannotBuildError, _cannot_build)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(StaleDataError, _stale)
    app.add_exception_handler(IntegrityError, _refers_to_nothing)
    app.add_exception_handler(OperationalError, _database_busy)
    return app


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuses writes that another site's page sends, and adds the security headers."""
    if request.method not in _SAFE_METHODS and not request.url.path.startswith(_STATELESS) and _is_foreign(request):
        answer: Response = _answer(request, 403, "That form came from another site, so nothing was saved.")
    else:
        answer = await call_next(request)
    for name, value in _HEADERS.items():
        answer.headers.setdefault(name, value)
    return answer


def _is_foreign(request: Request) -> bool:
    """Plain http on a shop's network brings no Sec-Fetch-Site, so then the Origin has to be our own host."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site not in {"same-origin", "none"}
    origin = request.headers.get("origin", "")
    return origin.partition("://")[2] != request.headers.get("host", "")


def _answer(request: Request, status: int, message: str, detail: Any = None) -> Response:
    """Words for people on a page; the same words as JSON under /api."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": detail or message}, status)
    return HTMLResponse(templates.get_template("error.html").render(status=status, message=message), status)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, ShopError)
    fields = [{"loc": ["query", name], "msg": f.message, "type": "refused"} for name, f in error.fields.items()]
    return _answer(request, error.status, error.message, fields)


def _cannot_build(request: Request, error: Exception) -> Response:
    assert isinstance(error, CannotBuildError)
    place = ["body", *error.field.split(".")]
    return _answer(request, 422, error.message, [{"loc": place, "msg": error.message, "type": "cannot_build"}])


def _not_valid(request: Request, error: Exception) -> Response:
    """Without the input: it may hold numbers such as NaN that JSON cannot send back."""
    assert isinstance(error, RequestValidationError)
    if not request.url.path.startswith("/api/"):
        return _answer(request, 404, "There is no such page.")
    return JSONResponse({"detail": [{k: e[k] for k in ("loc", "msg", "type")} for e in error.errors()]}, 422)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "That cannot be done at this address."}
    answer = _answer(request, error.status_code, words.get(error.status_code, str(error.detail)))
    answer.headers.update(error.headers or {})
    return answer


def _stale(request: Request, _error: Exception) -> Response:
    return _answer(request, 409, "Somebody else saved this record a moment earlier. Go back, reload, and look again.")


def _refers_to_nothing(request: Request, _error: Exception) -> Response:
    """The net under the services' own checks: a foreign key or a unique name that went meanwhile."""
    return _answer(request, 409, "That refers to a record that is gone, or that exists already. Nothing was saved.")


def _database_busy(request: Request, _error: Exception) -> Response:
    return _answer(request, 503, "The database did not answer. Nothing was saved; try again in a moment.")
