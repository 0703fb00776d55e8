"""Pages send few queries, and the same number however much a bowler owns."""

from fractions import Fraction

import pytest
from fastapi import FastAPI
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from app.db import READ_ONLY
from app.models import Ball, Bore, Bowler, Drilling, Fit, FitHole, Inner
from app.services import drillings
from tests.conftest import Client, CountQueries, not_none
from tests.services.floor_rows import Rows

MOST = 13  # of an inner: what it tried, where it was found, its photos, owners and history are lists of their own
URLS = (
    "/", "/?q=johnson", "/bowlers/1", "/bowlers/1/edit", "/bowlers/2/fits/new", "/fits/1", "/fits/2/edit",
    "/fits/1/comparison?other=2", "/balls/1", "/balls/1/drillings/new", "/drillings/1", "/inners/1", "/bowlers/1/inners/new",
    "/systems", "/systems/1", "/shelf", "/parts/1", "/drillings/1/alike?by=week", "/shops", "/shops/1", "/settings", "/board", "/floor",
    "/visitors", "/visitors?bowler_id=1",
)  # fmt: skip


def grow(session: Session, count: int) -> None:
    """Gives the first bowler `count` more balls, drillings on the first ball, revisions and inners, and namesakes."""
    first = drillings.get_drilling(session, 1)
    old = not_none(session.get(Fit, first.fit_id))
    for i in range(count):
        ball = Ball(bowler_id=1, label=f"ball {i}", circumference_in=Fraction(27))
        bore = Bore(
            system_id=first.system_id, shop_id=1, circumference_in=Fraction(27), bore_in=Fraction(3, 2), depth_in=Fraction(11, 4),
            datum="collar", forward_in=Fraction(-1, 4), right_in=Fraction(0), notch_deg=Fraction(180),
        )  # fmt: skip
        session.add_all([ball, bore])
        session.flush()
        for owner in (ball.id, 1):
            session.add(
                Drilling(
                    ball_id=owner, fit_id=first.fit_id, system_id=first.system_id, shop_id=1, bore_id=bore.id, state="closed",
                    plan=first.plan, tolerance_in=Fraction(1, 64), tolerance_source="ASSUMED", staff_id=1,
                )
            )  # fmt: skip
        holes = [FitHole(digit=d) for d in ("thumb", "middle", "ring")]
        session.add(
            Fit(
                bowler_id=1, hand="right", revision=100 + i, state="superseded", reason="x", author_id=1, style="fingertip",
                span_edges="cut", bridge_edges="cut", system_id=old.system_id, holes=holes,
            )
        )  # fmt: skip
        session.add(
            Inner(
                bowler_id=1, label=f"inner {i}", system_id=first.system_id, trimmed_in_id=bore.id, outside_in=Fraction(5, 4),
                forward_in=Fraction(0), right_in=Fraction(0),
            )
        )  # fmt: skip
        session.add(Bowler(name=f"Johnson {i}", hand="right", home_shop_id=1))
    session.commit()


@pytest.mark.parametrize("url", URLS)
def test_few_queries_and_no_more_for_more_records(
    client: Client, session: Session, count_queries: CountQueries, url: str
) -> None:
    client.get(url)
    grow(session, 3)
    few = count_queries(lambda: client.get(url))
    grow_more = 27
    session.expire_all()
    for_thirty = session
    for_thirty.query(Inner).filter(Inner.label.startswith("inner")).update({"label": "older"})
    for_thirty.query(Fit).filter(Fit.revision >= 100).update({"revision": Fit.revision + 1000})
    grow(session, grow_more)
    many = count_queries(lambda: client.get(url))
    assert few <= MOST, few
    assert many <= MOST, many
    assert many == few


@pytest.mark.parametrize("url", URLS)
def test_a_reading_page_only_selects(app: FastAPI, client: Client, url: str) -> None:
    """PostgreSQL sends each of its statements without a transaction, so none of them may change anything."""
    sent: list[str] = []

    def note(*told: object) -> None:
        sent.append(str(told[2]))

    client.get(url)
    event.listen(app.state.engine, "before_cursor_execute", note)
    assert client.get(url).status_code == 200
    event.remove(app.state.engine, "before_cursor_execute", note)
    assert sent
    assert {statement.split()[0] for statement in sent} <= {"SELECT", "WITH"}


def test_a_reading_session_stores_nothing(app: FastAPI) -> None:
    with app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        session.add(Bowler(name="Ada Reader", hand="left"))
        with pytest.raises(RuntimeError):
            session.commit()


def test_the_counter_asks_four_times_with_work_five_and_a_driller_six(
    app: FastAPI, client: Client, session: Session, who: str, count_queries: CountQueries
) -> None:
    """Who signed in, the people of both lists, what is under way for them, and what else the page must say; where there
    are tickets, those that are open or to be asked after; for a driller with work to order the floor's own numbers, and
    plans not looked at before.
    """
    client.get("/")
    counter = Client(app).sign_in("RV")
    assert count_queries(lambda: counter.get("/")) == 4
    assert count_queries(lambda: client.get("/")) == 4
    planned = session.scalars(select(Drilling).where(Drilling.state == "planned")).first()
    Rows(session, who).ticket(not_none(planned).ball_id, "new", drilling_id=not_none(planned).id)
    not_none(planned).notes = "another version"
    session.commit()
    assert count_queries(lambda: client.get("/")) == 7
    assert count_queries(lambda: client.get("/")) == 6
    assert count_queries(lambda: counter.get("/")) == 5
    counter.close()


def test_fragments_are_cheap(client: Client, count_queries: CountQueries) -> None:
    htmx = {"HX-Request": "true"}
    client.get("/?q=john", headers=htmx)  # the first search reads the vocabulary
    assert count_queries(lambda: client.get("/?q=john", headers=htmx)) <= 6
    assert count_queries(lambda: client.get("/read-back/span?of=a&a=4 3/8", headers=htmx)) == 1  # whose browser it is


def test_a_misspelled_name_is_found_in_five_queries(client: Client, count_queries: CountQueries) -> None:
    """Who signed in, new words with the shops, the words of those who may be meant, their rows, and what is on these."""
    htmx = {"HX-Request": "true"}
    assert "Johnson" in client.get("/?q=jonhsom", headers=htmx).text  # the first search reads the vocabulary
    assert count_queries(lambda: client.get("/?q=jonhsom", headers=htmx)) == 5


def test_a_record_with_nothing_on_it_asks_four_times(
    client: Client, session: Session, count_queries: CountQueries
) -> None:
    """Who signed in, the bowler with what there is of theirs, the balls, and the history."""
    session.add(Bowler(id=900, name="Ada Bare", hand="left"))
    session.commit()
    client.get("/bowlers/900")
    assert count_queries(lambda: client.get("/bowlers/900")) == 4


def test_a_record_is_shown_to_each_as_they_may_see_it(app: FastAPI, client: Client) -> None:
    assert "/people" in client.get("/bowlers/1").text
    counter = Client(app)
    counter.sign_in("RV")
    assert "/people" not in counter.get("/bowlers/1").text
    counter.sign_out()
    assert counter.get("/bowlers/1").status_code == 303
