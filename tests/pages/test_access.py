"""Every route, for everybody: the expected answers stand here by hand, so that a new route without an entry fails."""

import re

import pytest
from fastapi import FastAPI
from fastapi import Response as Answer
from httpx import Response
from sqlalchemy.orm import Session

from app.models import Shop, Staff
from app.pages import prints
from app.pages.admission import PageDep, PageRoute, PageRouter
from app.pages.registry import PAGES
from app.services.tokens import end_token, make_token
from seed_demo import PIN
from tests.conftest import Client, signed_in

ANYBODY, COUNTER, DRILLER, OWNER = range(4)
INITIALS = {COUNTER: "RV", DRILLER: "OL", OWNER: "TB"}
READ, WRITE = "read", "write"

# (method, route): (the least who may, the answer they get; to a form, when it is sent empty)
ROUTES = {
    ("GET", "/openapi.json"): (ANYBODY, 200),
    ("GET", "/"): (COUNTER, 200),
    ("GET", "/next"): (COUNTER, 303),
    ("GET", "/board"): (COUNTER, 200),
    ("GET", "/board/events"): (COUNTER, 200),
    ("GET", "/board/paper"): (COUNTER, 200),
    ("GET", "/board/paper.pdf"): (COUNTER, 200),
    ("GET", "/floor"): (COUNTER, 200),
    ("POST", "/floor"): (OWNER, 422),
    ("GET", "/design"): (COUNTER, 200),
    ("GET", "/help"): (COUNTER, 200),
    ("GET", "/help/{name}"): (COUNTER, 404),
    ("GET", "/bowlers/match"): (COUNTER, 303),
    ("GET", "/read-back/{kind}"): (COUNTER, 200),
    ("GET", "/bowlers/new"): (COUNTER, 200),
    ("POST", "/bowlers"): (COUNTER, 422),
    ("GET", "/bowlers/{bowler_id}"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/sits"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/edit"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}"): (COUNTER, 422),
    ("POST", "/bowlers/{bowler_id}/removal"): (COUNTER, 422),
    ("POST", "/bowlers/{bowler_id}/return"): (COUNTER, 422),
    ("GET", "/bowlers/{bowler_id}/merger"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/merger"): (DRILLER, 422),
    ("GET", "/mergers/{merger_id}/parting"): (COUNTER, 404),
    ("POST", "/mergers/{merger_id}/parting"): (DRILLER, 404),
    ("GET", "/bowlers/{bowler_id}/fits/new"): (COUNTER, 303),
    ("POST", "/bowlers/{bowler_id}/fits"): (DRILLER, 422),
    ("GET", "/fits/sketch"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/edit"): (COUNTER, 303),
    ("POST", "/fits/{fit_id}"): (DRILLER, 422),
    ("POST", "/fits/{fit_id}/in-force"): (DRILLER, 409),
    ("POST", "/fits/{fit_id}/revisions"): (DRILLER, 422),
    ("POST", "/fits/{fit_id}/discarding"): (DRILLER, 422),
    ("POST", "/fits/{fit_id}/discarding-removal"): (DRILLER, 422),
    ("GET", "/fits/{fit_id}/transfer"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/comparison"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/balls/new"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/balls"): (COUNTER, 422),
    ("GET", "/balls/{ball_id}"): (COUNTER, 200),
    ("GET", "/photos/{photo_id}"): (COUNTER, 404),
    ("GET", "/photos/{photo_id}/thumbnail"): (COUNTER, 404),
    ("POST", "/photos/{photo_id}/removal"): (COUNTER, 404),
    ("GET", "/photos/of/{noun}/{record_id}"): (COUNTER, 200),
    ("POST", "/photos/of/{noun}/{record_id}"): (COUNTER, 422),
    ("GET", "/balls/{ball_id}/edit"): (COUNTER, 200),
    ("POST", "/balls/{ball_id}"): (COUNTER, 422),
    ("POST", "/balls/{ball_id}/retirement"): (COUNTER, 409),
    ("POST", "/balls/{ball_id}/removal"): (COUNTER, 422),
    ("POST", "/balls/{ball_id}/return"): (COUNTER, 422),
    ("GET", "/balls/{ball_id}/owner"): (COUNTER, 200),
    ("POST", "/balls/{ball_id}/owner"): (DRILLER, 422),
    ("GET", "/inners/{inner_id}/owner"): (COUNTER, 200),
    ("POST", "/inners/{inner_id}/owner"): (DRILLER, 422),
    ("GET", "/owner-changes/{change_id}/undoing"): (COUNTER, 404),
    ("POST", "/owner-changes/{change_id}/undoing"): (DRILLER, 404),
    ("GET", "/balls/{ball_id}/old-holes/new"): (COUNTER, 200),
    ("POST", "/balls/{ball_id}/old-holes"): (DRILLER, 422),
    ("GET", "/old-holes/{old_hole_id}/edit"): (COUNTER, 404),
    ("POST", "/old-holes/{old_hole_id}"): (DRILLER, 404),
    ("GET", "/balls/{ball_id}/drillings/new"): (COUNTER, 200),
    ("POST", "/balls/{ball_id}/drillings"): (DRILLER, 422),
    ("GET", "/drillings/{drilling_id}"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/finish"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/comparison"): (COUNTER, 404),
    ("POST", "/drillings/{drilling_id}/drilled"): (DRILLER, 409),
    ("POST", "/drillings/{drilling_id}/measurements"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/closing"): (DRILLER, 409),
    ("POST", "/drillings/{drilling_id}/plugging"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/calling-off"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/calling-off-removal"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/findings"): (DRILLER, 422),
    ("GET", "/drillings/{drilling_id}/bench"): (COUNTER, 200),
    ("POST", "/drillings/{drilling_id}/confirmation"): (DRILLER, 409),
    ("POST", "/drillings/{drilling_id}/tick-passes"): (DRILLER, 200),
    ("POST", "/drillings/{drilling_id}/steps/{position}/tick"): (DRILLER, 409),
    ("POST", "/drillings/{drilling_id}/steps/{position}/tick-removal"): (DRILLER, 409),
    ("POST", "/drillings/{drilling_id}/steps/{position}/skip"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/decision"): (DRILLER, 422),
    ("POST", "/drillings/{drilling_id}/depth-readings"): (DRILLER, 422),
    ("GET", "/drillings/{drilling_id}/sheet"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/sheet.pdf"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/strips"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/strips.pdf"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/passport"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/passport.pdf"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/card"): (COUNTER, 200),
    ("GET", "/fits/{fit_id}/card.pdf"): (COUNTER, 200),
    ("GET", "/balls/{ball_id}/tag"): (COUNTER, 200),
    ("GET", "/balls/{ball_id}/tag.pdf"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/card"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/card"): (COUNTER, 422),
    ("GET", "/bowlers/{bowler_id}/card.txt"): (COUNTER, 404),
    ("GET", "/bowlers/{bowler_id}/card.cbor"): (COUNTER, 404),
    ("GET", "/bowlers/{bowler_id}/card.pdf"): (COUNTER, 404),
    ("GET", "/bowlers/{bowler_id}/card.json"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/fits.csv"): (COUNTER, 200),
    ("GET", "/bowlers.csv"): (OWNER, 200),
    ("GET", "/bowlers.xlsx"): (OWNER, 200),
    ("GET", "/help/card.schema.json"): (COUNTER, 200),
    ("GET", "/cards/read"): (COUNTER, 200),
    ("POST", "/cards/read"): (COUNTER, 422),
    ("POST", "/cards/takings"): (DRILLER, 422),
    ("GET", "/cards/{card_id}"): (COUNTER, 404),
    ("POST", "/cards/{card_id}/taking-back"): (DRILLER, 404),
    ("GET", "/keys"): (OWNER, 200),
    ("POST", "/keys/paper/showing"): (OWNER, 422),
    ("POST", "/keys/replacement"): (OWNER, 422),
    ("POST", "/keys/paper"): (OWNER, 422),
    ("POST", "/keys/{key_id}/acceptance"): (OWNER, 422),
    ("GET", "/systems"): (COUNTER, 200),
    ("GET", "/systems/new"): (COUNTER, 200),
    ("POST", "/systems"): (DRILLER, 422),
    ("GET", "/systems/{system_id}"): (COUNTER, 200),
    ("GET", "/systems/{system_id}/edit"): (COUNTER, 200),
    ("POST", "/systems/{system_id}/removal"): (DRILLER, 409),
    ("GET", "/systems/{system_id}/route"): (COUNTER, 200),
    ("POST", "/systems/{system_id}/route"): (DRILLER, 409),
    ("POST", "/systems/{system_id}"): (DRILLER, 422),
    ("GET", "/shelf"): (COUNTER, 200),
    ("GET", "/shelf/new"): (COUNTER, 200),
    ("POST", "/parts"): (DRILLER, 422),
    ("GET", "/parts/{part_id}"): (COUNTER, 200),
    ("GET", "/parts/{part_id}/edit"): (COUNTER, 200),
    ("POST", "/parts/{part_id}"): (DRILLER, 422),
    ("POST", "/parts/{part_id}/deliveries"): (COUNTER, 422),
    ("POST", "/parts/{part_id}/counts"): (DRILLER, 422),
    ("POST", "/movements/{movement_id}/undoing"): (DRILLER, 422),
    ("GET", "/parts/{part_id}/label"): (COUNTER, 200),
    ("GET", "/parts/{part_id}/label.pdf"): (COUNTER, 200),
    ("GET", "/quality"): (COUNTER, 200),
    ("GET", "/drillings/{drilling_id}/alike"): (COUNTER, 200),
    ("GET", "/shops"): (COUNTER, 200),
    ("GET", "/shops/new"): (COUNTER, 200),
    ("POST", "/shops"): (DRILLER, 422),
    ("GET", "/shops/{shop_id}"): (COUNTER, 200),
    ("GET", "/shops/{shop_id}/edit"): (COUNTER, 200),
    ("POST", "/shops/{shop_id}"): (DRILLER, 422),
    ("POST", "/shops/{shop_id}/look"): (OWNER, 422),
    ("GET", "/shops/{shop_id}/picture"): (COUNTER, 404),
    ("POST", "/shops/{shop_id}/merger"): (DRILLER, 422),
    ("POST", "/shops/{shop_id}/merger-removal"): (DRILLER, 409),
    ("POST", "/shops/{shop_id}/depths"): (DRILLER, 422),
    ("GET", "/settings"): (COUNTER, 200),
    ("POST", "/settings/{name}"): (OWNER, 422),
    ("GET", "/tickets/new"): (COUNTER, 303),
    ("POST", "/tickets"): (COUNTER, 422),
    ("GET", "/tickets/{ticket_id}"): (COUNTER, 404),
    ("GET", "/tickets/{ticket_id}/edit"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/ready"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/scan"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/take"): (DRILLER, 404),
    ("POST", "/tickets/{ticket_id}/putting-back"): (DRILLER, 404),
    ("POST", "/tickets/{ticket_id}/done"): (DRILLER, 404),
    ("POST", "/tickets/{ticket_id}/hand-over"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/follow-up"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/taking-back"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/calling-off"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/calling-off-removal"): (COUNTER, 404),
    ("POST", "/tickets/{ticket_id}/waits"): (COUNTER, 404),
    ("POST", "/waits/{wait_id}/end"): (COUNTER, 404),
    ("GET", "/tickets/{ticket_id}/message"): (COUNTER, 404),
    ("GET", "/tickets/{ticket_id}/hand-over"): (COUNTER, 404),
    ("GET", "/tickets/{ticket_id}/hand-over.pdf"): (COUNTER, 404),
    ("GET", "/follow-ups"): (COUNTER, 200),
    ("GET", "/squads"): (COUNTER, 200),
    ("POST", "/squads"): (COUNTER, 422),
    ("GET", "/squads/{squad_id}"): (COUNTER, 404),
    ("POST", "/squads/{squad_id}"): (COUNTER, 404),
    ("GET", "/squads/{squad_id}/paper"): (COUNTER, 404),
    ("GET", "/squads/{squad_id}/paper.pdf"): (COUNTER, 404),
    ("GET", "/visitors"): (COUNTER, 200),
    ("GET", "/visitors/known-depth"): (COUNTER, 200),
    ("POST", "/visitors"): (COUNTER, 422),
    ("GET", "/bowlers/{bowler_id}/inners/new"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/inners"): (DRILLER, 422),
    ("GET", "/inners/{inner_id}"): (COUNTER, 200),
    ("POST", "/inners/{inner_id}/trial-fits"): (DRILLER, 422),
    ("POST", "/inners/{inner_id}/depth"): (DRILLER, 409),
    ("GET", "/inners/{inner_id}/loose"): (COUNTER, 200),
    ("POST", "/inners/{inner_id}/loose"): (DRILLER, 422),
    ("POST", "/inners/{inner_id}/findings"): (DRILLER, 422),
    ("POST", "/inners/{inner_id}/completion"): (DRILLER, 409),
    ("POST", "/inners/{inner_id}/retirement"): (DRILLER, 409),
    ("GET", "/visitors/set"): (COUNTER, 200),
    ("POST", "/visitors/set"): (COUNTER, 422),
    ("GET", "/bits"): (COUNTER, 200),
    ("POST", "/bits"): (DRILLER, 422),
    ("POST", "/bits/{bit_id}/events"): (DRILLER, 422),
    ("GET", "/bowlers/{bowler_id}/axis-points"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/axis-points"): (DRILLER, 422),
    ("POST", "/axis-points/{axis_point_id}/taking-back"): (DRILLER, 404),
    ("GET", "/balls/{ball_id}/marks"): (COUNTER, 200),
    ("POST", "/balls/{ball_id}/marks"): (DRILLER, 422),
    ("GET", "/balls/{ball_id}/layout"): (COUNTER, 200),
    ("GET", "/balls/{ball_id}/layout/reading"): (COUNTER, 422),
    ("GET", "/balls/{ball_id}/layout/comparison"): (COUNTER, 404),
    ("POST", "/balls/{ball_id}/layouts"): (DRILLER, 422),
    ("POST", "/layouts/{layout_id}/dropping"): (DRILLER, 404),
    ("POST", "/drillings/{drilling_id}/layout"): (DRILLER, 422),
    ("POST", "/layouts/{layout_id}/favourite"): (DRILLER, 404),
    ("GET", "/layouts/{layout_id}/strips"): (COUNTER, 404),
    ("GET", "/layouts/{layout_id}/strips.pdf"): (COUNTER, 404),
    ("POST", "/favourite-layouts/{favourite_id}/removal"): (DRILLER, 404),
    ("GET", "/drillings/{drilling_id}/balance"): (COUNTER, 200),
    ("POST", "/drillings/{drilling_id}/weighings"): (DRILLER, 422),
    ("POST", "/weighings/{weighing_id}/taking-back"): (DRILLER, 404),
    ("GET", "/scales"): (COUNTER, 200),
    ("POST", "/scales"): (DRILLER, 422),
    ("GET", "/scales/{scale_id}"): (COUNTER, 404),
    ("POST", "/scales/{scale_id}"): (DRILLER, 404),
    ("GET", "/regulations"): (COUNTER, 200),
    ("POST", "/regulations"): (OWNER, 422),
    ("POST", "/regulations/import"): (OWNER, 422),
    ("POST", "/regulations/{regulation_id}/ending"): (OWNER, 404),
    ("GET", "/regulations/{regulation_id}"): (COUNTER, 404),
    ("POST", "/regulations/example"): (OWNER, 303),
    ("GET", "/studies"): (COUNTER, 200),
    ("POST", "/studies"): (DRILLER, 422),
    ("GET", "/troubles"): (COUNTER, 200),
    ("POST", "/troubles"): (COUNTER, 422),
    ("GET", "/sign-in"): (ANYBODY, 200),
    ("POST", "/sign-in"): (ANYBODY, 422),
    ("POST", "/sign-out"): (COUNTER, 303),
    ("GET", "/welcome"): (ANYBODY, 200),
    ("POST", "/welcome"): (ANYBODY, 422),
    ("GET", "/setup"): (ANYBODY, 303),
    ("POST", "/setup"): (ANYBODY, 422),
    ("GET", "/me"): (COUNTER, 200),
    ("POST", "/me/password"): (COUNTER, 422),
    ("POST", "/me/pin"): (COUNTER, 422),
    ("POST", "/me/sign-outs"): (COUNTER, 303),
    ("POST", "/demo/tips"): (COUNTER, 404),
    ("POST", "/first-day/putting-away"): (OWNER, 303),
    ("GET", "/people"): (OWNER, 200),
    ("POST", "/staff"): (OWNER, 422),
    ("GET", "/people/{staff_id}"): (OWNER, 200),
    ("POST", "/people/{staff_id}"): (OWNER, 422),
    ("POST", "/people/{staff_id}/invitation"): (OWNER, 200),
    ("POST", "/people/{staff_id}/sign-outs"): (OWNER, 303),
    ("POST", "/chain-shops"): (OWNER, 422),
    ("POST", "/rules/{name}"): (OWNER, 422),
    ("POST", "/tokens"): (OWNER, 422),
    ("POST", "/tokens/{token_id}/removal"): (OWNER, 404),
    ("GET", "/bowlers/{bowler_id}/held"): (COUNTER, 200),
    ("GET", "/bowlers/{bowler_id}/held.json"): (COUNTER, 200),
    ("POST", "/bowlers/{bowler_id}/erasure"): (OWNER, 422),
    ("GET", "/retention"): (OWNER, 200),
    ("GET", "/backups"): (OWNER, 200),
    ("GET", "/moving-in/cards"): (COUNTER, 200),
    ("POST", "/moving-in/cards"): (COUNTER, 422),
    ("GET", "/moving-in/cards/{stack_id}"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/pictures"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/next"): (COUNTER, 404),
    ("GET", "/moving-in/cards/{stack_id}/second-look"): (COUNTER, 404),
    ("GET", "/moving-in/cards/{stack_id}/{number}"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/{number}"): (COUNTER, 404),
    ("GET", "/moving-in/cards/{stack_id}/{number}/picture"): (COUNTER, 404),
    ("GET", "/moving-in/cards/{stack_id}/{number}/reading"): (COUNTER, 404),
    ("GET", "/moving-in/cards/{stack_id}/{number}/second-look"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/{number}/second-look"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/{number}/second-look/taking-back"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/{number}/taking-back"): (COUNTER, 404),
    ("POST", "/moving-in/cards/{stack_id}/{number}/leaving-out"): (COUNTER, 404),
    ("GET", "/moving-in"): (COUNTER, 200),
    ("POST", "/moving-in"): (OWNER, 422),
    ("GET", "/moving-in/{import_id}"): (COUNTER, 404),
    ("GET", "/moving-in/{import_id}/columns"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/columns"): (OWNER, 404),
    ("GET", "/moving-in/{import_id}/conventions"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/conventions"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/dry-run"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/import"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/going-on"): (OWNER, 404),
    ("POST", "/moving-in/{import_id}/taking-back"): (OWNER, 404),
    ("GET", "/moving-in/{import_id}/rows"): (COUNTER, 404),
    ("GET", "/moving-in/{import_id}/rows/{number}"): (COUNTER, 404),
    ("POST", "/moving-in/{import_id}/rows/{number}"): (COUNTER, 404),
    ("GET", "/moving-in/{import_id}/inbox"): (COUNTER, 404),
    ("POST", "/backups"): (OWNER, 303),
    ("GET", "/healthz"): (ANYBODY, 200),
    ("GET", "/readyz"): (ANYBODY, 200),
    ("POST", "/api/v1/calc/grip"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/cuts"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/flushness"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/collar-depth"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/felt-pitch"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/bore-depth"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/shop-depth"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/oval"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/inner-wall"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/layout"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/layout-read"): (ANYBODY, 422),
    ("POST", "/api/v1/calc/balance"): (ANYBODY, 422),
    ("GET", "/api/v1/measures/{kind}"): (ANYBODY, 422),
    ("GET", "/static"): (ANYBODY, 307),
}
# (method, route): (the scope a token needs, the answer with it)
TOKEN_ROUTES = {
    ("GET", "/api/v1/bowlers"): (READ, 200),
    ("GET", "/api/v1/bowlers/{bowler_id}"): (READ, 200),
    ("POST", "/api/v1/bowlers"): (WRITE, 422),
    ("GET", "/api/v1/shops/{shop_id}/depths"): (READ, 200),
}
RECORDS = {
    "shop_id": "2",
    "staff_id": "3",
    "kind": "span",
    "name": "tolerance",
    "noun": "ball",
}  # of the demo; any other is number 1
QUERIES = {
    "/api/v1/bowlers": "?q=anna",
    "/fits/{fit_id}/comparison": "?other=2",
    "/drillings/{drilling_id}/comparison": "?other=999999",
    "/balls/{ball_id}/layout/comparison": "?one=layout-999999&other=typed",
}


def table_of(app: FastAPI) -> set[tuple[str, str]]:
    """Every (method, route) the app answers."""
    found: set[tuple[str, str]] = set()
    for route in app.routes:
        for one in route.effective_candidates() if hasattr(route, "effective_candidates") else [route]:
            methods = (getattr(one, "methods", None) or {"GET"}) - {"HEAD", "OPTIONS"}
            found |= {(method, getattr(one, "path", "no path")) for method in methods}
    return found


def asked(client: Client, method: str, route: str, headers: dict[str, str] | None = None) -> Response:
    address = re.sub(r"\{(\w+)\}", lambda name: RECORDS.get(name[1], "1"), route)
    if method == "GET":
        address += QUERIES.get(route, "")
    return client.get(address, headers=headers or {}) if method == "GET" else client.post(address, {}, headers)


def test_every_page_is_behind_admission() -> None:
    routes = [route for page in PAGES for route in page.router.routes]
    assert len(routes) > 100
    assert [route for route in routes if not isinstance(route, PageRoute)] == []


def test_every_route_has_an_entry(app: FastAPI) -> None:
    assert table_of(app) == set(ROUTES) | set(TOKEN_ROUTES)


@pytest.mark.parametrize("level", [COUNTER, DRILLER, OWNER])
def test_what_each_role_may(app: FastAPI, level: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prints, "_make_pdf", lambda html, paper: b"%PDF")  # test_prints reads them
    client = Client(app)
    wrong = []
    for (method, route), (least, allowed) in ROUTES.items():
        client.sign_out().sign_in(INITIALS[level])
        expected = allowed if level >= least else 403
        answer = asked(client, method, route)
        if answer.status_code != expected:
            wrong.append((method, route, answer.status_code, expected))
    client.close()
    assert wrong == []


def test_what_somebody_signed_out_gets(app: FastAPI) -> None:
    client = Client(app)
    wrong = []
    for (method, route), (least, allowed) in ROUTES.items():
        answer = asked(client, method, route)
        expected = allowed if least == ANYBODY else 303 if method == "GET" else 401
        leads = answer.headers.get("location", "")
        if answer.status_code != expected or (least and method == "GET" and not leads.startswith("/sign-in?next=")):
            wrong.append((method, route, answer.status_code, expected, leads))
    client.close()
    assert wrong == []


@pytest.fixture
def tokens(app: FastAPI, who: str) -> dict[tuple[str, ...], str]:
    """A token of each kind, by its scopes; `ended` has none that count any more."""
    from app.schemas.identities import TokenForm

    made: dict[tuple[str, ...], str] = {}
    with app.state.sessions() as session, session.begin():
        for scopes in ((READ,), (WRITE,), (READ, WRITE)):
            form = TokenForm.read({"who": who, "label": "till", "shop_id": "1", "scopes": " ".join(scopes)})
            made[scopes] = make_token(session, form, 1)[1]
        ended, made["ended",] = make_token(session, form, 1)
        end_token(session, ended.id, int(who))
    return made


def test_what_each_token_may(app: FastAPI, tokens: dict[tuple[str, ...], str]) -> None:
    client = Client(app)
    wrong = []
    for (method, route), (scope, allowed) in TOKEN_ROUTES.items():
        for scopes, text in tokens.items():
            expected = 401 if "ended" in scopes else allowed if scope in scopes else 403
            answer = asked(client, method, route, {"authorization": f"Bearer {text}"})
            if answer.status_code != expected:
                wrong.append((method, route, scopes, answer.status_code, expected))
        for headers in ({}, {"authorization": "Bearer span_guess"}, {"authorization": f"Basic {tokens[(READ,)]}"}):
            assert asked(client, method, route, headers).status_code == 401
        client.sign_in("TB")  # a browser's sign-in is no token
        assert asked(client, method, route).status_code == 401
        client.sign_out()
    client.close()
    assert wrong == []


def test_a_token_opens_no_page(app: FastAPI, tokens: dict[tuple[str, ...], str]) -> None:
    client = Client(app)
    answer = client.get("/bowlers/1", headers={"authorization": f"Bearer {tokens[(READ, WRITE)]}"})
    assert answer.status_code == 303
    client.close()


def test_an_owner_who_acts_by_pin_has_to_sign_in_for_owners_things(app: FastAPI, client: Client) -> None:
    client.sign_out().sign_in("OL")
    with app.state.sessions() as session:
        owner = session.query(Staff).filter_by(initials="TB").one().id
    typed = {"name": "New Person", "initials": "NP", "who": str(owner), "pin": PIN}
    refused = client.post("/staff", typed)
    assert refused.status_code == 403
    assert "Sign in with your password" in refused.text
    assert (
        client.post("/bowlers", {"name": "Lars Quint", "hand": "right", "who": str(owner), "pin": PIN}).status_code
        == 303
    )


def test_nothing_is_written_under_a_wrong_pin_even_where_a_page_forgets_to_read_who_signed(
    app: FastAPI, client: Client, who: str, session: Session
) -> None:
    router = PageRouter()

    @router.post("/forgetful")
    def write(page: PageDep) -> Answer:
        page.session.add(Shop(name="Written all the same"))
        return page.redirect("/")

    app.include_router(router)
    other = "1" if who == "2" else "2"
    assert client.post("/forgetful", {"who": other, "pin": "9999"}).status_code == 403
    assert session.query(Shop).filter_by(name="Written all the same").count() == 0


@pytest.mark.parametrize("route", ["/staff", "/people/1", "/tokens", "/bowlers/1/erasure"])
def test_a_wrong_pin_shows_nobody_an_owners_page(client: Client, route: str) -> None:
    client.sign_out().sign_in("RV")
    refused = client.post(route, {"who": "2", "pin": "9999"})
    assert refused.status_code == 403
    assert "That is for the owner to do." in refused.text


def test_a_counter_persons_pin_at_the_bench_is_refused_there_and_nobody_else_acts(
    client: Client, session: Session, who: str
) -> None:
    counter = session.query(Staff).filter_by(initials="RV").one().id
    session.rollback()  # it holds the writers' lock
    refused = client.post("/drillings/3/steps/1/tick", {"who": str(counter), "pin": PIN})
    assert refused.status_code == 422
    assert "RV may not do this" in refused.text
    assert 'id="tick"' in refused.text
    assert client.post("/drillings/3/steps/1/tick", {"who": who, "pin": ""}).status_code == 303


def test_a_form_its_sender_may_not_send_stays_typed_for_somebody_who_may(client: Client) -> None:
    client.sign_out().sign_in("RV")
    refused = client.post("/fits/2", {"spans": "4 1/4 x 4 1/8", "pin": "2580"})
    assert refused.status_code == 403
    assert "That is for the driller to do." in refused.text
    assert 'name="spans" value="4 1/4 x 4 1/8"' in refused.text
    assert 'name="pin"' not in refused.text


def test_only_those_with_a_pin_are_offered_besides_who_acts(client: Client, who: str) -> None:
    client.post("/staff", {"who": who, "name": "Nia Holt", "initials": "NH"})
    page = client.get("/bowlers/new").text
    assert "<span>OL</span>" in page
    assert "<span>NH</span>" not in page


def test_somebody_who_no_longer_works_here_is_out_at_once(app: FastAPI, client: Client) -> None:
    token = signed_in(app, "OL")
    client.sign_out().carry(token)
    assert client.get("/").status_code == 200
    with app.state.sessions() as session, session.begin():
        session.query(Staff).filter_by(initials="OL").one().is_active = False
    assert client.get("/").status_code == 303
