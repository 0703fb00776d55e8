"""Middleware: checks host and origin of every request, and sets the headers of every response.

A form of another site is refused by Sec-Fetch-Site, or by Origin where plain http brings no such header. Cookies are
Secure and `__Host-` over https only, because browsers drop them otherwise.
"""

import ipaddress
import logging
import secrets
import time
from collections.abc import Callable
from functools import lru_cache
from urllib.parse import urlsplit

from anyio import sleep
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = logging.getLogger("spanbook.requests")

_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
        b"frame-ancestors 'none'; form-action 'self'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)
_OF_RECORDS = ((b"cache-control", b"no-store"),)  # keeps people's records out of shared caches
_OVER_HTTPS = (  # browsers accept these two over https only
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"strict-transport-security", b"max-age=31536000; includeSubDomains"),
)
_TOO_MUCH = {413, 429}
_DIGITS = 12  # of a length in bytes
_NO_NAME = "This server does not go by that name. Open it by its address in figures, or add the name to SPANBOOK_HOSTS."
_SLOWED_S = 0.25  # the refusal is delayed, so that a loop of too large requests costs little
_SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
_STATELESS = "/api/v1/calc/"  # stores nothing, so nothing can be forged
_BY_TOKEN = "/api/v1/"  # a browser never adds an API token to a request


class Guard:
    """Checks host and origin, assigns a request id, adds headers, and logs one line without names."""

    def __init__(
        self,
        app: ASGIApp,
        host_names: set[str],
        refuse: Callable[[Request, int, str], Response],
        broken: Callable[[Request, Exception], Response],
        largest_body: Callable[[str], int],
    ) -> None:
        self.app = app
        self.host_names = frozenset(host_names)
        self.refuse = refuse
        self.broken = broken
        self.largest_body = largest_body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self.app(scope, receive, send)
        request_id = secrets.token_hex(6)
        scope.setdefault("state", {})["request_id"] = request_id
        begun, status = time.perf_counter(), 0

        async def send_answer(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                _add_headers(scope, message, request_id)
                if status in _TOO_MUCH:
                    await sleep(_SLOWED_S)
            await send(message)

        try:
            refusal = self._refusal(scope)
            await (refusal or self.app)(scope, receive, send_answer)
        except Exception as error:
            answer = self.broken(Request(scope), error)
            if status:  # the response has started: no error page can be sent
                raise
            await answer(scope, receive, send_answer)
        finally:
            _log(scope, request_id, status, 1000 * (time.perf_counter() - begun))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if not _is_known(headers.get("host", ""), self.host_names):
            return self.refuse(Request(scope), 400, _NO_NAME)
        length = headers.get("content-length", "0")
        if length.isdecimal() and (len(length) > _DIGITS or int(length) > self.largest_body(scope["path"])):
            return self.refuse(Request(scope), 413, "That is larger than anything sent here may be. Nothing was saved.")
        is_write = scope["method"] not in _SAFE_METHODS
        if is_write and not _needs_no_origin(scope["path"], headers) and is_foreign(scope["scheme"], headers):
            return self.refuse(Request(scope), 403, "That form came from another site, so nothing was saved.")
        return None


@lru_cache(maxsize=1_000)
def _is_known(host: str, names: frozenset[str]) -> bool:
    """Whether the host is a name of ours or an IP address, which no foreign name server can point at us."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    if name in names:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _needs_no_origin(path: str, headers: Headers) -> bool:
    return path.startswith(_STATELESS) or (path.startswith(_BY_TOKEN) and "authorization" in headers)


def is_foreign(scheme: str, headers: Headers) -> bool:
    """Whether another site sent the request, by Sec-Fetch-Site, or by Origin over plain http, which lacks it."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in {"same-origin", "none"}
    return headers.get("origin", "") != f"{scheme}://{headers.get('host', '')}"


def _add_headers(scope: Scope, message: Message, request_id: str) -> None:
    """Adds ours to a response's headers where it has none of that name; as bytes, because each response gets them."""
    headers: list[tuple[bytes, bytes]] = message["headers"]
    known = {name for name, _ in headers}
    of_records = () if scope["path"].startswith("/static/") else _OF_RECORDS
    over_https = _OVER_HTTPS if scope["scheme"] == "https" else ()
    added = [header for header in (*_HEADERS, *of_records, *over_https) if header[0] not in known]
    message["headers"] = [*headers, *added, (b"x-request-id", request_id.encode())]


def _log(scope: Scope, request_id: str, status: int, ms: float) -> None:
    """Logs the route's template, never the URL, which may contain a name or a number."""
    route = getattr(scope.get("route"), "path", "static" if scope["path"].startswith("/static/") else "none")
    said = {"id": request_id, "method": scope["method"], "route": route, "status": status, "ms": round(ms, 1)}
    log.log(logging.ERROR if status >= 500 else logging.INFO, "request", extra=said)
