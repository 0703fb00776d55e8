"""The owner's pages of keys: ours, its paper, and other shops'."""

from fastapi import Response

from app.cards.signing import fingerprint
from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.cards import AcceptanceForm, PaperForm, ReplacementForm, ShowingForm
from app.services import known_keys, shop_keys, shops

router = PageRouter(prefix="/keys")


def _load_keys(page: Page) -> Shown:
    ours = shops.require_our_shop(page.session)
    known = known_keys.list_known(page.session)
    own = shop_keys.find_key(page.session, ours)
    return {
        "shop": ours,
        "own": own,
        "missing": shop_keys.find_lost(page.session, ours),
        "own_keys": [(key, fingerprint(key.public_key)) for key in shop_keys.list_keys(page.session, ours)],
        "known": [(key, fingerprint(key.public_key), known_keys.is_warned_of(key)) for key in known],
        "version": own.version if own else 1,
    }


@router.get("")
def show_keys(page: PageDep) -> Response:
    return page.show("people/keys.html", **_load_keys(page))


@router.post("/paper/showing")
def show_paper(page: PageDep, posted: Posted) -> Response:
    """The one answer that shows a private key, to be printed and kept like money."""
    ours = shops.require_our_shop(page.session)
    try:
        own = shop_keys.show(page.session, ours, page.read(ShowingForm, posted), page.address)
    except ShopError as error:
        kept = {name: text for name, text in posted.items() if name != "present"}
        return page.show_refused(error, "people/keys.html", kept, lambda: _load_keys(page), "showing")
    page.remember("/keys")
    groups, digits = shop_keys.write_paper(own.private_key), fingerprint(own.public_key)
    return page.show("people/key_paper.html", shop=ours, own=own, groups=groups, digits=digits)


@router.post("/replacement")
def replace(page: PageDep, posted: Posted) -> Response:
    ours = shops.require_our_shop(page.session)
    try:
        shop_keys.replace(page.session, ours, page.read(ReplacementForm, posted))
    except ShopError as error:
        return page.show_refused(error, "people/keys.html", posted, lambda: _load_keys(page), "replacement")
    return page.redirect("/keys")


@router.post("/paper")
def bring_back(page: PageDep, posted: Posted) -> Response:
    ours = shops.require_our_shop(page.session)
    try:
        shop_keys.bring_back(page.session, ours, page.read(PaperForm, posted))
    except ShopError as error:
        kept = {name: text for name, text in posted.items() if name != "paper"}  # a page never shows it again
        return page.show_refused(error, "people/keys.html", kept, lambda: _load_keys(page), "paper")
    return page.redirect("/keys")


@router.post("/{key_id}/acceptance")
def accept(page: PageDep, key_id: RecordId, posted: Posted) -> Response:
    try:
        known_keys.accept(page.session, key_id, page.read(AcceptanceForm, posted))
    except ShopError as error:
        return page.show_refused(error, "people/keys.html", posted, lambda: _load_keys(page), f"known-{key_id}")
    return page.redirect("/keys")
