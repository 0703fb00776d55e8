"""Every form filled in by chance, with any text and in any order: no 5xx, no half-saved record, no row lost."""

import re
from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from app.db import READ_ONLY
from app.main import create_app
from app.models import Base
from app.settings import Settings
from tests.conftest import KINDS, Client, Databases, signed_in
from tests.endurance.drawn_once import draw_each_plan_once
from tests.pages.test_access import ROUTES
from tests.pages.test_history import WRITES
from tests.pages.test_pages import PAGES

SEED = 20261127
EACH = {"sqlite": 8, "postgresql": 2}  # forms of each kind
MAY_SHRINK = {
    "intake_row",
    "insert_system",
    "bowler_word",
    "sent_form",
    "attempt",
    "photo",
}  # rows that are finished with
KEPT_OUT = {
    "/sign-out",
    "/me/sign-outs",
    "/me/password",
    "/people/{staff_id}",
    "/people/{staff_id}/sign-outs",
    "/backups",
}
POSTS = sorted(
    route for method, route in ROUTES if method == "POST" and not route.startswith("/api/") and route not in KEPT_OUT
)

RIGHT = {
    route: typed
    for route in POSTS
    for address, typed in WRITES.items()
    if re.fullmatch(re.sub(r"\{\w+\}", r"(\\d+|\\{\\w+\\}|tolerance)", route), address)
}
measures = st.sampled_from(
    [
        "",
        "0",
        "1/4",
        "3 47/64",
        "4 x 4 1/8",
        "1/4 reverse, 0",
        "11/16",
        "15/16 + 1/16 @ 45 right",
        "unknown",
        "2 3/4",
        "27",
        "-1",
        "1/0",
        "6:00",
        "1e400",
        "NaN",
        "９",
        "3 47/64 in",
        "106 mm",
        "on",
        "true",
        "right",
        "left",
        "thumb",
        "cut",
        "collar",
        "1",
        "2",
        "999999999999999999999",
    ]
)
texts = st.one_of(measures, st.text(max_size=40), st.text(min_size=1, max_size=10).map(lambda t: t * 300))


@pytest.fixture(scope="module", params=KINDS)
def shop(request: pytest.FixtureRequest, all_databases: dict[str, Databases]) -> Iterator[tuple[FastAPI, Client, int]]:
    databases = all_databases[request.param]
    url = databases.copied(databases.demo)
    app = create_app(Settings(database_url=url, hosts="shop.test"))
    client = Client(app).carry(signed_in(app))
    yield app, client, EACH[databases.kind]
    client.close()
    app.state.engine.dispose()
    databases.drop(url)


def fields_of(client: Client) -> dict[str, set[str]]:
    """The names of the fields of every form, by where it is posted, numbers left out."""
    found: dict[str, set[str]] = {}
    for url in [*PAGES, "/people", "/people/3", "/me", "/bowlers/1/held", "/bowlers/8/fits/new"]:
        for action, inside in re.findall(r'<form[^>]*action="([^"]+)"(.*?)</form>', client.get(url).text, re.S):
            found.setdefault(re.sub(r"\d+", "#", action), set()).update(re.findall(r'name="([\w-]+)"', inside))
    return found


def counts(app: FastAPI) -> dict[str, int]:
    with app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        return {t.name: session.scalar(select(func.count()).select_from(t)) for t in Base.metadata.sorted_tables}


def test_forms_filled_in_by_chance_break_nothing_and_lose_nothing(
    shop: tuple[FastAPI, Client, int], tell: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    draw_each_plan_once(monkeypatch)
    app, client, each = shop
    known = fields_of(client)
    before = counts(app)
    answered: dict[int, int] = {}

    @seed(SEED)  # else Hypothesis reads this function anew for each route, to make one of its text
    @settings(max_examples=each, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(data=st.data())
    def every(route: str, data: st.DataObject) -> None:
        address = re.sub(
            r"\{(\w+)\}",
            lambda _: data.draw(
                st.sampled_from(["1", "2", "3", "77", "tolerance"] if "{name}" in route else ["1", "2", "3"])
            ),
            route,
        )
        names = sorted(known.get(re.sub(r"\d+", "#", address), set())) or ["name", "notes", "value", "version"]
        typed = dict(RIGHT.get(route, {}))  # a form as it should be, with some fields gone wrong
        for name in data.draw(st.lists(st.sampled_from(names), max_size=8)):
            typed[name] = data.draw(texts)
        typed["version"] = data.draw(st.sampled_from(["1", "2", "3", "", "x", "-1", "99999999999"]))
        typed.pop("who", None)
        typed = {name: text.encode("utf-8", "ignore").decode() for name, text in typed.items()}
        answer = client.post(address, typed)
        answered[answer.status_code] = answered.get(answer.status_code, 0) + 1
        assert answer.status_code < 500, (address, typed)
        if answer.status_code == 422 and "value=" in answer.text and route != "/me/pin":
            assert 'role="alert"' in answer.text or "error" in answer.text

    for route in POSTS:
        every(route)
    after = counts(app)
    lost = {t: (before[t], after[t]) for t in before if after[t] < before[t] and t not in MAY_SHRINK}
    tell(f"{sum(answered.values())} forms: {dict(sorted(answered.items()))}")
    assert lost == {}
    assert after["change"] > before["change"]
    with app.state.sessions() as session:
        if session.bind.dialect.name == "sqlite":
            assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            assert session.connection().exec_driver_sql("PRAGMA foreign_key_check").all() == []
