"""The demo's Saturday: every kind of record is in it, dated over months, and no page of the app is empty in it."""

import re
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.closed_sets import GRIP_HOLES_WORDS, HEIGHT_WORDS, TroubleKind, list_values
from app.main import create_app
from app.models import (
    Ball,
    BenchStop,
    Bore,
    Bowler,
    Change,
    Drilling,
    DrillingStep,
    Fit,
    Inner,
    InsertSystem,
    OwnerChange,
    Ticket,
    TicketMove,
    Trouble,
    now,
)
from app.pages.registry import PAGES
from app.pages.render import Demo
from app.services import backups, bits, checks, drillings, inners, quality, shelf, shop_limits, visitors
from app.services.work_outs import work_out
from app.settings import Settings
from seed_demo import PIN
from seed_demo.saturday import FULLEST, TIPS, fill_saturday
from tests.conftest import Client, Databases, not_none
from tests.services.test_counter_rows import list_here

pytestmark = pytest.mark.once
IDS = {
    "bowler_id": FULLEST.bowler, "fit_id": FULLEST.fit, "ball_id": FULLEST.ball, "inner_id": FULLEST.inner, "drilling_id": FULLEST.closed,
    "ticket_id": 8, "squad_id": 1, "part_id": 7, "movement_id": 1, "merger_id": FULLEST.merger, "change_id": FULLEST.owner_change, "kind": "span",
    "name": "words", "card_id": 2, "import_id": 1, "number": 4, "stack_id": 1, "noun": "ball", "record_id": 7,
}  # fmt: skip


@pytest.fixture(scope="module")
def shop(all_databases: dict[str, Databases], tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    url = all_databases["sqlite"].copied(all_databases["sqlite"].empty)
    folder = tmp_path_factory.mktemp("copies")
    app = create_app(Settings(database_url=url, hosts="shop.test", backup_folder=str(folder)), Demo(1, PIN, TIPS))
    with app.state.sessions() as session:
        fill_saturday(session)
        session.commit()
    backups.make_backup(url, folder)
    yield app
    app.state.engine.dispose()


@pytest.fixture
def session(shop: FastAPI) -> Iterator[Session]:
    with shop.state.sessions() as opened:
        yield opened


@pytest.fixture
def client(shop: FastAPI) -> Iterator[Client]:
    made = Client(shop)
    yield made
    made.close()


def count(session: Session, model: type, *own: object) -> int:
    counted: int | None = session.scalar(select(func.count()).select_from(model).where(*own))  # type: ignore[arg-type]
    return not_none(counted)


def test_every_kind_of_record_is_there(session: Session) -> None:
    own = (Bowler.merged_into_id.is_(None), Bowler.removed_at.is_(None))
    assert 38 <= count(session, Bowler, *own) <= 50
    assert count(session, Bowler) == count(session, Bowler, *own) + 2  # one merged, one removed
    in_force = session.execute(select(Fit.hand, Fit.grip_holes).where(Fit.state == "in force")).all()
    assert {hand for hand, _ in in_force} == {"right", "left"}
    assert {holes for _, holes in in_force} == set(GRIP_HOLES_WORDS)
    drilled = select(InsertSystem.height_set_by).join(Drilling, Drilling.system_id == InsertSystem.id)
    assert set(session.scalars(drilled)) == set(HEIGHT_WORDS)
    assert count(session, InsertSystem, InsertSystem.digit == "finger") == 2
    assert set(session.scalars(select(Drilling.state))) == {"planned", "drilled", "closed", "plugged", "not drilled"}
    assert len(set(session.scalars(select(Trouble.what)))) >= 4
    assert set(session.scalars(select(Trouble.what))) <= list_values(TroubleKind)
    assert shop_limits.load_limits(session)["span_spread"].source.startswith("gauge study")
    assert count(session, Ball, Ball.removed_at.is_not(None)) == 1
    charted = {card.bit.label: card for card in bits.list_cards(session)}
    assert min(card.bores for card in charted.values()) > 0
    assert [card.signal[:13] for card in charted.values()] == ["collar reads ", ""]
    assert [stop.decision for stop in session.scalars(select(BenchStop).order_by(BenchStop.id))] == ["shimmed", ""]


def test_the_shelf_has_something_low_something_below_zero_and_two_adhesives(session: Session) -> None:
    found = shelf.list_shelf(session, {})
    assert [of.name for of in found if of.count < 0] == ["Outer sleeve 1 1/2, lot B2"]
    assert [of.name for of in found if of.is_low] == ["Finger insert 11/16, black"]
    cured = {of.part.label: of.part.cure_minutes for of in found if of.part.kind == "glue"}
    assert cured == {"Quick adhesive": 15, "Slow resin": 45}
    assert len(found) == 15  # six inners came with their hardware


def test_the_last_three_months_show_figures_of_quality(session: Session) -> None:
    groups = quality.list_groups(session, now(), date.today())
    shown = {of.words for group in groups for of in group.shares if of.is_shown}
    shown |= {of.words for group in groups for of in group.times if of.is_shown}
    assert {"right first time", "fine, of those we asked about", "done by the promised time"} <= shown
    assert {"taken in", "ready", "planned", "on the bench", "done", "glue or resin that cures"} <= shown
    past = session.scalars(select(Ticket).where(Ticket.state.in_(("handed over", "followed up")))).all()
    assert {of.redo_reason for of in past} > {"", "tight", "pitch", "lip"}
    days = sorted((now() - of.created_at).days for of in past if not of.redo_of_id)
    assert (days[0] >= 14, days[-1] <= 92, len({day // 30 for day in days})) == (True, True, 3)
    late = select(func.count()).where(TicketMove.at > now())
    assert session.scalar(late) == 0


def test_it_happened_over_months_and_the_counter_has_work_today(session: Session) -> None:
    moments = session.scalars(select(Change.at).where(Change.noun != "bowler").order_by(Change.id)).all()
    assert moments == sorted(moments)
    assert now() - moments[0] > timedelta(days=175)
    assert timedelta(0) < now() - moments[-1] < timedelta(hours=6)
    waiting, here = list_here(session)
    assert len(waiting) >= 5
    assert len(here) >= 4


def test_the_fullest_record_is_where_it_is_said_to_be(session: Session) -> None:
    state = {name: not_none(session.get(Drilling, getattr(FULLEST, name))).state for name in ("closed", "drilled", "planned", "failing", "benched", "stopped", "plugged")}  # fmt: skip
    assert list(state.values()) == ["closed", "drilled", "planned", "planned", "planned", "planned", "plugged"]
    assert not_none(session.get(Drilling, FULLEST.called_off)).state == "not drilled"
    assert (not_none(session.get(Fit, FULLEST.fit)).state, not_none(session.get(Fit, FULLEST.draft)).state) == ("in force", "draft")  # fmt: skip
    owned = [
        select(model.bowler_id).where(model.id == number)
        for model, number in ((Fit, FULLEST.fit), (Ball, FULLEST.ball), (Inner, FULLEST.inner))
    ]
    assert [session.scalar(query) for query in owned] == [FULLEST.bowler] * 3
    most = select(Ball.bowler_id).group_by(Ball.bowler_id).order_by(func.count().desc())
    assert session.scalars(most).first() == FULLEST.bowler
    ticked = select(func.count()).where(DrillingStep.ticked_at.is_not(None))
    assert 0 < not_none(session.scalar(ticked.where(DrillingStep.drilling_id == FULLEST.benched))) < 10
    failing = not_none(drillings.get_drilling(session, FULLEST.failing).plan)
    assert checks.pick_failing(checks.run_checks(failing, work_out(failing)))
    assert session.get(OwnerChange, FULLEST.owner_change)
    assert not session.scalars(select(Fit).where(Fit.bowler_id == FULLEST.unfitted)).all()
    trimmed = select(Bore.shop_id).join(Inner, Inner.trimmed_in_id == Bore.id)
    assert len(set(session.scalars(trimmed.where(Inner.bowler_id == FULLEST.two_shops)))) == 2


def test_the_five_things_to_try_begin_at_pages_and_are_put_away_in_one_browser(client: Client, shop: FastAPI) -> None:
    client.get("/")
    tips = re.findall(r'<li><a href="([^"]+)"', client.get("/").text.partition("</aside>")[0])
    assert len(tips) == 5
    assert [client.get(url).status_code for url in tips] == [200] * 5
    assert "<details open>" in client.get("/").text
    assert client.post("/demo/tips", {"tips": "away"}).status_code == 303
    assert "<details open>" not in client.get("/").text
    assert 'class="demo"' not in client.get(f"/drillings/{FULLEST.benched}/bench").text
    client.post("/demo/tips", {"tips": "here"})


def test_an_inner_made_here_stands_proud_in_a_ball_drilled_elsewhere(session: Session) -> None:
    theirs = not_none(session.get(Inner, FULLEST.visitor_inner))
    ours = not_none(session.scalar(select(Inner).where(Inner.bowler_id == theirs.bowler_id, Inner.id != theirs.id)))
    foreign = drillings.get_drilling(
        session, not_none(session.scalar(select(Drilling.id).where(Drilling.bore_id == theirs.trimmed_in_id)))
    )
    how = not_none(visitors.predict_in_ball(session, inners.get_inner(session, ours.id), foreign).in_bore)
    assert how.flushness.highest_in > 1 / 32


# Routes that need a query, and the only pages that may say that something is missing.
QUERIES = {
    "/fits/{fit_id}/comparison": "?other=7", "/drillings/{drilling_id}/comparison": "?other=14",
    "/balls/{ball_id}/layout/comparison": "?one=layout-2&other=layout-3",
    "/balls/{ball_id}/layout/reading": "?axis_point_id=1&pin_along=3&pin_along_way=fingers&pin_across=0&mark_along=3.75"
    "&mark_along_way=palm&mark_across=0",
}  # fmt: skip
LEFT_OUT = {"/setup", "/design", "/shops/{shop_id}/picture"}  # the latter shows every component, the empty one too
EMPTY = re.compile(r'class="empty|No [a-z ]+ yet\.|Nothing is waiting|Nobody yet|None yet\.|There is no copy yet')


def test_no_page_is_empty_and_the_fullest_records_answer(shop: FastAPI, client: Client) -> None:
    client.get("/")  # opens the sign-in
    wrong = {}
    for path in sorted({route.path for page in PAGES for route in page.router.routes if "GET" in route.methods}):
        if path in LEFT_OUT:
            continue
        url = re.sub(r"\{(\w+)(:\w+)?\}", lambda m: str(IDS.get(m[1], 1)), path) + QUERIES.get(path, "")
        answer = client.get(url)
        if answer.status_code >= 400 or EMPTY.search(answer.text):
            wrong[url] = (answer.status_code, EMPTY.findall(answer.text))
    assert wrong == {}
