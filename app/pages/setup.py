"""The first run: sets up the shop and signs its owner in."""

from fastapi import Response

from app.errors import NotAllowedError, ShopError
from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.people import drop_secrets
from app.pages.render import Page
from app.schemas.identities import SetupForm
from app.services import accounts, shops, sign_ins

router = PageRouter()
_LOOPBACK = {"127.0.0.1", "::1"}


@router.get("/setup")
def show_setup_form(page: PageDep) -> Response:
    if accounts.is_set_up(page.session):
        return page.redirect("/")
    _require_this_machine(page)
    return page.show("setup.html", known=shops.get_our_shop(page.session))


@router.post("/setup")
def set_up(page: PageDep, posted: Posted) -> Response:
    _require_this_machine(page)
    try:
        owner = shops.set_up(page.session, SetupForm.read(posted))
        _, token = sign_ins.open_sign_in(page.session, owner, page.request.headers.get("user-agent", ""))
    except ShopError as error:
        kept = drop_secrets(posted, error)
        return page.show_refused(error, "setup.html", kept, lambda: {"known": shops.get_our_shop(page.session)})
    return page.keep_signed_in(page.redirect("/"), token)


def _require_this_machine(page: Page) -> None:
    """Refuses set-up from another machine or through a proxy, because whoever sets the shop up owns it."""
    passed_on = any(name in page.request.headers for name in ("forwarded", "x-forwarded-for"))
    if page.address not in _LOOPBACK or passed_on:
        raise NotAllowedError(
            "The first owner is set up on the machine that runs Spanbook: open it there as 127.0.0.1, "
            "or run “spanbook owner” in its terminal."
        )
