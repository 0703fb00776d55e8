"""A bowler's card: what it says today, issuing it, its code, and the files of the one issued last."""

from typing import cast, get_args

from fastapi import Response

from app.cards.codes import make_code, size_mm
from app.cards.envelope import seal_card
from app.cards.errors import CardError
from app.cards.texts import to_lines, to_text
from app.cards.words import list_words
from app.closed_sets import Hand
from app.errors import NotFoundError, ShopError
from app.models import IssuedCard
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.prints import answer_print
from app.pages.render import Page, Shown
from app.pages.travelling import draw_card, draw_code, show_travelling
from app.schemas.cards import IssueForm
from app.services import bowlers, card_contents, card_issues, paper_checks

router = PageRouter()


def offer_card(page: Page, bowler_id: int, hand: str) -> card_issues.CardOffer:
    """Returns what a bowler's card says today, of the usual hand unless another is named."""
    bowler = bowlers.get_bowler(page.session, bowler_id)
    bowlers.require_in_use(bowler)
    return card_issues.offer(page.session, bowler, cast("Hand", hand if hand in get_args(Hand) else bowler.hand))


def _load_card(page: Page, bowler_id: int, hand: str) -> Shown:
    offered = offer_card(page, bowler_id, hand)
    bowler, chosen = bowlers.get_bowler(page.session, bowler_id), offered.hand
    fit = card_contents.find_fit_in_force(page.session, bowler.id, chosen)
    last = offered.last
    return {
        "bowler": bowler,
        "hand": chosen,
        "offered": offered,
        "is_empty": offered.card.fit is None and not offered.card.inners,
        "said": list_words(offered.card),
        "picture": draw_card(offered.card),
        "inners": card_contents.list_inners(page.session, bowler.id, chosen),
        "too_large": _describe_size(offered),
        "fit": fit,
        "doubt": paper_checks.find_doubt(page.session, fit),
        "code": draw_code(last) if last else "",
        "text": to_lines(last.data) if last else "",
        "size_mm": size_mm(make_code(to_text(last.data))) if last else 0,
    }


def _describe_size(offered: card_issues.CardOffer) -> str:
    """Returns in words why the whole card cannot be carried, empty if it can."""
    try:
        seal_card(offered.card, bytes(32))  # any key: only the size is asked
    except CardError as error:
        return error.message
    return ""


@router.get("/bowlers/{bowler_id}/card")
def show_card(page: PageDep, bowler_id: RecordId, hand: str = "") -> Response:
    return page.show("cards/issued.html", **_load_card(page, bowler_id, hand))


@router.post("/bowlers/{bowler_id}/card")
def issue(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        issued = card_issues.issue(page.session, bowler_id, page.read(IssueForm, posted))
    except ShopError as error:
        hand = posted.get("hand", "")
        return page.show_refused(error, "cards/issued.html", posted, lambda: _load_card(page, bowler_id, hand))
    return page.redirect(f"/bowlers/{issued.bowler_id}/card?hand={issued.hand}")


def _find_issued(page: Page, bowler_id: int, hand: str) -> IssuedCard:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    found = card_issues.find_last(page.session, bowler.id, hand or bowler.hand)
    if found is None:
        raise NotFoundError("There is no such card: issue it first.")
    return found


def attach(data: bytes | str, name: str, media_type: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=media_type, headers=headers)


@router.get("/bowlers/{bowler_id}/card.txt")
def download_text(page: PageDep, bowler_id: RecordId, hand: str = "") -> Response:
    issued = _find_issued(page, bowler_id, hand)
    return attach(f"{to_lines(issued.data)}\n", f"card-{bowler_id}.txt", "text/plain; charset=utf-8")


@router.get("/bowlers/{bowler_id}/card.pdf")
def download_print(page: PageDep, bowler_id: RecordId, hand: str = "") -> Response:
    """The wallet card; one with a fit is printed from the fit."""
    issued = _find_issued(page, bowler_id, hand)
    if issued.fit_id:
        return page.redirect(f"/fits/{issued.fit_id}/card.pdf")
    travelling = show_travelling(issued)
    return answer_print(page, "prints/inners_card.html", f"card-{bowler_id}", is_pdf=True, travelling=travelling)


@router.get("/bowlers/{bowler_id}/card.cbor")
def download_bytes(page: PageDep, bowler_id: RecordId, hand: str = "") -> Response:
    issued = _find_issued(page, bowler_id, hand)
    return attach(issued.data, f"card-{bowler_id}.cbor", "application/octet-stream")
