from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.scales import ScaleForm
from app.services import changes, scale_calibrations, scales

router = PageRouter(prefix="/scales")


def _load_list(page: Page) -> Shown:
    return {"scales": scales.list_scales(page.session)}


@router.get("")
def list_scales(page: PageDep) -> Response:
    return page.show("scales/index.html", **_load_list(page))


@router.post("")
def add_scale(page: PageDep, posted: Posted) -> Response:
    try:
        added = scales.add(page.session, page.read(ScaleForm, posted))
    except ShopError as error:
        return page.show_refused(error, "scales/index.html", posted, lambda: _load_list(page))
    return page.redirect(f"/scales/{added.id}")


def _load(page: Page, scale_id: int) -> Shown:
    scale = scales.get_scale(page.session, scale_id)
    history = changes.list_record_lines(page.session, scale)
    shown: Shown = {"scale": scale, "values": scales.list_texts(scale), "version": scale.version, "history": history}
    return shown | {"calibration": scale_calibrations.work_out(scale)}


@router.get("/{scale_id}")
def show_scale(page: PageDep, scale_id: RecordId) -> Response:
    """One scale: its arm and how it was calibrated, in a form."""
    return page.show("scales/show.html", **_load(page, scale_id))


@router.post("/{scale_id}")
def edit_scale(page: PageDep, scale_id: RecordId, posted: Posted) -> Response:
    scales.get_scale(page.session, scale_id)
    try:
        scales.edit(page.session, scale_id, page.read(ScaleForm, posted))
    except ShopError as error:
        return page.show_refused(error, "scales/show.html", posted, lambda: _load(page, scale_id))
    return page.redirect(f"/scales/{scale_id}")
