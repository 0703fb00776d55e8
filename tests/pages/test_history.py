"""Every address that writes leaves a line of history naming who."""

import re

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from httpx import Response
from sqlalchemy import func, select

from app.cards.texts import to_lines
from app.db import READ_ONLY
from app.models import Change
from app.pages.registry import PAGES
from app.schemas.studies import CELLS
from app.services import shop_keys
from seed_demo.world import FIT, PASSWORD, TWIST_LOCK
from tests.conftest import Client, not_none
from tests.services.cards import OTHER_KEY, open_made
from tests.services.test_floor import FORM as FLOOR

pytestmark = pytest.mark.both
CARD = {"text": to_lines(open_made().data)}
TAKING = CARD | {"bowler_id": "0", "takes_fit": "true", "takes_inners": "true", "takes_depths": "true"}
CHANGED = {"text": to_lines(open_made(OTHER_KEY).data)}

MERGER = {"other_id": "4", "other_version": "1", "stays": "1", "why": "one person"}
MERGER |= {f"which_{name}": "1" for name in ("name", "phone", "hand", "home_shop_id", "league", "notes", "fit_right")}
OLD_HOLE = {
    "hole": "thumb", "hand": "right", "along": "2 1/2", "along_way": "palm", "across": "0", "size": "1 1/2",
    "pitch": "1/4 reverse", "depth": "2 3/4", "state": "filled",
}  # fmt: skip
AXIS_POINT = {"hand": "right", "point": "4 1/2 over 1/2 up", "found_by": "tape"}
LAYOUT = {"axis_point_id": "1", "pin_axis": "4", "axis_line": "35", "drilling": "40"}
SCALE = {"label": "Arm scale", "arm": "4 1/4", "mass": "2 oz", "place": "6 3/4"}
WEIGHED = {"stage": "after", "scale_id": "1", "right_1": "1/8 right", "right_2": "1/4 right"}
REGULATION = {
    "edition": "Our copy", "in_force_from": "2026-01-01", "source": "the manual, read by TB", "c1_over": "10 lb",
    "c1_top_bottom": "3", "c1_side": "3", "c1_finger_thumb": "3",
}  # fmt: skip
IMPORTED = '{"edition": "Theirs", "in_force_from": "2026-02-01", "source": "a file", "body": {"classes": [{"side_oz": "3/4"}]}}'
TICKET = {"thing": "ball:1", "what": "sand", "promised": "2099-05-02T10:00"}
SQUAD = {"label": "Cup", "begins": "2099-05-02T12:00"}
TO_THE_BENCH = ["ready", "take"]
MOVED = {  # how a ticket comes to where an address expects it
    "{taken}": [], "{racked}": ["ready"], "{held}": TO_THE_BENCH, "{finished}": [*TO_THE_BENCH, "done"],
    "{handed}": [*TO_THE_BENCH, "done", "hand-over"], "{called_off}": ["calling-off"], "{waiting}": ["waits"],
}  # fmt: skip
WRITES = {
    "/bowlers": {"name": "Lars Quint", "hand": "right"},
    "/bowlers/1": {"name": "Anna Johnson", "hand": "left", "phone": "555 0142 7788"},
    "/bowlers/8/fits": FIT | {"hand": "left"},
    "/fits/2": FIT | {"hand": "right", "spans": "4 1/4 x 4 1/4", "reason": "other"},
    "/fits/2/in-force": {},
    "/fits/3/revisions": {"reason": "changed"},
    "/fits/2/discarding": {"why": "mistyped"},
    "/fits/{discarded}/discarding-removal": {"why": "it was right"},
    "/bowlers/1/balls": {"label": "New one", "circumference": "27"},
    "/balls/1": {"label": "Renamed", "circumference": "26.9"},
    "/balls/1/retirement": {"why": "cracked"},
    "/balls/{spare}/removal": {"why": "taken in twice"},
    "/balls/{removed}/return": {"why": "it was another one"},
    "/bowlers/{stranger}/removal": {"why": "nobody of that name"},
    "/bowlers/{unknown}/return": {"why": "she came back"},
    "/balls/1/owner": {"to_id": "2", "why": "sold"},
    "/inners/1/owner": {"to_id": "2", "why": "mixed up"},
    "/owner-changes/{moved}/undoing": {"why": "not sold after all"},
    "/bowlers/1/merger": MERGER,
    "/mergers/{one}/parting": {"why": "two persons"},
    "/balls/1/old-holes": OLD_HOLE,
    "/old-holes/{old}": OLD_HOLE | {"depth": "unknown"},
    "/balls/1/drillings": {"fit_id": "1", "system_id": "1", "bore_runs": "like_thumb", "reason": "over the plugs"},
    "/drillings/3/drilled": {"datum": "unknown"},
    "/drillings/{drilled}/measurements": {"middle": "4 3/8", "ring": "4 5/16"},
    "/drillings/{measured}/closing": {"reason": ""},
    "/drillings/1/plugging": {"reason": "redrill"},
    "/drillings/3/calling-off": {"why": "the bowler left"},
    "/drillings/{off}/calling-off-removal": {"why": "came back"},
    "/drillings/1/findings": {"what": "thumb_hole", "value": "61/64", "note": "sanded"},
    "/drillings/3/confirmation": {},
    "/drillings/3/steps/2/tick": {},
    "/drillings/3/steps/1/tick-removal": {},
    "/drillings/3/steps/2/skip": {"reason": "done by hand"},
    "/drillings/{stopped}/decision": {"decision": "carry_on", "reason": "good enough"},
    "/drillings/{drilled}/depth-readings": {"hole": "ring", "depth": "1", "datum": "crown", "day": "2026-01-02"},
    "/systems/1/route": {"keep-mark": "1", "place-mark": "10", "keep-measure": "1", "place-measure": "20", "words-mark": "Scribe it"},
    "/bowlers/1/inners": {"label": "spare", "trimmed_in_id": "1", "outside": "1 1/4", "tilt": "0"},
    "/inners/1/trial-fits": {"trial_depth": "2 3/4", "proud": "flush"},
    "/inners/{tried}/depth": {"notes": ""},
    "/inners/2/completion": {"notch": "6:00", "note": "looked at the ball"},
    "/inners/1/findings": {"value": "61/64", "note": "sanded"},
    "/inners/1/retirement": {"why": "worn"},
    "/bowlers/1/card": {"hand": "right"},
    "/cards/read": CARD,
    "/cards/takings": TAKING,
    "/cards/{card}/taking-back": {"why": "of somebody else"},
    "/keys/replacement": {"why": "the till was stolen"},
    "/keys/paper/showing": {"present": PASSWORD},
    "/keys/paper": {"paper": " ".join(shop_keys.write_paper(bytes(32)))},
    "/keys/{key}/acceptance": {"why": "telephoned"},
    "/systems": TWIST_LOCK | {"label": "Another"},
    "/systems/1": TWIST_LOCK | {"label": "Renamed", "notes": "new"},
    "/parts": {"kind": "glue", "label": "Slow resin", "lot": "R2", "cure_minutes": "45"},
    "/parts/1": {"kind": "inner", "system_id": "1", "label": "Inner", "size": "1 1/4", "least": "3"},
    "/parts/1/deliveries": {"count": "5", "why": "note 17"},
    "/parts/1/counts": {"counted": "17", "why": "two broken"},
    "/movements/1/undoing": {"why": "counted twice"},
    "/shops": {"name": "Third Lane"},
    "/shops/2": {"name": "Northgate", "town": "Fellbrook"},
    "/shops/2/depths": {"system_id": "1", "depth": "2 3/4", "datum": "collar", "obtained": "told", "observed_on": "2026-01-02"},
    "/inners/2/loose": {"height_12": "2.66", "height_3": "2.62", "height_6": "2.58", "height_9": "2.62"},
    "/bits": {"label": "1 1/2 no. 2", "bores_limit": "40"},
    "/bits/{bit}/events": {"what": "sharpened"},
    "/troubles": {"system_id": "1", "drilling_id": "1", "what": "stuck", "note": "after the heat wave"},
    "/bowlers/1/axis-points": AXIS_POINT,
    "/axis-points/{point}/taking-back": {"why": "of the other hand"},
    "/balls/1/marks": {"label_weight": "15 lb", "has_mass_mark": "yes", "pin_mark": "6 3/4"},
    "/balls/1/layouts": LAYOUT,
    "/layouts/{layout}/dropping": {"why": "another one"},
    "/layouts/{layout}/favourite": {"label": "Smooth"},
    "/drillings/{read_back}/layout": {"layout_id": "2"},
    "/favourite-layouts/{liked}/removal": {"ball_id": "1"},
    "/scales": SCALE,
    "/drillings/1/weighings": WEIGHED,
    "/weighings/{weighing}/taking-back": {"why": "the pan was dirty"},
    "/scales/{scale}": SCALE | {"arm": "4 5/16"},
    "/regulations": REGULATION,
    "/regulations/import": {"text": IMPORTED},
    "/regulations/example": {},
    "/regulations/{regulation}/ending": {"ended_on": "2026-06-01", "why": "a newer edition"},
    "/studies": {"instrument": "span gauge", "measures": "sleeve_to_cut"} | {c: f"3.7{i:02d}" for i, c in enumerate(CELLS)},
    "/systems/2/removal": {},
    "/shops/1/look": {"accent": "plum"},
    "/shops/3/merger": {"into_id": "2"},
    "/shops/{merged}/merger-removal": {},
    "/floor": FLOOR,
    "/settings/tolerance": {"value": "1/32", "source": "our study"},
    "/staff": {"name": "Nia Holt", "initials": "NH"},
    "/people/3": {"name": "Runa Vale", "initials": "RV", "role": "driller"},
    "/people/3/invitation": {},
    "/people/2/sign-outs": {},
    "/chain-shops": {"name": "Second Lane"},
    "/rules/own_shop_only": {"value": "1"},
    "/tokens": {"label": "till", "scopes": "read", "shop_id": "1"},
    "/tokens/{token}/removal": {},
    "/bowlers/4/erasure": {"name": "Bertil Johnson"},
    "/me/password": {"present": PASSWORD, "password": "another long phrase of words"},  # pragma: allowlist secret
    "/me/pin": {"present": PASSWORD, "pin": "7391"},
    "/me/sign-outs": {},
    "/sign-out": {},
    "/tickets": TICKET,
    "/tickets/{taken}": TICKET | {"words": "hurry"},
    "/tickets/{taken}/ready": {},
    "/tickets/{racked}/scan": {"scan": "/balls/1"},
    "/tickets/{racked}/take": {},
    "/tickets/{held}/putting-back": {},
    "/tickets/{held}/done": {},
    "/tickets/{finished}/hand-over": {"handed_to": "her brother"},
    "/tickets/{handed}/follow-up": {"outcome": "not fine", "redo_reason": "tight"},
    "/tickets/{racked}/taking-back": {"why": "not tagged"},
    "/tickets/{taken}/calling-off": {"why": "sold"},
    "/tickets/{called_off}/calling-off-removal": {"why": "not sold"},
    "/tickets/{taken}/waits": {"kind": "part", "why": "sleeve"},
    "/waits/{waiting}/end": {"why": "it came"},
    "/squads": SQUAD,
    "/squads/{squad}": SQUAD | {"label": "Cup, second"},
    "/visitors/set": {"bowler_name": "Orla Fenn", "hand": "right", "shop_id": "2", "system_id": "1", "outside": "1 1/4", "ball_label": "Green"},
    "/first-day/putting-away": {},
    "/visitors": {"bowler_name": "Orla Fenn", "hand": "right", "shop_id": "2", "system_id": "1", "outside": "1 1/4"},
}  # fmt: skip


SHOWN_ONCE = {
    "/staff",
    "/people/3/invitation",
    "/tokens",
    "/keys/paper/showing",
}  # the answer itself shows a secret, this once
SHOWN_ONCE |= {"/cards/read"}  # or a person of whom nothing is kept
NO_HISTORY = {
    "/setup",
    "/sign-in",
    "/welcome",
    "/backups",
    "/drillings/{}/tick-passes",
    "/demo/tips",
    "/moving-in",
    *(f"/moving-in/{{}}/{step}" for step in ("columns", "conventions", "dry-run", "import", "going-on", "taking-back")),
    "/moving-in/{}/rows/{}",
    "/moving-in/cards",
    *(f"/moving-in/cards/{{}}{step}" for step in ("/pictures", "/next", "/{}", "/{}/second-look", "/{}/leaving-out")),
    *(f"/moving-in/cards/{{}}/{{}}{step}/taking-back" for step in ("", "/second-look")),
    "/photos/of/{}/{}",
    "/photos/{}/removal",
}  # tested where these are


def stop_bench(client: Client, who: str) -> None:
    """Brings drilling 3 to a stop: its first cut is made with a wrong bit."""
    for position in (1, 2, 3):
        sent(client, who, f"/drillings/3/steps/{position}/tick", {})
    sent(client, who, "/drillings/3/confirmation", {})
    sent(client, who, "/drillings/3/steps/4/tick", {"not_read": "true", "bit": "1 1/4"})


def prepared(client: Client, who: str, address: str) -> str:
    """Brings the shop to where the write is due, and fills in the record it is about."""
    if address == "/balls/1/drillings":
        sent(client, who, "/drillings/1/plugging", {"reason": "redrill"})
    if "/steps/" in address or "confirmation" in address:
        sent(client, who, "/drillings/3/steps/1/tick", {})
    if "{stopped}" in address:
        stop_bench(client, who)
    if "{drilled}" in address or "{measured}" in address:
        sent(client, who, "/drillings/3/drilled", {"datum": "unknown"})
    if "{measured}" in address:
        sent(client, who, "/drillings/3/measurements", {"middle": "4 3/8", "ring": "4 5/16"})
    if "{tried}" in address:
        sent(client, who, "/inners/1/trial-fits", {"trial_depth": "2 3/4", "proud": "flush"})
    made = {"{bit}": ("/bits", {"label": "1 1/2 no. 2"}), "{merged}": ("/shops/3/merger", {"into_id": "2"})}
    made["{old}"] = ("/balls/1/old-holes", OLD_HOLE)
    made |= {"{point}": ("/bowlers/1/axis-points", AXIS_POINT), "{scale}": ("/scales", SCALE)}
    made |= {"weighings": ("/scales", SCALE)}  # with what scale
    prepare_card(client, who, address)
    made["{weighing}"] = ("/drillings/1/weighings", WEIGHED)
    made["{regulation}"] = ("/regulations", REGULATION)
    prepare_layout(client, who, address)
    for name, (where, typed) in made.items():
        if name in address:
            sent(client, who, where, typed)
    address = prepare_floor(client, who, prepare_taken_back(client, who, address))
    filled = re.sub(r"\{(drilled|measured|merged|stopped|read_back)\}", "3", address)
    filled = filled.replace("{card}", "1").replace("{key}", "2")
    if "{token}" in address:
        sent(client, who, "/tokens", WRITES["/tokens"])
    return re.sub(r"\{(tried|bit|token|old|point|scale|regulation|layout|liked|weighing)\}", "1", filled)


def prepare_card(client: Client, who: str, address: str) -> None:
    """Takes a card in, or reads two of one shop with different keys, as far as the address wants them."""
    if "{card}" in address:
        sent(client, who, "/cards/takings", TAKING)
    for card in (CARD, CHANGED) if "{key}" in address else ():
        sent(client, who, "/cards/read", card)


def prepare_layout(client: Client, who: str, address: str) -> None:
    """Adds what a layout is chosen from, a layout, and a favourite of its numbers, as far as the address wants them."""
    if "layout" in address:
        sent(client, who, "/bowlers/1/axis-points", AXIS_POINT)
    if "{layout}" in address or "{liked}" in address:
        sent(client, who, "/balls/1/layouts", LAYOUT)
    if "{liked}" in address:
        sent(client, who, "/layouts/1/favourite", {"label": "Smooth"})
    if "{read_back}" in address:
        sent(client, who, "/bowlers/2/axis-points", AXIS_POINT | {"hand": "left"})
        layout = LAYOUT | {"axis_point_id": "2"}
        sent(client, who, "/balls/3/layouts", layout)
        sent(client, who, "/drillings/3/confirmation", {})
        sent(client, who, "/balls/3/layouts", layout | {"pin_axis": "5"})


def prepare_floor(client: Client, who: str, address: str) -> str:
    """Takes a ticket in and moves it to where the address expects it, or adds a squad; fills in their numbers."""
    if "{squad}" in address:
        sent(client, who, "/squads", SQUAD)
    for name, moves in MOVED.items():
        if name in address:
            sent(client, who, "/tickets", TICKET)
            for act in moves:
                typed = next((form for where, form in WRITES.items() if where.endswith(f"}}/{act}")), {})
                assert sent(client, who, f"/tickets/1/{act}", typed).status_code == 303
    return re.sub(r"\{(squad|taken|racked|held|finished|handed|called_off|waiting)\}", "1", address)


FORMS_ELSEWHERE = {"route": "/route", "erasure": "/held", "undoing": "/undoing", "parting": "/parting"}
FORMS_ELSEWHERE |= {"/marks": "/marks", "/layouts": "/layout"}
FORMS_ELSEWHERE |= {"bowlers/1/merger": "/merger?other=4", "shops/1/look": "/edit"}


def prepare_taken_back(client: Client, who: str, address: str) -> str:
    """Does first what the address undoes, and adds a ball or a bowler that nobody used; fills in their numbers."""
    done = {
        "{discarded}": "/fits/2/discarding", "{off}": "/drillings/3/calling-off", "{moved}": "/balls/1/owner",
        "{one}": "/bowlers/1/merger",
    }  # fmt: skip
    for name, where in done.items():
        if name in address:
            sent(client, who, where, WRITES[where])
            number = re.search(r"\d+", where)
            address = address.replace(name, "1" if name in {"{moved}", "{one}"} else not_none(number)[0])
    added = {
        "{spare}": "/bowlers/1/balls",
        "{removed}": "/bowlers/1/balls",
        "{stranger}": "/bowlers",
        "{unknown}": "/bowlers",
    }
    for name, where in added.items():
        if name in address:
            made = sent(client, who, where, WRITES[where]).headers["location"]
            if name in {"{removed}", "{unknown}"}:
                sent(client, who, f"{made}/removal", {"why": "a mistake"})
            address = address.replace(name, made.rsplit("/", 1)[-1])
    return address


def sent(client: Client, who: str, address: str, typed: dict[str, str]) -> Response:
    record = re.match(
        r"/(bowlers|fits|balls|drillings|systems|shops|inners|people|owner-changes|mergers|old-holes|tickets|squads|parts|scales)/\d+",
        address,
    )
    version = ""
    if address.startswith("/layouts/"):
        version = next(iter(re.findall(r'name="version" value="(\d+)"', client.get("/balls/1/layout").text)), "")
    if record and not address.endswith(("/fits", "/balls", "/inners", "/old-holes", "/axis-points")):
        ending = "/edit" if address == record[0] else ""
        for words, page in FORMS_ELSEWHERE.items():
            ending = page if words in address else ending
        if re.fullmatch(r"/bowlers/\d+/(removal|return)", address):
            ending = "/edit"
        is_own_form = re.match("/(people|squads|scales)/", address)
        shown = client.get(record[0] + ("" if is_own_form else ending)).text
        version = next(iter(re.findall(r'name="version" value="(\d+)"', shown)), "")
    if address.startswith(("/weighings/", "/keys/")):
        version = "1"  # it has no page of its own
    if address.startswith("/cards/") and address.endswith("/taking-back"):
        version = version_of_card(client, address)
    return client.post(address, typed | {"who": who, "version": version})


def version_of_card(client: Client, address: str) -> str:
    shown = client.get(address.removesuffix("/taking-back")).text
    return next(iter(re.findall(r'name="version" value="(\d+)"', shown)), "")


def newest(app: FastAPI) -> tuple[int, int | None]:
    with app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        last = session.scalar(select(func.max(Change.id)))
        return last, session.get(Change, last).staff_id


@pytest.mark.once
@pytest.mark.parametrize("address", WRITES)
def test_a_write_leaves_history(client: Client, app: FastAPI, who: str, address: str) -> None:
    where = prepared(client, who, address)
    before, _ = newest(app)
    answer = sent(client, who, where, WRITES[address])
    assert answer.status_code == (200 if address in SHOWN_ONCE else 303), re.sub(r"<[^>]+>", " ", answer.text)[:2000]
    after, by = newest(app)
    assert after > before
    assert str(by) == who


def test_no_writing_address_is_left_out() -> None:
    routes = [route for page in PAGES for route in page.router.routes if isinstance(route, APIRoute)]
    posts = {route.path for route in routes if "POST" in not_none(route.methods)}
    tried = {re.sub(r"/(\d+|\{\w+\})", "/{}", address) for address in WRITES} | NO_HISTORY
    tried = {re.sub(r"/(tolerance|own_shop_only)$", "/{}", a) for a in tried}
    assert {re.sub(r"\{\w+\}", "{}", p) for p in posts} == tried
