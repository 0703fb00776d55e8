"""Signing in and out, one's own account, and for owners the people, tokens and rules of the chain."""

from typing import Any
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import RedirectResponse

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, name_session_cookie
from app.schemas.forms import SignedForm
from app.schemas.identities import (
    PasswordForm,
    PersonForm,
    PinForm,
    RuleForm,
    SignInForm,
    TokenForm,
    WelcomeForm,
)
from app.schemas.shops import ShopForm
from app.services import accounts, changes, rules, shops, sign_ins, tokens

router = PageRouter()


def read_own_path(asked: str) -> str:
    """Returns the path to redirect to after signing in, never another site."""
    try:
        parts = urlsplit(asked.replace("\\", "/"))
    except ValueError:  # such as the half of an address in brackets
        return "/"
    is_ours = not parts.scheme and not parts.netloc and parts.path.startswith("/") and not asked.startswith("//")
    return asked if is_ours and asked.isprintable() and parts.path != "/sign-in" else "/"


# Signing in -----------------------------------------------------------------------------------------------------------


@router.get("/sign-in")
def show_sign_in_form(page: PageDep, next: str = "/") -> Response:
    if not accounts.is_set_up(page.session):
        return page.redirect("/setup")
    return page.show("people/sign_in.html", next=read_own_path(next))


@router.post("/sign-in")
def sign_in(page: PageDep, posted: Posted) -> Response:
    asked = read_own_path(posted.get("next", "/"))
    browser = page.request.headers.get("user-agent", "")
    try:
        form = SignInForm.read(posted)
        _, token = sign_ins.sign_in(page.session, form, page.address, browser)
        sign_ins.end_by_token(page.session, page.request.cookies.get(name_session_cookie(page.request), ""))
    except ShopError as error:
        kept = {name: value for name, value in posted.items() if name != "password"}
        return page.show_refused(error, "people/sign_in.html", kept, lambda: {"next": asked})
    return page.keep_signed_in(page.redirect(asked), token)


def enter_demo(request: Request) -> Response:
    """Signs the demo's visitor in as its owner and redirects to the requested page."""
    with request.app.state.sessions() as session, session.begin():
        owner = accounts.get_person(session, request.app.state.demo.staff_id)
        _, token = sign_ins.open_sign_in(session, owner, "demo")
        return Page(request, {}).keep_signed_in(RedirectResponse(str(request.url), 303), token)


@router.post("/sign-out")
def sign_out(page: PageDep) -> Response:
    sign_ins.end(page.session, page.me())
    answer = page.redirect("/sign-in")
    answer.headers["Clear-Site-Data"] = '"cache", "storage"'
    return page.keep_signed_in(answer, "")


@router.get("/welcome")
def show_welcome_form(page: PageDep) -> Response:
    return page.show("people/welcome.html")


@router.post("/welcome")
def welcome(page: PageDep, posted: Posted) -> Response:
    browser = page.request.headers.get("user-agent", "")
    try:
        welcomed = accounts.accept_invitation(page.session, WelcomeForm.read(posted), page.address)
        _, token = sign_ins.open_sign_in(page.session, welcomed, browser)
    except ShopError as error:
        return page.show_refused(error, "people/welcome.html", drop_secrets(posted, error), dict)
    return page.keep_signed_in(page.redirect("/"), token)


def drop_secrets(posted: dict[str, str], error: ShopError) -> dict[str, str]:
    """Returns what a refused form shows again; a password and a code are part of it only if the PIN alone is wrong."""
    hidden = {"pin"} if set(error.fields) == {"pin"} else {"password", "present", "pin", "code"}
    return {name: value for name, value in posted.items() if name not in hidden}


# One's own account ----------------------------------------------------------------------------------------------------


def _load_account(page: Page) -> dict[str, Any]:
    own = accounts.get_person(page.session, page.me().staff_id)
    opened = sign_ins.list_open_sign_ins(page.session, own.id)
    return {"person": own, "sign_ins": opened, "here": page.me().id}


@router.get("/me")
def show_account(page: PageDep) -> Response:
    return page.show("people/me.html", **_load_account(page))


@router.post("/me/password")
def change_password(page: PageDep, posted: Posted) -> Response:
    try:
        form = page.read(PasswordForm, posted)
        own = accounts.get_person(page.session, form.who)
        accounts.change_password(page.session, own, form, page.address)
        sign_ins.end_all(page.session, own.id, own.id, but=page.me())
    except ShopError as error:
        return page.show_refused(error, "people/me.html", {}, lambda: _load_account(page), "password")
    return page.redirect("/me")


@router.post("/me/pin")
def set_pin(page: PageDep, posted: Posted) -> Response:
    """The form's own field is the new PIN, so nobody else can act on it by theirs."""
    try:
        form = page.read(PinForm, posted)
        accounts.set_pin(page.session, accounts.get_person(page.session, form.who), form, page.address)
    except ShopError as error:
        return page.show_refused(
            error, "people/me.html", drop_secrets(posted, error), lambda: _load_account(page), "pin"
        )
    return page.redirect("/me")


@router.post("/me/sign-outs")
def sign_out_everywhere(page: PageDep, posted: Posted) -> Response:
    who = page.read(SignedForm, posted).who
    sign_ins.end_all(page.session, who, who)
    return page.redirect("/sign-in")


# People, tokens and rules ---------------------------------------------------------------------------------------------


def _load_people(page: Page, **more: Any) -> dict[str, Any]:
    own = shops.require_our_shop(page.session)
    return {
        "people": accounts.list_people(page.session),
        "chain": shops.list_chain_shops(page.session),
        "tokens": tokens.list_tokens(page.session),
        "rules": rules.list_rules(page.session),
        "rule_words": rules.RULES,
        "rule_choices": {rules.OWN_SHOP_ONLY: ((0, "every shop of ours"), (1, "only the shop that made it"))},
        "history": changes.list_noun_lines(page.session, "staff"),
        "secret": None,
        "late": page.describe_late_backup(),
        "at_first": {"shop_id": str(own.id), "role": "driller", "scopes": "read"},
        **more,
    }


@router.get("/people")
def list_people(page: PageDep) -> Response:
    return page.show("people/index.html", **_load_people(page))


@router.post("/staff")
def add_person(page: PageDep, posted: Posted) -> Response:
    """Adds a person and shows the invitation code once."""
    try:
        form = page.read(PersonForm, posted)
        shop = accounts.get_chain_shop(page.session, form.shop_id or shops.require_our_shop(page.session).id)
        added = accounts.add_person(page.session, form.who, form, shop.id)
        code = accounts.invite(page.session, form.who, added.id)
    except ShopError as error:
        return page.show_refused(error, "people/index.html", posted, lambda: _load_people(page), "staff")
    page.remember("/people")
    return page.show("people/index.html", **_load_people(page, secret=_show_invitation(added.sign_in_name, code)))


def _show_invitation(sign_in_name: str, code: str) -> dict[str, str]:
    words = f"An account is opened at /welcome as {sign_in_name}, once and within a day, with this code:"
    return {"words": words, "text": code}


@router.get("/people/{staff_id}")
def show_person_form(page: PageDep, staff_id: RecordId) -> Response:
    return page.show("people/form.html", **_load_person(page, staff_id))


def _load_person(page: Page, staff_id: int) -> dict[str, Any]:
    found = accounts.get_person(page.session, staff_id)
    names = ("name", "initials", "role", "sign_in_name", "shop_id")
    values = {name: str(getattr(found, name) or "") for name in names} | {"is_active": str(found.is_active).lower()}
    return {
        "person": found,
        "chain": shops.list_chain_shops(page.session),
        "sign_ins": sign_ins.list_open_sign_ins(page.session, staff_id),
        "values": values,
        "version": found.version,
        "history": changes.list_record_lines(page.session, found),
    }


@router.post("/people/{staff_id}")
def edit_person(page: PageDep, staff_id: RecordId, posted: Posted) -> Response:
    try:
        accounts.edit_person(page.session, staff_id, page.read(PersonForm, posted))
    except ShopError as error:
        return page.show_refused(error, "people/form.html", posted, lambda: _load_person(page, staff_id))
    return page.redirect(f"/people/{staff_id}")


@router.post("/people/{staff_id}/invitation")
def invite(page: PageDep, staff_id: RecordId, posted: Posted) -> Response:
    code = accounts.invite(page.session, page.read(SignedForm, posted).who, staff_id)
    name = accounts.get_person(page.session, staff_id).sign_in_name
    page.remember("/people")
    return page.show("people/index.html", **_load_people(page, secret=_show_invitation(name, code)))


@router.post("/people/{staff_id}/sign-outs")
def sign_out_person(page: PageDep, staff_id: RecordId, posted: Posted) -> Response:
    sign_ins.end_all(page.session, staff_id, page.read(SignedForm, posted).who)
    return page.redirect(f"/people/{staff_id}")


@router.post("/chain-shops")
def add_chain_shop(page: PageDep, posted: Posted) -> Response:
    try:
        shops.add_chain_shop(page.session, page.read(ShopForm, posted))
    except ShopError as error:
        return page.show_refused(error, "people/index.html", posted, lambda: _load_people(page), "shop")
    return page.redirect("/people")


@router.post("/rules/{name}")
def set_rule(page: PageDep, name: str, posted: Posted) -> Response:
    try:
        form = page.read(RuleForm, posted)
        rules.set_rule(page.session, name, form)
    except ShopError as error:
        return page.show_refused(error, "people/index.html", posted, lambda: _load_rules(page, name), name)
    return page.redirect("/people")


def _load_rules(page: Page, name: str) -> dict[str, Any]:
    return _load_people(page, prefix=f"{name}-", saved={"value": rules.get_rule(page.session, name)})


@router.post("/tokens")
def make_token(page: PageDep, posted: Posted) -> Response:
    try:
        form = page.read(TokenForm, posted)
        made, text = tokens.make_token(page.session, form, accounts.get_chain_shop(page.session, form.shop_id).id)
    except ShopError as error:
        return page.show_refused(error, "people/index.html", posted, lambda: _load_people(page), "token")
    page.remember("/people")
    words = f"The token “{made.label}”. It is shown this once and kept only as a hash:"
    return page.show("people/index.html", **_load_people(page, secret={"words": words, "text": text}))


@router.post("/tokens/{token_id}/removal")
def end_token(page: PageDep, token_id: RecordId, posted: Posted) -> Response:
    tokens.end_token(page.session, token_id, page.read(SignedForm, posted).who)
    return page.redirect("/people")
