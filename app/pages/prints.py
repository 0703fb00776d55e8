"""Sheets to print and the same as PDF: drill sheet, fit card, ball tag, each from one template."""

from typing import Any, Literal

import segno
from fastapi import APIRouter, Response

from app.errors import ShopError
from app.models import DIGITS
from app.pages import pictures
from app.pages.admission import PageDep, PageRoute, RecordId
from app.pages.environment import templates
from app.pages.render import Page
from app.services import balls, bench, checks, drillings, fits, grips
from app.services.work_outs import work_out
from app.settings import ROOT

router = APIRouter(route_class=PageRoute)


class NoPdfError(ShopError):
    """This machine lacks the system library that PDFs are set with; printing from the browser works all the same."""

    status = 501


def _answer(page: Page, template: str, name: str, is_pdf: bool, paper: str = "", **context: Any) -> Response:
    html = templates.get_template(template).render(is_pdf=is_pdf, pdf_url=page.request.url.path + ".pdf", **context)
    if not is_pdf:
        return Response(html, media_type="text/html")
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return Response(_pdf(html, paper), media_type="application/pdf", headers=headers)


def _pdf(html: str, paper: str) -> bytes:
    """The same page set as a PDF, byte for byte the same for the same data."""
    try:
        from weasyprint import CSS, HTML  # noqa: PLC0415 - fails to load where Pango is missing
    except OSError:
        raise NoPdfError("PDFs need the system library Pango here. Print from the browser, or install it.") from None
    sheets = [CSS(filename=str(ROOT / "static" / "print.css"))]
    if paper:
        sheets.append(CSS(string=f"@page sheet {{ size: {paper} }}"))
    document: bytes = HTML(string=html).write_pdf(stylesheets=sheets)
    return document


def _code(page: Page, path: str) -> str:
    """A QR code of the record's address on this shop's network, as inline SVG."""
    code = segno.make(str(page.request.base_url).rstrip("/") + path, error="m")
    return code.svg_inline(scale=1, border=2, omitsize=True)


def _sheet(page: Page, drilling_id: int, is_pdf: bool, paper: str = "") -> Response:
    drilling = bench.drilling(page.session, drilling_id)
    plan = drilling.plan
    if plan is None:
        raise ShopError("This drilling was made elsewhere: there is no plan to print.")
    worked = work_out(plan)
    found = checks.checks(plan, worked)
    notch = plan.notch_deg if worked.has_sleeve else None
    return _answer(
        page,
        "prints/sheet.html",
        f"drill-sheet-{drilling.id}",
        is_pdf,
        paper,
        drilling=drilling,
        plan=plan,
        worked=worked,
        checks=found,
        failing=checks.failing(found),
        stale=bench.staleness(page.session, drilling),
        picture=pictures.grip_picture(worked.solved, None if notch is None else float(notch)),
        code=_code(page, f"/drillings/{drilling.id}"),
    )


@router.get("/drillings/{drilling_id}/sheet")
def sheet(page: PageDep, drilling_id: RecordId) -> Response:
    return _sheet(page, drilling_id, is_pdf=False)


@router.get("/drillings/{drilling_id}/sheet.pdf")
def sheet_pdf(page: PageDep, drilling_id: RecordId, paper: Literal["A4", "letter"] = "A4") -> Response:
    return _sheet(page, drilling_id, is_pdf=True, paper=paper)


def _card(page: Page, fit_id: int, is_pdf: bool) -> Response:
    fit = fits.fit(page.session, fit_id)
    code = _code(page, f"/fits/{fit.id}")
    return _answer(
        page,
        "prints/card.html",
        f"fit-card-{fit.id}",
        is_pdf,
        fit=fit,
        digits=DIGITS,
        depths=grips.hole_depths(fit),
        code=code,
    )


@router.get("/fits/{fit_id}/card")
def card(page: PageDep, fit_id: RecordId) -> Response:
    return _card(page, fit_id, is_pdf=False)


@router.get("/fits/{fit_id}/card.pdf")
def card_pdf(page: PageDep, fit_id: RecordId) -> Response:
    return _card(page, fit_id, is_pdf=True)


def _tag(page: Page, ball_id: int, is_pdf: bool) -> Response:
    ball = balls.ball(page.session, ball_id)
    drilled = drillings.of_balls(page.session, [ball.id])
    current = drillings.in_force(drilled).get(ball.id)
    code = _code(page, f"/balls/{ball.id}")
    return _answer(page, "prints/tag.html", f"ball-tag-{ball.id}", is_pdf, ball=ball, drilling=current, code=code)


@router.get("/balls/{ball_id}/tag")
def tag(page: PageDep, ball_id: RecordId) -> Response:
    return _tag(page, ball_id, is_pdf=False)


@router.get("/balls/{ball_id}/tag.pdf")
def tag_pdf(page: PageDep, ball_id: RecordId) -> Response:
    return _tag(page, ball_id, is_pdf=True)
