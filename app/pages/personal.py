"""Personal data: export it, erase a person from the records, and list who is past the retention period."""

from typing import Any

from fastapi import Response
from fastapi.responses import JSONResponse

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page
from app.schemas.personal import ErasureForm
from app.services import bowlers, held, mergers, personal, retention, rules, sheet_erasing

router = PageRouter()


@router.get("/bowlers/{bowler_id}/held")
def show_held(page: PageDep, bowler_id: RecordId) -> Response:
    """Shows all data of a bowler, to read or print."""
    return page.show("bowlers/held.html", **_load_held(page, bowler_id))


def _load_held(page: Page, bowler_id: int) -> dict[str, Any]:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    ids = [] if bowler.erased_at else mergers.list_ids(page.session, bowler.id)
    return {
        "bowler": bowler,
        "held": held.read_held(page.session, bowler_id),
        "mentions": sheet_erasing.list_mentions(page.session, ids),
        "version": bowler.version,
    }


@router.get("/bowlers/{bowler_id}/held.json")
def download_held(page: PageDep, bowler_id: RecordId) -> Response:
    told = JSONResponse(personal.export_bowler(page.session, bowler_id))
    told.headers["Content-Disposition"] = f'attachment; filename="bowler-{bowler_id}.json"'
    return told


@router.post("/bowlers/{bowler_id}/erasure")
def erase(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        personal.erase(page.session, bowler_id, page.read(ErasureForm, posted))
    except ShopError as error:
        return page.show_refused(error, "bowlers/held.html", posted, lambda: _load_held(page, bowler_id))
    return page.redirect(f"/bowlers/{bowler_id}")


@router.get("/retention")
def show_retention(page: PageDep) -> Response:
    """Lists bowlers whose last visit is longer ago than the retention period."""
    years = rules.get_rule(page.session, rules.RETENTION_YEARS)
    return page.show("people/retention.html", years=years, past=retention.list_past_retention(page.session, years))
