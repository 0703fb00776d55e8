"""The passport of a fit: everything that another shop needs, and nothing that is not its business.

Never on it: notes, phone, health, reasons, staff, other people.
"""

from typing import Literal

from fastapi import Response

from app.models import Ball, Drilling, Fit, Inner
from app.pages import pictures
from app.pages.admission import PageDep, PageRouter, RecordId
from app.pages.prints import answer_print, make_qr_code
from app.pages.render import Page
from app.pages.travelling import load_travelling
from app.services import balls, depths, drillings, fits, grips, inners, paper_checks, shops

router = PageRouter()


def _list_inners(page: Page, fit: Fit) -> list[Inner]:
    """Returns the bowler's inners in use that were made for this hand, or for one that nobody knows."""
    owned = inners.list_of_bowler(page.session, fit.bowler_id)
    return [inner for inner in owned if not inner.retired_at and inner.trimmed_in.hand in {"", fit.hand}]


def _list_drilled(page: Page, fit: Fit) -> list[tuple[Ball, Drilling]]:
    """Returns the bowler's balls that were drilled to this fit and measured, newest first."""
    owned = {ball.id: ball for ball in balls.list_of_bowler(page.session, fit.bowler_id)}
    made = drillings.list_of_balls(page.session, owned)
    return [
        (owned[d.ball_id], d) for d in made if d.fit_id == fit.id and any(m.stage == "built" for m in d.measurements)
    ]


def _render(page: Page, fit_id: int, is_pdf: bool, paper: str = "") -> Response:
    fit = fits.get_fit(page.session, fit_id)
    solved = grips.solve(fit, fit.system) if grips.can_solve(fit) else None
    notch = fit.system.notch_deg if fit.system else None
    owned = _list_inners(page, fit)
    ours = shops.require_our_shop(page.session)
    known = depths.load_shop_depths(page.session, {ours.id, *(inner.trimmed_in.shop_id for inner in owned)})
    return answer_print(
        page,
        "prints/passport.html",
        f"passport-{fit.id}",
        is_pdf,
        paper,
        fit=fit,
        shop=ours,
        solved=solved,
        picture=pictures.draw_grip(solved, notch) if solved else None,
        depths=grips.read_hole_depths(fit),
        inners=owned,
        known=known,
        drilled=_list_drilled(page, fit),
        code=make_qr_code(page, f"/fits/{fit.id}"),
        doubt=paper_checks.find_doubt(page.session, fit),
        travelling=load_travelling(page, fit.id, fit.bowler_id, fit.hand),
    )


@router.get("/fits/{fit_id}/passport")
def show_passport(page: PageDep, fit_id: RecordId) -> Response:
    return _render(page, fit_id, is_pdf=False)


@router.get("/fits/{fit_id}/passport.pdf")
def download_passport(page: PageDep, fit_id: RecordId, paper: Literal["A4", "letter"] = "A4") -> Response:
    return _render(page, fit_id, is_pdf=True, paper=paper)
