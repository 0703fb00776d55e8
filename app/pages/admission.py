"""Admits requests to pages, and runs each page's handler in one thread and one transaction.

A page runs in one thread: session, admission, handler, commit. Python computes in one thread at a time, so only a few
reading pages run at once; writes, sign-ins, PDFs and health checks have limits of their own, so a blocked write delays
none of the others. The time a browser was last seen is stored after the response, at most every five minutes, and not
while another request writes.
"""

from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from functools import cached_property, wraps
from inspect import Parameter, signature
from typing import Annotated, Any, TypeVar

from anyio import fail_after, sleep, to_thread
from fastapi import APIRouter, Depends, HTTPException, Path, Query, Request
from fastapi.responses import Response
from fastapi.routing import APIRoute
from sqlalchemy.exc import DBAPIError
from starlette.background import BackgroundTask
from starlette.datastructures import UploadFile
from starlette.routing import Match
from starlette.types import Scope

from app.access import COUNTER, DRILLER, OPEN, OWNER, Actor, needed_role, role_here
from app.db import AT_ONCE, transaction
from app.errors import InvalidError, NotAllowedError, SignedOutError, TooManyTriesError
from app.models import Staff
from app.pages.lanes import KEEPS_PHOTO, KEEPS_PICTURES, Lanes
from app.pages.render import SAFE_METHODS, Page, name_session_cookie
from app.photos.opening import MOST_PICTURE_BYTES
from app.prepared import AnyAsked
from app.schemas.forms import LARGEST_ID, read_id
from app.services import photos, rules, sign_ins
from app.services.paper_pictures import MOST_AT_ONCE
from app.services.sent_forms import FormKey
from app.settings import Settings

H = TypeVar("H", bound=Callable[..., Response])
_LONGEST_FIELD = 20_000
LARGEST_FORM = 256 * 1024  # bytes, without a photo
_PHOTO_TAKES_S = 60
_MANY_ESCAPES = 10_000  # in a form: decoding them blocks all pages for about 10 ms
_REST_S = 0.5


async def read_posted(request: Request) -> dict[str, str]:
    """Returns the text fields of a posted form, read once; of another content type none: validation refuses it."""
    if request.method in SAFE_METHODS:
        return {}
    if not hasattr(request.state, "posted"):
        request.state.posted = await _read_posted(request)
    fields: dict[str, str] = request.state.posted
    return fields


async def _read_posted(request: Request) -> dict[str, str]:
    if not _is_large(request):
        fields = await _read_form(request)
        await _clean_photo(request)
        return fields
    if not request.cookies.get(name_session_cookie(request)):
        raise SignedOutError()
    async with request.app.state.lanes.large_bodies:
        try:
            with fail_after(_PHOTO_TAKES_S):
                fields = await _read_form(request)
        except TimeoutError:
            raise HTTPException(408, "The photo came too slowly. Send it again, or leave it out.") from None
        await _clean_photo(request)  # here, so that few large pictures are held at once
        return fields


async def _clean_photo(request: Request) -> None:
    """Makes a photo that is to be kept anew, before the transaction begins: other writers would wait for it."""
    if request.scope["route"].name == KEEPS_PHOTO and request.state.photo:
        lane = request.app.state.lanes.pictures
        request.state.photo = await to_thread.run_sync(_clean_for, request, request.state.photo, limiter=lane)


def _clean_for(request: Request, data: bytes) -> photos.Sent:
    """Returns what is made of a photo; of a browser that nobody has signed in nothing is decoded."""
    state, token = request.app.state, request.cookies.get(name_session_cookie(request), "")
    with state.sessions(bind=state.reader) as session:
        found = sign_ins.find_present(session, token, state.settings.sign_in_lifetime) if token else None
    return photos.clean_sent(data) if found else b""


def _is_large(request: Request) -> bool:
    """Whether a body may be larger than a form without a photo: few are read at once, of signed-in browsers."""
    length = request.headers.get("content-length", "0")
    is_known = length.isdecimal() and "transfer-encoding" not in request.headers
    return not is_known or int(length) > LARGEST_FORM


async def _read_form(request: Request) -> dict[str, str]:
    """Returns the fields of a form; forms with many escapes are decoded one at a time, with a pause after each."""
    if request.headers.get("content-type", "").startswith("multipart/"):
        return await _read_fields(request)
    raw = await request.body()
    if len(raw) > LARGEST_FORM:
        raise HTTPException(413, "That is too much for a form without a photo.")
    if raw.count(b"%") < _MANY_ESCAPES:
        return await _read_fields(request)
    async with request.app.state.lanes.escaped_forms:
        fields = await _read_fields(request)
        await sleep(_REST_S)
        return fields


async def _read_fields(request: Request) -> dict[str, str]:
    most = MOST_AT_ONCE if request.scope["route"].name == KEEPS_PICTURES else 1
    async with request.form(max_files=most, max_fields=260) as form:
        sent = form.get("photo")
        request.state.photo = await sent.read(MOST_PICTURE_BYTES + 1) if isinstance(sent, UploadFile) else b""
        file = form.get("file")
        request.state.file = (file.filename or "", await file.read()) if isinstance(file, UploadFile) else ("", b"")
        request.state.pictures = [
            (each.filename or "", await each.read(MOST_PICTURE_BYTES + 1))
            for each in form.getlist("pictures")
            if isinstance(each, UploadFile) and each.size
        ]
        fields = {n: v.replace("\0", "")[:_LONGEST_FIELD] for n, v in form.items() if isinstance(v, str)}
    request.state.posted = fields  # for the page of a fault, from which they can be sent again
    return fields


async def read_photo(request: Request, _fields: "Posted") -> bytes:
    """Returns the photo posted with a form; empty without one."""
    return bytes(request.state.photo)


async def read_picture(request: Request, _fields: "Posted") -> photos.Sent:
    """Returns what was made of the photo posted with a form; empty without one."""
    made: photos.Sent = request.state.photo
    return made


async def read_file(request: Request, _fields: "Posted") -> tuple[str, bytes]:
    """Returns name and content of the file posted with a form; empty without one."""
    name, data = request.state.file
    return str(name), bytes(data)


async def read_pictures(request: Request, _fields: "Posted") -> list[tuple[str, bytes]]:
    """Returns name and content of each picture posted with a form of several."""
    return list(request.state.pictures)


class PageRoute(APIRoute):
    """A route whose handler runs after admission and before the commit, in one thread and one transaction."""

    def __init__(self, path: str, endpoint: Callable[..., Response], **options: Any) -> None:
        super().__init__(path, _admit_route(endpoint), **options)


class PageRouter(APIRouter):
    """Routes of page handlers. A path that begins with a word of none of them is passed by without trying each."""

    def __init__(self, prefix: str = "") -> None:
        super().__init__(prefix=prefix, route_class=PageRoute)

    @cached_property
    def first_words(self) -> set[str]:
        """The first words of the paths, which are never parameters."""
        return {route.path.split("/")[1] for route in self.routes if isinstance(route, APIRoute)}

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        if scope["path"].partition("/")[2].partition("/")[0] not in self.first_words:
            return Match.NONE, {}
        return super().matches(scope)


def asks_first(ask: Callable[..., Sequence[AnyAsked]]) -> Callable[[H], H]:
    """Sends a page's first queries with the one that admits, in one round trip, as `page.asked_first`.

    `ask` returns them for the handler's parameters. Of a sign-in that has ended nothing is shown.
    """

    def mark(handler: H) -> H:
        setattr(handler, "ask_first", ask)  # noqa: B010 - read by `_admit_route`
        return handler

    return mark


def _admit_route(handler: Callable[..., Response]) -> Callable[..., Awaitable[Response]]:
    """Returns the handler's route, which makes its page: FastAPI would take longer to do so by a dependency."""
    ask_first = getattr(handler, "ask_first", None)

    def handle(page: Page, values: dict[str, Any]) -> Response:
        page.asked_first = ask_first(page, **values) if ask_first else ()
        with transaction(page.request) as page.session:
            admit(page)
            return handler(page, **values)

    @wraps(handler)
    async def answer(request: Request, **values: Any) -> Response:
        page = Page(request, await read_posted(request))
        lanes: Lanes = request.app.state.lanes
        made = await to_thread.run_sync(handle, page, values, limiter=lanes.of(request))
        if page.is_seen_long_ago and made.background is None:
            made.background = BackgroundTask(_note_seen, page)
        return made

    own = signature(handler)
    _page, *others = own.parameters.values()
    of_request = Parameter("request", Parameter.POSITIONAL_OR_KEYWORD, annotation=Request)
    setattr(answer, "__signature__", own.replace(parameters=[of_request, *others]))  # noqa: B010 - read by FastAPI
    return answer


def admit(page: Page) -> None:
    """Finds who uses this browser and checks that they may call this route; runs before every page's handler."""
    request, session = page.request, page.session
    if request.scope["route"].path in OPEN:
        return
    settings: Settings = request.app.state.settings
    token = request.cookies.get(name_session_cookie(request), "")
    found = sign_ins.find_present(session, token, settings.sign_in_lifetime, *page.asked_first) if token else None
    if found is None:
        raise SignedOutError(page.posted)
    page.signed_in = found
    is_write = request.method not in SAFE_METHODS
    if is_write:
        _act_by_pin(page)
    page.is_seen_long_ago = sign_ins.is_seen_long_ago(found, settings.sign_in_lifetime)
    if is_write and not page.refusal and page.is_seen_long_ago:
        sign_ins.mark_seen(session, found)
        page.is_seen_long_ago = False
    me = page.me()
    needed = needed_role(request.method, request.scope["route"].path)
    own_only = is_write and bool(rules.get_rule(session, rules.OWN_SHOP_ONLY))
    actor = Actor(me.staff_id, me.shop_id, role_here(me.role, me.is_full), own_only)
    session.info.update(actor=actor, shop_id=actor.shop_id)
    if not actor.is_at_least(needed) and (needed == OWNER or not page.refusal):
        by_pin = me.role == OWNER
        words = "Sign in with your password for this." if by_pin else f"That is for the {needed} to do."
        raise NotAllowedError(words, page.posted)
    if is_write:
        page.key = FormKey(f"person {me.staff_id}", request.url.path, page.posted.get("key", "")[:80])
        page.refuse_sent_already()


def _act_by_pin(page: Page) -> None:
    """Switches this browser to the person whose initials and PIN are on the form.

    A tick that was sent late carries a pass instead of the PIN; it counts for this one request.
    """
    chosen = read_id(page.posted.get("who", ""))
    found = page.me()
    if chosen is None or chosen == found.staff_id:
        return
    route, token = page.request.scope["route"].path, page.posted.get("pass", "")
    if token and route.endswith("/tick"):
        drilling_id = int(page.request.path_params["drilling_id"])
        by_pass = sign_ins.find_present_by_pass(page.session, found, chosen, token, drilling_id)
        if by_pass:
            page.signed_in = by_pass
            return
    person = page.session.get(Staff, chosen)
    needed = needed_role(page.request.method, route)
    if needed == DRILLER and person and person.role == COUNTER and person.shop_id == found.shop_id:
        words = f"{person.initials} may not do this: it is for the {needed} to do."
        page.refusal = InvalidError.at("who", words)  # without switching: who drills here goes on
        page.session.info["is_refused"] = True
        return
    try:
        page.signed_in = sign_ins.switch(page.session, found, chosen, page.posted.get("pin", ""))
    except (InvalidError, TooManyTriesError) as error:
        page.refusal = error
        page.session.info["is_refused"] = True
    except SignedOutError:
        raise SignedOutError(page.posted) from None


async def _note_seen(page: Page) -> None:
    """Stores, after the response, that the browser is in use; does nothing while another request writes."""
    lane = page.request.app.state.lanes.noting
    if not lane.available_tokens:
        return
    with suppress(DBAPIError):
        await to_thread.run_sync(_mark_seen, page, limiter=lane)


def _mark_seen(page: Page) -> None:
    with page.request.app.state.sessions() as own:
        own.connection(execution_options=AT_ONCE)
        sign_ins.mark_seen(own, page.me())
        own.commit()


QueryId = Annotated[int, Query(ge=1, le=LARGEST_ID)]
RecordId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
PostedPhoto = Annotated[bytes, Depends(read_photo)]
PostedPicture = Annotated[photos.Sent, Depends(read_picture)]
PostedPictures = Annotated[list[tuple[str, bytes]], Depends(read_pictures)]
PostedFile = Annotated[tuple[str, bytes], Depends(read_file)]
PageDep = Page  # a handler's first parameter
Posted = Annotated[dict[str, str], Depends(read_posted)]
