from datetime import date

from fastapi import Response

from app.closed_sets import ALIKE_WORDS, AlikeBy
from app.models import now
from app.pages.admission import PageDep, PageRouter, RecordId
from app.services import alike, quality

router = PageRouter()


@router.get("/quality")
def show_quality(page: PageDep) -> Response:
    """How the work of the last year came out, each figure with its n and an exact interval."""
    groups = quality.list_groups(page.session, now(), date.today())
    return page.show("quality/index.html", groups=groups, shown_from=quality.SHOWN_FROM)


@router.get("/drillings/{drilling_id}/alike")
def show_alike(page: PageDep, drilling_id: RecordId, by: AlikeBy = "bit") -> Response:
    """Which balls share that bit, collar setting, lot or week."""
    drilling, found = alike.list_alike(page.session, drilling_id, by)
    ways = list(ALIKE_WORDS.items())
    return page.show("quality/alike.html", drilling=drilling, found=found, by=by, ways=ways, most=alike.MOST)
