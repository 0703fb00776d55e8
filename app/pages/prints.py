"""Printed sheets, as pages and as PDF, from one template each: drill sheet, fit card, ball tag."""

import re
from typing import Any, Literal

from fastapi import Response

from app.errors import ShopError
from app.models import Drilling
from app.models.plans import Plan
from app.pages import pictures
from app.pages.admission import PageDep, PageRouter, RecordId
from app.pages.environment import templates
from app.pages.formats import NO_BREAK
from app.pages.render import Page
from app.pages.travelling import load_travelling
from app.services import (
    balls,
    bench,
    checks,
    drillings,
    fits,
    grips,
    inners,
    measurements,
    old_holes,
    paper_checks,
    stale_plans,
)
from app.services.work_outs import WorkedOut, work_out
from app.settings import ROOT

router = PageRouter()
_TEXT = re.compile(r">[^<>]+<")
_FRACTION = re.compile(r"(?<=\d) (?=\d+/\d)|(?<=/\d|\d\d) (?=[+−] 0)|(?<=[+−]) (?=0\.00)")  # a line may not end here


class NoPdfError(ShopError):
    """This machine lacks the system library that renders PDFs; printing from the browser works without it."""

    status = 501


def answer_print(page: Page, template: str, name: str, is_pdf: bool, paper: str = "", **context: Any) -> Response:
    """Answers a printed page as HTML, or as a PDF on A4, Letter or the page's own size."""
    html = templates.get_template(template).render(
        is_pdf=is_pdf, pdf_url=page.request.url.path.removesuffix(".pdf") + ".pdf", **context
    )
    html = _TEXT.sub(lambda text: _FRACTION.sub(NO_BREAK, text[0]), html)
    if not is_pdf:
        return Response(html, media_type="text/html")
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return Response(_make_pdf(html, paper), media_type="application/pdf", headers=headers)


def _make_pdf(html: str, paper: str) -> bytes:
    """Renders a page as a PDF, byte for byte the same for the same data."""
    try:
        from weasyprint import CSS, HTML  # noqa: PLC0415 - fails to load where Pango is missing
    except OSError:
        raise NoPdfError("PDFs need the system library Pango here. Print from the browser, or install it.") from None
    sheets = [CSS(filename=str(ROOT / "static" / "print.css"))]
    if paper:
        sheets.append(CSS(string=f"@page full {{ size: {paper} }}"))
    document: bytes = HTML(string=html).write_pdf(stylesheets=sheets)
    return document


def make_qr_code(page: Page, path: str) -> str:
    """Returns a QR code of the record's URL on this shop's network, as inline SVG."""
    import segno  # noqa: PLC0415 - only prints need it

    code = segno.make(str(page.request.base_url).rstrip("/") + path, error="m")
    return code.svg_inline(scale=1, border=2, omitsize=True)


def find_warnings(page: Page, drilling: Drilling, plan: Plan, worked: WorkedOut) -> dict[str, object]:
    """Returns what a print of a plan has to say first: failing checks, a newer fit, old holes changed since."""
    return {
        "failing": checks.pick_failing(checks.run_checks(plan, worked)),
        "stale": stale_plans.find_staleness(page.session, drilling),
        "old_holes_changed": old_holes.have_changed(page.session, drilling),
    }


def _render_sheet(page: Page, drilling_id: int, is_pdf: bool, paper: str = "") -> Response:
    drilling = bench.get_drilling(page.session, drilling_id, *drillings.AS_BUILT)
    plan = drilling.current_plan
    if plan is None:
        raise ShopError("This drilling was made elsewhere: there is no plan to print.")
    worked = work_out(plan)
    return answer_print(
        page,
        "prints/sheet.html",
        f"drill-sheet-{drilling.id}",
        is_pdf,
        paper,
        drilling=drilling,
        inner=inners.find_in_drilling(page.session, drilling),
        plan=plan,
        worked=worked,
        built=measurements.list_built_pairs(drilling),
        **find_warnings(page, drilling, plan, worked),
        doubt=paper_checks.find_doubt(page.session, drilling.fit),
        picture=pictures.draw_grip(worked.solved, plan.notch_deg, plan.old_holes),
        code=make_qr_code(page, f"/drillings/{drilling.id}"),
    )


@router.get("/drillings/{drilling_id}/sheet")
def show_sheet(page: PageDep, drilling_id: RecordId) -> Response:
    return _render_sheet(page, drilling_id, is_pdf=False)


@router.get("/drillings/{drilling_id}/sheet.pdf")
def download_sheet(page: PageDep, drilling_id: RecordId, paper: Literal["A4", "letter"] = "A4") -> Response:
    return _render_sheet(page, drilling_id, is_pdf=True, paper=paper)


def _render_card(page: Page, fit_id: int, is_pdf: bool) -> Response:
    fit = fits.get_fit(page.session, fit_id)
    code = make_qr_code(page, f"/fits/{fit.id}")
    return answer_print(
        page,
        "prints/card.html",
        f"fit-card-{fit.id}",
        is_pdf,
        fit=fit,
        digits=fit.digits,
        depths=grips.read_hole_depths(fit),
        code=code,
        doubt=paper_checks.find_doubt(page.session, fit),
        travelling=load_travelling(page, fit.id, fit.bowler_id, fit.hand),
    )


@router.get("/fits/{fit_id}/card")
def show_card(page: PageDep, fit_id: RecordId) -> Response:
    return _render_card(page, fit_id, is_pdf=False)


@router.get("/fits/{fit_id}/card.pdf")
def download_card(page: PageDep, fit_id: RecordId) -> Response:
    return _render_card(page, fit_id, is_pdf=True)


def _render_tag(page: Page, ball_id: int, is_pdf: bool) -> Response:
    ball = balls.get_ball(page.session, ball_id)
    drilled = drillings.list_of_balls(page.session, [ball.id])
    current = drillings.pick_in_force(drilled).get(ball.id)
    code = make_qr_code(page, f"/balls/{ball.id}")
    return answer_print(page, "prints/tag.html", f"ball-tag-{ball.id}", is_pdf, ball=ball, drilling=current, code=code)


@router.get("/balls/{ball_id}/tag")
def show_tag(page: PageDep, ball_id: RecordId) -> Response:
    return _render_tag(page, ball_id, is_pdf=False)


@router.get("/balls/{ball_id}/tag.pdf")
def download_tag(page: PageDep, ball_id: RecordId) -> Response:
    return _render_tag(page, ball_id, is_pdf=True)
