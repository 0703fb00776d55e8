"""What a shop's network and the world may try: each test names what it holds against."""

import json
import logging
import re
from html import escape

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app import logs
from app.guards import is_foreign
from app.main import LARGEST_BODY, create_app
from app.models import Bowler, SignIn
from app.pages import admission
from app.pages.people import read_own_path
from app.settings import Settings
from seed_demo import PASSWORD
from tests.conftest import Client, not_none
from tests.pages.conftest import Look
from tests.pages.test_access import ROUTES, asked
from tests.pages.test_pages import PAGES, new_bowler


@pytest.mark.parametrize(
    "host", ["evil.test", "shop.test.evil.test", "shop.test@evil.test", "", "[::1", "evil.test:8765"]
)
def test_a_host_that_is_not_ours_is_refused(client: Client, host: str) -> None:
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 400
    assert "Anna Johnson" not in answer.text


@pytest.mark.parametrize(
    "host", ["shop.test", "shop.test:8765", "localhost", "127.0.0.1:8765", "192.168.1.20", "[fe80::1]:8765"]
)
def test_our_names_and_addresses_in_figures_are_answered(client: Client, host: str) -> None:
    assert client.get("/healthz", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("headers", "foreign"),
    [
        ({"host": "shop.test", "origin": "http://shop.test"}, False),
        ({"host": "shop.test:8765", "origin": "http://shop.test:8765"}, False),
        ({"host": "shop.test", "origin": "https://shop.test"}, True),  # another scheme is another site
        ({"host": "shop.test", "origin": "http://shop.test:81"}, True),
        ({"host": "shop.test", "origin": "null"}, True),
        ({"host": "shop.test"}, True),
        ({"host": "shop.test", "sec-fetch-site": "same-origin"}, False),
        ({"host": "shop.test", "sec-fetch-site": "same-site", "origin": "http://shop.test"}, True),
        ({"host": "shop.test", "sec-fetch-site": "cross-site", "origin": "http://shop.test"}, True),
    ],
)
def test_where_a_form_came_from(headers: dict[str, str], foreign: bool) -> None:
    from starlette.datastructures import Headers

    assert is_foreign("http", Headers(headers)) is foreign


def test_every_unsafe_route_refuses_another_sites_form(client: Client) -> None:
    for method, route in ROUTES:
        if method == "POST" and not route.startswith("/api/v1/calc/"):
            assert asked(client, method, route, {"origin": "http://evil.test"}).status_code == 403, route


@pytest.mark.once
@pytest.mark.parametrize("url", [*PAGES, "/sign-in", "/welcome", "/nope", "/healthz", "/openapi.json"])
def test_every_answer_carries_its_guards(look: Look, url: str) -> None:
    answer = look(url)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert re.fullmatch(r"[0-9a-f]{12}", answer.headers["x-request-id"])


@pytest.mark.once
@pytest.mark.parametrize("url", [*PAGES, "/sign-in", "/welcome", "/people", "/me", "/backups"])
def test_no_page_names_another_site_or_runs_script_of_its_own(look: Look, url: str) -> None:
    html = look(url).text
    assert not re.search(r"""(src|href|action)=["'](https?:)?//""", html)
    own = re.findall(r"<script(?![^>]*\bsrc=)[^>]*>", html)
    assert set(own) <= {'<script type="application/json" class="points">'}  # data, which no browser runs
    assert not re.search(r"\son\w+=", html)
    assert "javascript:" not in html


def test_the_cookie_is_httponly_lax_and_secure_where_that_is_possible(client: Client) -> None:
    client.sign_out()
    typed = {"sign_in_name": "tb", "password": PASSWORD}
    plain = client.post("/sign-in", typed).headers["set-cookie"]
    assert "HttpOnly" in plain
    assert "SameSite=lax" in plain
    assert "Secure" not in plain  # browsers drop Secure cookies on a shop's plain network
    own = {"origin": "https://shop.test"}
    over_tls = client.post("https://shop.test/sign-in", typed, headers=own)
    assert over_tls.headers["set-cookie"].startswith("__Host-spanbook=")
    assert "Secure" in over_tls.headers["set-cookie"]
    assert "max-age" in over_tls.headers["strict-transport-security"]


def test_signing_in_gives_a_new_token_and_signing_out_ends_it(client: Client, session: Session) -> None:
    client.sign_out()
    client.http.cookies.set("spanbook", "a-token-somebody-planted", domain="shop.test", path="/")
    answer = client.post("/sign-in", {"sign_in_name": "tb", "password": PASSWORD, "next": "/bowlers/1"})
    assert answer.headers["location"] == "/bowlers/1"
    token = not_none(re.search(r"spanbook=([^;]+)", answer.headers["set-cookie"]))[1]
    assert token != "a-token-somebody-planted"
    client.http.cookies.clear()
    client.carry(token)
    assert client.get("/bowlers/1").status_code == 200
    renewed = client.post("/sign-in", {"sign_in_name": "tb", "password": PASSWORD})
    client.http.cookies.clear()
    client.carry(token)
    assert client.get("/bowlers/1").status_code == 303  # signing in again ended the token this browser had
    token = not_none(re.search(r"spanbook=([^;]+)", renewed.headers["set-cookie"]))[1]
    client.http.cookies.clear()
    client.carry(token)
    assert client.post("/sign-out", {}).headers["location"] == "/sign-in"
    client.http.cookies.clear()
    client.carry(token)
    assert client.get("/bowlers/1").headers["location"].startswith("/sign-in?next=")
    assert not_none(session.scalars(select(SignIn).order_by(SignIn.id.desc())).first()).ended_at is not None


@pytest.mark.parametrize(
    "asked_for",
    [
        "https://evil.test/",
        "//evil.test",
        "/\\evil.test",
        "\\\\evil.test",
        "javascript:alert(1)",
        "evil.test",
        "/\n/evil.test",
        "/sign-in",
        "//[x",
        "/\\[x",
        "[x",
        "",
    ],
)
def test_signing_in_leads_nowhere_else(client: Client, asked_for: str) -> None:
    assert read_own_path(asked_for) == "/"
    client.sign_out()
    assert client.get("/sign-in", params={"next": asked_for}).status_code == 200
    typed = {"sign_in_name": "tb", "password": PASSWORD, "next": asked_for}
    assert client.post("/sign-in", typed).headers["location"] == "/"


def test_a_password_is_never_shown_again(client: Client) -> None:
    client.sign_out()
    answer = client.post("/sign-in", {"sign_in_name": "tb", "password": "my secret and wrong"})
    assert answer.status_code == 422
    assert "my secret and wrong" not in answer.text
    assert 'value="tb"' in answer.text


def test_a_body_that_is_too_large_is_refused(client: Client) -> None:
    answer = client.post("/bowlers", {"name": "x" * (LARGEST_BODY + 1)})
    assert answer.status_code == 413
    files = {"photo": ("a.jpg", b"\xff\xd8\xff" + b"0" * (LARGEST_BODY + 1), "image/jpeg")}
    assert client.post("/visitors/set", {"bowler_name": "x"}, files=files).status_code == 413
    parts = {f"f{i}": "x" * 100_000 for i in range(4)}  # each of a size that is taken, but no photo among them
    assert client.post("/visitors/set", parts).status_code == 413


def test_a_form_full_of_escapes_is_read_alone(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """Undoing 87,000 of them takes a tenth of a second, in which no page is answered."""
    rests = []

    async def rest(seconds: float) -> None:
        assert client.app.state.lanes.escaped_forms.available_tokens == 0
        rests.append(seconds)

    monkeypatch.setattr(admission, "sleep", rest)
    form = {"content-type": "application/x-www-form-urlencoded"}
    client.post("/sign-in", content=b"a=" + b"%41" * 87_000, headers=form)
    client.post("/sign-in", content=b"a=" + b"A" * 200_000, headers=form)
    assert len(rests) == 1


def test_too_many_fields_or_files_are_refused(client: Client) -> None:
    assert client.post("/bowlers", {f"f{i}": "x" for i in range(261)}).status_code == 400
    files = [("photo", ("a.jpg", b"x")), ("photo", ("b.jpg", b"x"))]
    assert client.post("/visitors/set", {}, files=files).status_code == 400


def test_what_is_typed_never_becomes_markup(client: Client, who: str, session: Session) -> None:
    nasty = "<img src=x onerror=alert(1)>\"'"
    assert client.post("/bowlers", new_bowler(who, name=nasty, notes=nasty)).status_code == 303
    made = session.scalars(select(Bowler).where(Bowler.name == nasty)).one()
    for url in (
        f"/bowlers/{made.id}",
        f"/bowlers/{made.id}/edit",
        "/?q=onerror",
        f"/bowlers/{made.id}/held",
        "/nope?q=<script>",
    ):
        assert "<img src=x" not in client.get(url).text
    assert client.get("/?q=%00%3Cscript%3E").status_code == 200


@pytest.mark.parametrize("text", ["'; DROP TABLE bowler; --", "%' OR 1=1 --", "\x00\x00", "_%_%"])
def test_a_search_is_never_part_of_the_query(client: Client, session: Session, text: str) -> None:
    answer = client.get("/", params={"q": text})
    assert answer.status_code == 200
    assert "Chiara Montani" not in answer.text
    assert session.scalars(select(Bowler)).first() is not None


def test_an_error_tells_nothing_of_the_inside_and_the_log_finds_it_again(
    client: Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from app.services import balls

    monkeypatch.setattr(balls, "get_ball", lambda *_: 1 / 0)
    with caplog.at_level(logging.INFO, logger="spanbook"):
        answer = client.get("/balls/1")
    assert answer.status_code == 500
    for inside in ("ZeroDivision", "Traceback", "/app/", "sqlalchemy", ".py"):
        assert inside not in answer.text
    request_id = answer.headers["x-request-id"]
    assert request_id in answer.text
    told = [json.loads(logs.Lines().format(r)) for r in caplog.records if getattr(r, "id", "") == request_id]
    assert any(t.get("broken") == "ZeroDivisionError" for t in told)
    assert any(t.get("status") == 500 and t["route"] == "/balls/{ball_id}" for t in told)


def test_the_log_holds_no_personal_data(client: Client, who: str, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG, logger="spanbook"):
        client.get("/?q=johnson")
        client.post("/bowlers", new_bowler(who, name="Sensitive Name", phone="555 0100 9999"))
        client.get("/bowlers/1")
        client.get("/nobody/anna-johnson")
        client.post("/sign-in", {"sign_in_name": "tb", "password": "wrong one"})  # pragma: allowlist secret
    lines = [logs.Lines().format(r) for r in caplog.records if r.name.startswith("spanbook")]
    assert len(lines) >= 5
    for private in ("johnson", "Johnson", "Sensitive", "9999", "wrong one", "shop.test"):
        assert private not in "\n".join(lines)
    assert {"at", "log", "level", "said", "id", "method", "route", "status", "ms"} == set(json.loads(lines[0]))


def test_a_slow_query_is_logged_without_its_values(
    settings: Settings, token: str, caplog: pytest.LogCaptureFixture
) -> None:
    app = create_app(settings.model_copy(update={"slow_query_ms": 0}))
    client = Client(app).carry(token)
    with caplog.at_level(logging.WARNING, logger="spanbook.queries"):
        client.get("/?q=johnson")
    client.close()
    app.state.engine.dispose()
    lines = [json.loads(logs.Lines().format(r)) for r in caplog.records if r.name == "spanbook.queries"]
    assert any("FROM bowler" in line["query"] for line in lines)
    assert "johnson" not in str(lines)


def test_health_is_told_to_anybody_and_readiness_knows_the_tables(client: Client, app: FastAPI) -> None:
    client.sign_out()
    assert client.get("/healthz").json() == {"status": "ok"}
    assert client.get("/readyz").json() == {"status": "ok"}
    with app.state.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
    assert client.get("/readyz").status_code == 503


def test_a_form_sent_while_signed_out_keeps_its_text_to_be_sent_again(
    client: Client, who: str, session: Session
) -> None:
    client.sign_out()
    typed = new_bowler(who, name="Lars <Quint>", notes="long typed note") | {"key": "k-1", "password": "never kept"}
    page = client.post("/bowlers", typed)
    assert page.status_code == 401
    assert 'name="notes" value="long typed note"' in page.text
    assert "never kept" not in page.text
    kept = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.text))
    client.sign_in("TB")
    assert client.post("/bowlers", kept | {"name": "Lars <Quint>"}).status_code == 303
    assert session.scalar(select(Bowler).where(Bowler.name == "Lars <Quint>")) is not None


def test_a_fragment_asked_for_while_signed_out_takes_nobody_from_the_page(client: Client) -> None:
    client.sign_out()
    answer = client.get("/?q=anna", headers={"HX-Request": "true"})
    assert (answer.status_code, answer.text) == (401, "")
    assert not [name for name in answer.headers if name.startswith("hx-")]


@pytest.mark.parametrize("address", ["192.0.2.9", "10.0.0.5"])
def test_the_first_owner_is_set_up_on_the_machine_itself_only(empty_url: str, address: str) -> None:
    import httpx

    app = create_app(Settings(database_url=empty_url, hosts="shop.test"))
    client = Client(app)
    assert client.get("/").headers["location"] == "/sign-in?next=%2F"
    assert client.get("/sign-in").headers["location"] == "/setup"
    client.http._transport = httpx.ASGITransport(app=app, client=(address, 4711))
    assert client.get("/setup").status_code == 403
    client.http._transport = httpx.ASGITransport(app=app)
    assert client.get("/setup", headers={"x-forwarded-for": address}).status_code == 403
    typed = {"shop_name": "", "staff_name": "Ada Moss", "initials": "am", "password": PASSWORD}
    refused = client.post("/setup", typed)
    assert refused.status_code == 422
    assert PASSWORD not in refused.text
    no_pin = client.post("/setup", typed | {"shop_name": "Test Lane", "pin": "12"})
    assert (no_pin.status_code, 'id="pin-error"' in no_pin.text) == (422, True)
    assert re.findall(r'name="password"[^>]*value="([^"]*)"', no_pin.text) == [escape(PASSWORD)]
    assert client.post("/setup", typed | {"shop_name": "Test Lane"}).headers["location"] == "/"
    assert "Your first day" in client.get("/").text  # as the owner who is signed in already
    assert "Test Lane" in client.get("/").text
    client.sign_out()
    for name in ("AM", "am", "ada  moss", "Ada Moss"):
        signed_in = client.post("/sign-in", {"sign_in_name": name, "password": PASSWORD})
        assert signed_in.headers["location"] == "/"
    assert client.get("/setup").headers["location"] == "/"
    client.close()
    app.state.engine.dispose()
