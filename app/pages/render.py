"""Responses of pages: templates, refused forms, redirects. No other code knows htmx."""

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from app.access import OPEN, Actor, needed_role
from app.errors import (
    AlreadySentError,
    ConflictError,
    ShopError,
    SignedOutError,
)
from app.models import Staff
from app.pages.environment import templates
from app.pages.forms import Forms
from app.prepared import AnyAsked
from app.schemas.forms import Form
from app.services import backups, sent_forms, shops
from app.services.sent_forms import FormKey
from app.services.sign_ins import Present

F = TypeVar("F", bound=Form)
Shown = dict[str, Any]  # what a template shows, by name
NO_KEY = FormKey("", "", "")
_SECRETS = {"password", "present", "pin", "code", "paper", "who"}  # of forms: a page never shows them again
_UNSHOWN = _SECRETS | {"version", "key", "hand", "hole", "return_to"}
_RETURNS = {
    "the balance": r"/drillings/\d+/balance(\?[\w=&%+.-]*)?",
    "the layout": r"/balls/\d+/layout",
}  # pages led back to
_FAULT = 500  # answers from here on are not the fault of who sent the form
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}


@dataclass(frozen=True)
class Tip:
    """One thing to try in the demo: where it begins, and what to look for there."""

    href: str
    words: str
    look: str


@dataclass(frozen=True)
class Demo:
    """A shop that is thrown away: who its visitor is signed in as, and the PIN of everybody in it."""

    staff_id: int
    pin: str
    tips: tuple[Tip, ...] = ()


class Page:
    """Builds a page handler's response for the person who acts; `PageRoute` gives it its session."""

    session: Session

    def __init__(self, request: Request, posted: Mapping[str, str]) -> None:
        self.request = request
        self.posted = posted
        self.signed_in: Present | None = None
        self.key = NO_KEY  # of the form being saved
        self.is_seen_long_ago = False
        self.asked_first: Sequence[AnyAsked] = ()  # queries of the handler, fetched on admission
        self.refusal: ShopError | None = None  # a wrong PIN, told when the handler reads its form

    @property
    def is_fragment(self) -> bool:
        """Whether htmx requests a fragment of the page."""
        return self.request.headers.get("HX-Request") == "true"

    @property
    def actor(self) -> Actor | None:
        return self.session.info.get("actor")

    @property
    def address(self) -> str:
        return self.request.client.host if self.request.client else ""

    def me(self) -> Present:
        """Returns the person to whom this page is shown."""
        if self.signed_in is None:
            raise SignedOutError()
        return self.signed_in

    def describe_late_backup(self, looks: bool = True) -> str:
        """Returns an owner's warning about late backups; without `looks`, the last one known to the backup thread."""
        state = self.request.app.state
        if state.demo or not self.may("GET", "/backups"):
            return ""
        known: str = state.backup_thread.warning if state.backup_thread else ""
        return known or (backups.describe_lateness(state.settings) if looks else "")

    def read(self, form: type[F], posted: Mapping[str, Any]) -> F:
        """Parses the posted form, signed by the person who acts."""
        if self.refusal:
            raise self.refusal
        return form.read({**posted, "who": self.me().staff_id})

    def show(self, template: str, block: str = "", status: int = 200, **context: Any) -> HTMLResponse:
        """Renders the whole page, or one named block of it."""
        chosen = templates.get_template(template)
        own = self.signed_in.staff_id if self.signed_in else ""
        context = {"request": self.request, "values": {}, "errors": {}, "refused": "", "who": own} | context
        returns = self.find_return()
        back = returns[0] if returns else ""
        own_forms = context["values"], context["errors"], context["refused"], context["who"]
        forms = Forms(*own_forms, lambda: self.signers, return_to=back)
        context |= {"forms": forms, "typed": forms.of("")}
        if block:
            return HTMLResponse("".join(chosen.blocks[block](chosen.new_context(context))), status)
        shared: dict[str, object] = {
            "shop_name": self._shop_name(),
            "me": self.signed_in,
            "accent": (self.signed_in and self.signed_in.accent) or "petrol",
            "may": self.may,
            "demo": self.request.app.state.demo,
            "message": "",
            "version": "",
            "theirs": {},
            "theirs_prefix": "",
            "lost": {},
            "returns": returns,
        }
        return HTMLResponse(chosen.render(shared | context), status)

    def _shop_name(self) -> str:
        if self.signed_in and self.signed_in.shop_name:
            return self.signed_in.shop_name
        first = shops.get_our_shop(self.session)
        return first.name if first else "Spanbook"

    @cached_property
    def signers(self) -> list[Staff]:
        """Who can sign a form here: whoever acts, and those of the shop who have a PIN."""
        if self.signed_in is None:
            return []
        own = self.signed_in.staff_id
        return [person for person in shops.list_staff(self.session) if person.pin_hash or person.id == own]

    def may(self, method: str, path: str) -> bool:
        """Whether the one who acts may call a route, by its template: what they may not is not offered."""
        return self.actor is not None and self.actor.is_at_least(needed_role(method, path))

    def show_refused(
        self,
        error: ShopError,
        template: str,
        posted: Mapping[str, str],
        context: Callable[[], dict[str, Any]],
        refused: str = "",
    ) -> HTMLResponse:
        """Renders the refused form with the typed values and the errors; rolls the session back.

        Of several forms on a page, `refused` is the one that its template calls by that name. Where somebody else saved
        first, their values stand beside the typed ones, and the form carries their version.
        """
        self.session.rollback()
        made = context()
        shown: dict[str, Any] = {
            "values": posted,
            "errors": error.fields,
            "message": error.message,
            "refused": refused,
            "who": posted.get("who", ""),
        }
        if isinstance(error, ConflictError):
            shown["theirs"] = _read_theirs(made.get("saved") or made.get("values") or {}, posted)
            shown["theirs_prefix"] = made.get("prefix", "")
        else:
            made["version"] = posted.get("version", made.get("version", ""))
        answer = self.show(template, status=error.status, **(made | shown))
        if isinstance(error, ConflictError) and (lost := _list_lost(posted, str(answer.body, "utf-8"))):
            return self.show(template, status=error.status, **(made | shown | {"lost": lost}))
        return answer

    def find_return(self) -> tuple[str, str] | None:
        """Returns the address and the name of the page that led here, if it is one that is led back to."""
        asked = self.posted.get("return_to") or self.request.query_params.get("return_to") or ""
        return next(((asked, name) for name, shape in _RETURNS.items() if re.fullmatch(shape, asked, re.ASCII)), None)

    def show_picture(self, data: bytes, media_type: str) -> Response:
        """Sends a picture that the browser asks for anew each time, as the person may be erased: 304 if it has it."""
        tag = f'"{hashlib.sha256(data).hexdigest()[:32]}"'
        headers = {"Cache-Control": "private, no-cache", "ETag": tag}
        if tag in self.request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(data, media_type=media_type, headers=headers)

    def redirect(self, url: str) -> Response:
        """Redirects the browser after a save, to a page that leads on to where this one was come from."""
        returns = self.find_return()
        if returns:
            url += f"{'&' if '?' in url else '?'}{urlencode({'return_to': returns[0]})}"
        self.remember(url)
        return RedirectResponse(url, 303)

    def refuse_sent_already(self) -> None:
        """Raises AlreadySentError if this form was saved: asked on admission, and in each transaction after it."""
        location = sent_forms.find_location(self.session, self.key)
        if location is not None:
            raise AlreadySentError(location)

    def remember(self, url: str) -> None:
        """Stores that this form was saved: sent again, it redirects to `url` and saves nothing."""
        sent_forms.remember(self.session, self.key, url)
        self.key = NO_KEY

    def keep_signed_in(self, answer: Response, token: str) -> Response:
        """Sets the browser's session cookie."""
        answer.set_cookie(
            name_session_cookie(self.request),
            token,
            httponly=True,
            samesite="lax",
            secure=self.request.url.scheme == "https",
            path="/",
        )
        return answer


def _read_theirs(saved: Mapping[str, Any], posted: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    """Returns (saved, typed) of every field in which a record saved meanwhile differs from the typed form."""
    texts = {name: "" if value is None else str(value) for name, value in saved.items()}
    pairs = {name: (text, posted[name]) for name, text in texts.items() if name in posted}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def _list_lost(posted: Mapping[str, str], html: str) -> dict[str, str]:
    """Returns the texts typed into fields that the page no longer shows, because the record has moved on."""
    shown = set(re.findall(r'name="([^"]+)"', html))
    return {name: text for name, text in posted.items() if text.strip() and name not in shown | _UNSHOWN}


def name_session_cookie(request: Request) -> str:
    """Returns the cookie's name; over https its prefix makes browsers refuse it from another host."""
    return "__Host-spanbook" if request.scope["scheme"] == "https" else "spanbook"


def keep_typed(
    request: Request, status: int, message: str, fields: Mapping[str, str], by_another: bool = True
) -> HTMLResponse:
    """What was typed is kept on the page, to be sent again: `by_another`, who has signed in or may; or as it was."""
    unkept = _SECRETS if by_another else _SECRETS - {"who"}
    kept = {name: value for name, value in fields.items() if name not in unkept}
    words = {"kept": kept, "path": request.url.path, "message": message, "by_another": by_another}
    words |= {"request": request, "request_id": request.scope["state"]["request_id"]}
    return HTMLResponse(templates.get_template("people/kept.html").render(words), status)


def tell(request: Request, status: int, message: str, again: bool = False) -> HTMLResponse:
    """A page of one sentence. After a fault of ours, or `again`, it keeps the form: browsers forget what was typed."""
    typed = request.scope["state"].get("posted")
    if typed and (again or status >= _FAULT) and request.url.path not in OPEN:
        return keep_typed(request, status, message, typed, by_another=False)
    words = {"status": status, "message": message, "request_id": request.scope["state"]["request_id"]}
    return HTMLResponse(templates.get_template("error.html").render(words), status)
