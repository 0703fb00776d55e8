"""How pages answer: templates, forms shown again, redirects. The only code that knows htmx."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from fractions import Fraction
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from app.calculation.units import millimetres
from app.db import DbSession
from app.errors import ConflictError, InvalidError, ShopError
from app.measures.describe import described
from app.measures.wording import (
    clock_words,
    decimal,
    in_64ths,
    inches,
    lateral_words,
    pitch_words,
    plain_fraction,
    vertical_words,
)
from app.pages import pictures
from app.schemas.forms import LARGEST_ID, Form
from app.services import balls, shops
from app.services.changes import field_words
from app.services.depths import DATUM_WORDS, OBTAINED
from app.settings import ROOT

F = TypeVar("F", bound=Form)
WHO_COOKIE = "who"
_LONGEST_FIELD = 20_000


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


def options(records: Iterable[Any], words: str = "name") -> list[tuple[int, str]]:
    """Records as choices of a select: (id, words)."""
    return [(record.id, getattr(record, words)) for record in records]


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(ROOT / "templates"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        inch=built_up,
        fraction=plain_fraction,
        inches=inches,
        decimal=decimal,
        diff=in_64ths,
        vertical=vertical_words,
        lateral=lateral_words,
        clock=clock_words,
        when=local_time,
        day=local_day,
        field=field_words,
        exactly=Fraction,
    )
    made.globals.update(
        read_back=described,
        pitch_words=pitch_words,
        options=options,
        fit_options=lambda fits: [(f.id, f"Fit {f.letter}, {f.hand} hand, {f.state}: {f.reason}") for f in fits],
        drilling_options=lambda made: [(d.id, f"{d.ball.label}, {d.state}, {local_day(d.planned_at)}") for d in made],
        kind_options=lambda kinds: [(name, kind.words) for name, kind in kinds.items()],
        bore_options=lambda bores: [(bore.id, f"{label}, {system.label}") for bore, label, system in bores],
        arrow_path=pictures.arrow_path,
        datum_words=DATUM_WORDS,
        obtained_words=OBTAINED,
    )
    # a block rendered alone skips its page's imports, so macros are globals
    for name in ("form", "show", "benches", "printed", "plans"):
        made.globals[name] = made.get_template(f"macros/{name}.html").module
    return made


templates = _environment()


class Page:
    """What a page handler answers with."""

    def __init__(self, request: Request, session: Session) -> None:
        self.request = request
        self.session = session

    @property
    def is_fragment(self) -> bool:
        """Whether htmx asks for a piece of the page."""
        return self.request.headers.get("HX-Request") == "true"

    def read(self, form: type[F], posted: Mapping[str, str]) -> F:
        """The posted form, signed by somebody who works here."""
        read = form.read(posted)
        if read.who not in {person.id for person in shops.staff(self.session)}:
            raise InvalidError.at("who", "Tap your initials.")
        return read

    def show(self, template: str, block: str = "", status: int = 200, **context: Any) -> HTMLResponse:
        """The whole page, or one named block of it alone."""
        chosen = templates.get_template(template)
        if block:
            inside = chosen.new_context({"request": self.request, "values": {}, "errors": {}, **context})
            return HTMLResponse("".join(chosen.blocks[block](inside)), status)
        own = shops.our_shop(self.session)
        shared: dict[str, Any] = {
            "request": self.request,
            "our_shop": own,
            "staff": shops.staff(self.session),
            "who": self.request.cookies.get(WHO_COOKIE, ""),
            "values": {},
            "errors": {},
            "message": "",
            "version": "",
        }
        return HTMLResponse(chosen.render(shared | context), status)

    def again(
        self,
        error: ShopError,
        template: str,
        posted: Mapping[str, str],
        context: Callable[[], dict[str, Any]],
    ) -> HTMLResponse:
        """The same form with what was typed and what is wrong; nothing of the attempt is kept."""
        self.session.rollback()
        shown: dict[str, Any] = {
            "values": posted,
            "errors": error.fields,
            "message": error.message,
            "who": posted.get("who", ""),
        }
        made = context()
        if not isinstance(error, ConflictError):
            made["version"] = posted.get("version", made.get("version", ""))
        return self.show(template, status=error.status, **(made | shown))

    def go(self, url: str, posted: Mapping[str, str] | None = None) -> Response:
        """Sends the browser on after a save, remembering whose initials were tapped."""
        answer = RedirectResponse(url, 303)
        if posted and posted.get("who"):
            answer.set_cookie(
                WHO_COOKIE,
                posted["who"],
                max_age=60 * 60 * 12,
                httponly=True,
                samesite="lax",
                secure=self.request.url.scheme == "https",
            )
        return answer


def page(request: Request, session: DbSession) -> Page:
    return Page(request, session)


async def posted(request: Request) -> dict[str, str]:
    """The text fields of a posted form; another content type posts nothing and fails at its fields."""
    form = await request.form(max_files=0, max_fields=200)
    return {name: value[:_LONGEST_FIELD] for name, value in form.items() if isinstance(value, str)}


QueryId = Annotated[int, Query(ge=1, le=LARGEST_ID)]
RecordId = Annotated[int, Path(ge=1, le=LARGEST_ID)]


async def photo(request: Request) -> bytes:
    """The photo posted with a form, empty where there is none; asked for before `posted`, which allows no file."""
    async with request.form(max_files=1, max_fields=200) as form:
        sent = form.get("photo")
        return await sent.read(balls.LARGEST_PHOTO + 1) if isinstance(sent, UploadFile) else b""


PostedPhoto = Annotated[bytes, Depends(photo)]
PageDep = Annotated[Page, Depends(page)]
Posted = Annotated[dict[str, str], Depends(posted)]
