from datetime import date
from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.models import Shop
from app.pages.admission import PageDep, PageRouter, Posted, PostedPhoto, RecordId
from app.pages.charts import draw_depths
from app.pages.render import Page
from app.schemas.shops import LookForm, MergerForm, ShopForm, UnmergingForm
from app.schemas.systems import DepthForm
from app.services import apart_depths, changes, depths, shops, stated_depths, systems

router = PageRouter()


def _load_form(shop: Shop | None) -> dict[str, Any]:
    values = {"name": shop.name, "town": shop.town, "notes": shop.notes} if shop else {}
    return {"shop": shop, "values": values, "version": shop.version if shop else ""}


@router.get("/shops")
def list_shops(page: PageDep) -> Response:
    """Every shop, and for each system whose depths are known how far each shop's bores are from ours."""
    known = shops.list_shops(page.session)
    found = depths.load_shop_depths(page.session, [s.id for s in known])
    ours = shops.get_our_shop(page.session)
    of_systems = []
    for system in systems.list_systems(page.session, "thumb"):
        of_shops = {shop.id: found[shop.id, system.id] for shop in known if (shop.id, system.id) in found}
        if of_shops:
            marks = draw_depths(of_shops, of_shops.get(ours.id) if ours else None)
            of_systems.append((system, of_shops, marks))
    return page.show("shops/index.html", shops=known, ours=ours, of_systems=of_systems)


@router.get("/shops/new")
def show_new_shop(page: PageDep) -> Response:
    return page.show("shops/form.html", **_load_form(None))


@router.post("/shops")
def add_shop(page: PageDep, posted: Posted) -> Response:
    try:
        added = shops.add_shop(page.session, page.read(ShopForm, posted))
    except ShopError as error:
        return page.show_refused(error, "shops/form.html", posted, lambda: _load_form(None))
    return page.redirect(f"/shops/{added.id}")


def _load_card(page: Page, shop_id: int) -> dict[str, Any]:
    shop = shops.get_shop(page.session, shop_id)
    observed = depths.list_observations(page.session, shop.id)
    thumb = systems.list_systems(page.session, "thumb")
    known = {system_id: depth for (_, system_id), depth in depths.load_shop_depths(page.session, [shop.id]).items()}
    return {
        "shop": shop,
        "version": shop.version,
        "others": [s for s in shops.list_shops(page.session) if s.id != shop.id and not s.merged_into_id],
        "observations": observed,
        "depths": known,
        "without": {i: mean for d in known.values() for i, mean in depths.leave_each_out(d).items()},
        "strays": {o.id for d in known.values() for o, far in zip(d.observed, d.knowledge.strays, strict=True) if far},
        "said": stated_depths.list_said(page.session, shop.id),
        "counted": {one.id for depth in known.values() for one in depth.stated},
        "apart": apart_depths.list_apart(page.session, shop.id),
        "systems": thumb,
        "history": changes.list_record_lines(page.session, shop),
        "values": {
            "observed_on": date.today().isoformat(),
            "obtained": "collar_measured" if shop is shops.get_our_shop(page.session) else "told",
        },
    }


@router.get("/shops/{shop_id}")
def show_shop(page: PageDep, shop_id: RecordId) -> Response:
    return page.show("shops/show.html", **_load_card(page, shop_id))


@router.get("/shops/{shop_id}/edit")
def show_edit_form(page: PageDep, shop_id: RecordId) -> Response:
    return page.show("shops/form.html", **_load_form(shops.get_shop(page.session, shop_id)))


@router.post("/shops/{shop_id}")
def edit_shop(page: PageDep, shop_id: RecordId, posted: Posted) -> Response:
    try:
        shops.edit_shop(page.session, shop_id, page.read(ShopForm, posted))
    except ShopError as error:
        return page.show_refused(
            error, "shops/form.html", posted, lambda: _load_form(shops.get_shop(page.session, shop_id))
        )
    return page.redirect(f"/shops/{shop_id}")


@router.get("/shops/{shop_id}/picture")
def show_picture(page: PageDep, shop_id: RecordId) -> Response:
    data, kind = shops.get_picture(page.session, shop_id)
    return Response(data, media_type=kind, headers={"Cache-Control": "private, max-age=31536000, immutable"})


@router.post("/shops/{shop_id}/look")
def change_look(page: PageDep, photo: PostedPhoto, shop_id: RecordId, posted: Posted) -> Response:
    try:
        shops.change_look(page.session, shop_id, page.read(LookForm, posted), photo)
    except ShopError as error:
        shop = shops.get_shop(page.session, shop_id)
        return page.show_refused(error, "shops/form.html", posted, lambda: _load_form(shop), "look")
    return page.redirect(f"/shops/{shop_id}")


@router.post("/shops/{shop_id}/merger")
def merge(page: PageDep, shop_id: RecordId, posted: Posted) -> Response:
    try:
        kept = shops.merge(page.session, shop_id, page.read(MergerForm, posted))
    except ShopError as error:
        return page.show_refused(error, "shops/show.html", posted, lambda: _load_card(page, shop_id), "merger")
    return page.redirect(f"/shops/{kept.id}")


@router.post("/shops/{shop_id}/merger-removal")
def unmerge(page: PageDep, shop_id: RecordId, posted: Posted) -> Response:
    try:
        shops.unmerge(page.session, shop_id, page.read(UnmergingForm, posted))
    except ShopError as error:
        return page.show_refused(error, "shops/show.html", posted, lambda: _load_card(page, shop_id), "merger-removal")
    return page.redirect(f"/shops/{shop_id}")


@router.post("/shops/{shop_id}/depths")
def observe(page: PageDep, shop_id: RecordId, posted: Posted) -> Response:
    try:
        depths.observe(page.session, shop_id, page.read(DepthForm, posted))
    except ShopError as error:
        return page.show_refused(error, "shops/show.html", posted, lambda: _load_card(page, shop_id))
    return page.redirect(f"/shops/{shop_id}")
