"""Pages that make two records of one bowler one, and part them again."""

from fastapi import Response

from app.errors import ConflictError, ShopError
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.render import Page
from app.schemas.forms import read_id
from app.schemas.taken_back import BowlerMergerForm, PartingForm
from app.services import bowlers, mergers, partings

router = PageRouter()


def _load_form(page: Page, bowler_id: int, other_id: int | None, q: str = "") -> dict[str, object]:
    """The other record is looked up by a form of its own, whose answers lead back here; then both are compared."""
    bowler, refusal, pair = bowlers.get_bowler(page.session, bowler_id), None, None
    try:
        pair = mergers.find_pair(page.session, bowler_id, other_id) if other_id else None
    except ShopError as error:
        refusal = error.message
    looked_for = q or ("" if other_id else bowler.name)
    found = [r for r in bowlers.search(page.session, looked_for) if r.bowler.id != bowler.id] if looked_for else []
    return {
        "bowler": bowler,
        "other": pair[1] if pair else None,
        "refusal": refusal,
        "questions": mergers.list_questions(page.session, *pair) if pair else [],
        "held": mergers.count_rows(page.session, [of.id for of in pair]) if pair else {},
        "q": q,
        "found": found,
        "values": {"why": page.request.query_params.get("why", "")[:400]},
        "version": bowler.version,
        "other_version": pair[1].version if pair else "",
    }


@router.get("/bowlers/{bowler_id}/merger")
def show_merger(page: PageDep, bowler_id: RecordId, other: QueryId | None = None, q: str = "") -> Response:
    return page.show("bowlers/merger.html", "", 200, **_load_form(page, bowler_id, other, q[:80]))


@router.post("/bowlers/{bowler_id}/merger")
def merge(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        merger = mergers.merge(page.session, bowler_id, page.read(BowlerMergerForm, posted))
    except ShopError as error:
        is_stale = isinstance(error, ConflictError)
        return page.show_refused(
            error, "bowlers/merger.html", posted, lambda: _load_again(page, bowler_id, posted, is_stale)
        )
    return page.redirect(f"/bowlers/{merger.kept_id}")


def _load_again(page: Page, bowler_id: int, posted: dict[str, str], is_stale: bool) -> dict[str, object]:
    """The refused form; it carries the newer version of the other record only where that was what refused it."""
    loaded = _load_form(page, bowler_id, read_id(posted.get("other_id", "")))
    return loaded if is_stale else loaded | {"other_version": posted.get("other_version", "")}


def _load_parting(page: Page, merger_id: int) -> dict[str, object]:
    merger = mergers.get_merger(page.session, merger_id)
    refusal, questions = "", []
    try:
        partings.require_can_part(page.session, merger)
        questions = partings.list_questions(page.session, merger)
    except ShopError as error:
        refusal = error.message
    return {"merger": merger, "refusal": refusal, "questions": questions, "version": merger.kept.version}


@router.get("/mergers/{merger_id}/parting")
def show_parting(page: PageDep, merger_id: RecordId) -> Response:
    return page.show("bowlers/parting.html", "", 200, **_load_parting(page, merger_id))


@router.post("/mergers/{merger_id}/parting")
def part(page: PageDep, merger_id: RecordId, posted: Posted) -> Response:
    try:
        parted = partings.part(page.session, merger_id, page.read(PartingForm, posted))
    except ShopError as error:
        return page.show_refused(error, "bowlers/parting.html", posted, lambda: _load_parting(page, merger_id))
    return page.redirect(f"/bowlers/{parted.gone_id}")
