from typing import Any

from fastapi import Response

from app.calculation.charts import SET_UP_READINGS
from app.closed_sets import BIT_EVENT_WORDS
from app.errors import ShopError
from app.pages import charts
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page
from app.schemas.bits import BitEventForm, BitForm
from app.services import bits

router = PageRouter(prefix="/bits")


def _load_bits(page: Page) -> dict[str, Any]:
    found = bits.list_cards(page.session)
    drawn = {c.bit.id: charts.draw_chart(c) for c in found}
    return {"cards": found, "pictures": drawn, "what": list(BIT_EVENT_WORDS.items()), "set_up": SET_UP_READINGS}


@router.get("")
def show_bits(page: PageDep) -> Response:
    """Bits, their life, and the chart of each collar."""
    return page.show("bits.html", **_load_bits(page))


@router.post("")
def add_bit(page: PageDep, posted: Posted) -> Response:
    try:
        bits.add(page.session, page.read(BitForm, posted))
    except ShopError as error:
        return page.show_refused(error, "bits.html", posted, lambda: _load_bits(page), "new")
    return page.redirect("/bits")


@router.post("/{bit_id}/events")
def note_event(page: PageDep, bit_id: RecordId, posted: Posted) -> Response:
    try:
        bits.note_event(page.session, bit_id, page.read(BitEventForm, posted))
    except ShopError as error:
        return page.show_refused(error, "bits.html", posted, lambda: _load_bits(page), str(bit_id))
    return page.redirect("/bits")
