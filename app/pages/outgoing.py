"""Bowlers as files for other programs: one as JSON and csv, all as csv and as a workbook."""

from fastapi import Response
from fastapi.responses import JSONResponse

from app.cards.plain import write_plain
from app.pages.admission import PageDep, PageRouter, RecordId
from app.pages.issued_cards import attach, offer_card
from app.services import bowler_tables, bowlers

router = PageRouter()
_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/bowlers/{bowler_id}/card.json")
def download_json(page: PageDep, bowler_id: RecordId, hand: str = "") -> Response:
    """What the bowler's card says today, unsigned; its schema is at /help/card.schema.json."""
    answer = JSONResponse(write_plain(offer_card(page, bowler_id, hand).card))
    answer.headers["Content-Disposition"] = f'attachment; filename="bowler-{bowler_id}-card.json"'
    return answer


@router.get("/bowlers/{bowler_id}/fits.csv")
def download_own_csv(page: PageDep, bowler_id: RecordId) -> Response:
    of = bowlers.get_bowler(page.session, bowler_id)
    table = bowler_tables.write_csv(bowler_tables.list_rows(page.session, of.id))
    return attach(table, f"bowler-{of.id}.csv", "text/csv; charset=utf-8")


@router.get("/bowlers.csv")
def download_csv(page: PageDep) -> Response:
    table = bowler_tables.write_csv(bowler_tables.list_rows(page.session))
    return attach(table, "bowlers.csv", "text/csv; charset=utf-8")


@router.get("/bowlers.xlsx")
def download_workbook(page: PageDep) -> Response:
    return attach(bowler_tables.write_workbook(bowler_tables.list_rows(page.session)), "bowlers.xlsx", _WORKBOOK)
