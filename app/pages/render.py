"""How pages answer: templates, forms shown again, redirects. The only code that knows htmx."""

import hashlib
import secrets
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cache, cached_property, partial
from typing import Any, TypeVar

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape
from sqlalchemy.orm import Session

from app.access import ROLES, Actor, needed_role
from app.calculation.units import millimetres
from app.errors import (
    ConflictError,
    ShopError,
    SignedOutError,
)
from app.measures.describe import described
from app.measures.wording import (
    clock_words,
    decimal,
    in_64ths,
    inches,
    inches_exactly,
    lateral_words,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
    vertical_words,
)
from app.models import Staff
from app.pages import pictures
from app.schemas.forms import Form
from app.services import backups, sent_forms, shops
from app.services.changes import field_words
from app.services.depths import DATUM_WORDS, OBTAINED
from app.services.sent_forms import FormKey
from app.services.sign_ins import Present
from app.settings import ROOT

F = TypeVar("F", bound=Form)
NO_KEY = FormKey("", "", "")
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}


def built_up(value: Fraction | float | None) -> Markup:
    """`3 ⁴⁷⁄₆₄` with its decimal small beside it; what is not known says so."""
    if value is None:
        return Markup('<span class="unknown">unknown</span>')
    near, sign, rest = inches(value).replace("−", "+ −").partition(" + ")
    shown = Markup(" ").join(_fraction(part) for part in near.split(" "))
    if sign:
        shown += Markup(' <span class="rest">{}</span>').format(rest if rest[0] == "−" else f"+ {rest}")
    return Markup('<span class="measure" title="{} mm">{}</span> <small class="decimal">{}</small>').format(
        f"{millimetres(value):.2f}", shown, decimal(value)
    )


def _fraction(part: str) -> Markup:
    top, stroke, bottom = part.partition("/")
    if not stroke:
        return escape(part)
    return Markup('<span class="fraction"><sup>{}</sup>⁄<sub>{}</sub></span>').format(top, bottom)


def local_time(moment: datetime) -> str:
    """A moment by this machine's clock."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


def local_day(moment: datetime) -> str:
    return moment.astimezone().strftime("%Y-%m-%d")


def held_words(value: Any) -> str:
    """A stored value to read: what was typed field by field, and what is nested only as a pointer to the file."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict) and not any(isinstance(part, dict | list) for part in value.values()):
        return "; ".join(f"{field_words(name)}: {part}" for name, part in value.items())
    if isinstance(value, list) and not any(isinstance(part, dict | list) for part in value):
        return ", ".join(str(part) for part in value)
    return "in the JSON file" if isinstance(value, dict | list) else str(value)


def device_words(agent: str) -> str:
    """What kind of device a browser says it runs on."""
    if "Tablet" in agent or "iPad" in agent:
        return "a tablet"
    return "a phone" if "Mobi" in agent else "a computer"


@cache
def static(name: str) -> str:
    """The address of a static file, with the hash of its content, so that browsers may keep it for good."""
    return f"/static/{name}?v={hashlib.sha256((ROOT / 'static' / name).read_bytes()).hexdigest()[:16]}"


def options(records: Iterable[Any], words: str = "name") -> list[tuple[int, str]]:
    """Records as choices of a select: (id, words)."""
    return [(record.id, getattr(record, words)) for record in records]


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(ROOT / "templates"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        inch=built_up,
        fraction=plain_fraction,
        inches=inches,
        with_decimal=inches_exactly,
        decimal=decimal,
        diff=in_64ths,
        vertical=vertical_words,
        lateral=lateral_words,
        clock=clock_words,
        when=local_time,
        day=local_day,
        field=field_words,
        exactly=Fraction,
        device=device_words,
        held=held_words,
    )
    made.globals.update(
        read_back=described,
        pitch_words=pitch_words,
        pitch_decimals=pitch_decimals,
        place_words=place_words,
        place_64ths=partial(place_words, length=inches),
        place_decimals=partial(place_words, length=decimal),
        options=options,
        fit_options=lambda fits: [(f.id, f"Fit {f.letter}, {f.hand} hand, {f.state}: {f.reason}") for f in fits],
        drilling_options=lambda made: [(d.id, f"{d.ball.label}, {d.state}, {local_day(d.planned_at)}") for d in made],
        kind_options=lambda kinds: [(name, kind.words) for name, kind in kinds.items()],
        bore_options=lambda bores: [
            (bore.id, ", ".join(filter(None, (label, system.label, bore.hand and f"{bore.hand} hand"))))
            for bore, label, system in bores
        ],
        arrow_path=pictures.arrow_path,
        wall_words=pictures.wall_words,
        static=static,
        form_key=lambda: secrets.token_urlsafe(16),
        roles=ROLES,
        datum_words=DATUM_WORDS,
        obtained_words=OBTAINED,
    )
    # a block rendered alone skips its page's imports, so macros are globals
    for name in ("form", "show", "benches", "printed", "plans"):
        made.globals[name] = made.get_template(f"macros/{name}.html").module
    return made


templates = _environment()


@dataclass(frozen=True)
class Demo:
    """A shop that is thrown away: who its visitor is signed in as, and the PIN of everybody in it."""

    staff_id: int
    pin: str


class Page:
    """What a page handler answers with, and on whose behalf; `PageRoute` gives it its session."""

    session: Session

    def __init__(self, request: Request, posted: Mapping[str, str]) -> None:
        self.request = request
        self.posted = posted
        self.signed_in: Present | None = None
        self.key = NO_KEY  # of the form being saved
        self.is_seen_long_ago = False
        self.refusal: ShopError | None = None  # a wrong PIN, told when the handler reads its form

    @property
    def is_fragment(self) -> bool:
        """Whether htmx asks for a piece of the page."""
        return self.request.headers.get("HX-Request") == "true"

    @property
    def actor(self) -> Actor | None:
        return self.session.info.get("actor")

    @property
    def address(self) -> str:
        return self.request.client.host if self.request.client else ""

    def me(self) -> Present:
        """Who this page is shown to."""
        if self.signed_in is None:
            raise SignedOutError()
        return self.signed_in

    def copies_late(self, looks: bool = True) -> str:
        """What an owner is told of copies that are too old; unless it `looks` into the folder, what is known."""
        state = self.request.app.state
        if state.demo or not self.may("GET", "/backups"):
            return ""
        known: str = state.copier.trouble if state.copier else ""
        return known or (backups.lateness(state.settings) if looks else "")

    def read(self, form: type[F], posted: Mapping[str, Any]) -> F:
        """The posted form, signed by whoever acts."""
        if self.refusal:
            raise self.refusal
        return form.read({**posted, "who": self.me().staff_id})

    def show(self, template: str, block: str = "", status: int = 200, **context: Any) -> HTMLResponse:
        """The whole page, or one named block of it alone."""
        chosen = templates.get_template(template)
        if block:
            inside = chosen.new_context({"request": self.request, "values": {}, "errors": {}, **context})
            return HTMLResponse("".join(chosen.blocks[block](inside)), status)
        shared: dict[str, Any] = {
            "request": self.request,
            "shop_name": self._shop_name(),
            "staff": lambda: self.signers,
            "me": self.signed_in,
            "may": self.may,
            "who": self.signed_in.staff_id if self.signed_in else "",
            "demo": self.request.app.state.demo,
            "values": {},
            "errors": {},
            "message": "",
            "version": "",
            "theirs": {},
            "theirs_prefix": "",
        }
        return HTMLResponse(chosen.render(shared | context), status)

    def _shop_name(self) -> str:
        if self.signed_in and self.signed_in.shop_name:
            return self.signed_in.shop_name
        first = shops.our_shop(self.session)
        return first.name if first else "Spanbook"

    @cached_property
    def signers(self) -> list[Staff]:
        """Who can sign a form here: whoever acts, and those of the shop who have a PIN."""
        if self.signed_in is None:
            return []
        own = self.signed_in.staff_id
        return [person for person in shops.staff(self.session) if person.pin_hash or person.id == own]

    def may(self, method: str, path: str) -> bool:
        """Whether the one who acts may call a route, by its template: what they may not is not offered."""
        return self.actor is not None and self.actor.is_at_least(needed_role(method, path))

    def again(
        self,
        error: ShopError,
        template: str,
        posted: Mapping[str, str],
        context: Callable[[], dict[str, Any]],
    ) -> HTMLResponse:
        """The same form with what was typed and what is wrong; nothing of the attempt is kept.

        Where somebody else saved first, their values stand beside the typed ones, and the form carries their version.
        """
        self.session.rollback()
        made = context()
        shown: dict[str, Any] = {
            "values": posted,
            "errors": error.fields,
            "message": error.message,
            "who": posted.get("who", ""),
        }
        if isinstance(error, ConflictError):
            shown["theirs"] = _theirs(made.get("saved") or made.get("values") or {}, posted)
            shown["theirs_prefix"] = made.get("prefix", "")
        else:
            made["version"] = posted.get("version", made.get("version", ""))
        return self.show(template, status=error.status, **(made | shown))

    def go(self, url: str) -> Response:
        """Sends the browser on after a save."""
        self.remember(url)
        return RedirectResponse(url, 303)

    def remember(self, url: str) -> None:
        """Notes that this form was saved: sent again, it leads to `url` and saves nothing."""
        sent_forms.remember(self.session, self.key, url)
        self.key = NO_KEY

    def keep_signed_in(self, answer: Response, token: str) -> Response:
        """Gives the browser its token."""
        answer.set_cookie(
            session_cookie(self.request),
            token,
            httponly=True,
            samesite="lax",
            secure=self.request.url.scheme == "https",
            path="/",
        )
        return answer


def _theirs(saved: Mapping[str, Any], posted: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    """(saved, typed) of every field where a record saved meanwhile differs from what was typed."""
    texts = {name: "" if value is None else str(value) for name, value in saved.items()}
    pairs = {name: (text, posted[name]) for name, text in texts.items() if name in posted}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def session_cookie(request: Request) -> str:
    """The cookie's name; over https its prefix makes browsers refuse it from anywhere else."""
    return "__Host-spanbook" if request.url.scheme == "https" else "spanbook"


def kept_typed(request: Request, status: int, message: str, fields: Mapping[str, str]) -> HTMLResponse:
    """What was typed is kept on the page, to be sent again by somebody who has signed in or may."""
    secrets_of_forms = {"password", "present", "pin", "code", "who"}
    kept = {name: value for name, value in fields.items() if name not in secrets_of_forms}
    words = {"request": request, "kept": kept, "path": request.url.path, "message": message}
    return HTMLResponse(templates.get_template("people/kept.html").render(words), status)
