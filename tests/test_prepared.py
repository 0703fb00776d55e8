"""Prepared queries answer what SQLAlchemy answers, and fail as it fails."""

import logging
import time
from collections.abc import Sequence
from datetime import timedelta
from typing import cast

import pytest
from fastapi import FastAPI
from sqlalchemy import BigInteger, Connection, Executable, bindparam, literal_column, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app import prepared
from app.db import READ_AT_ONE_MOMENT, READ_ONLY
from app.models import Bowler, Shop, now
from app.models import SignIn as Opened
from app.prepared import AnyRow, Prepared, fetch_together
from app.queries import log_slow_queries
from app.services import balls, bowlers, changes, counter_notices, counter_rows, lookup, sign_ins, words
from tests.conftest import Client, not_none

TOKEN = select(Opened.token_hash).limit(1)  # stored by the fixture that signs in
LATELY = now() - timedelta(days=30_000)
TODAY = now().date()
SHOP_OF: Prepared[AnyRow] = Prepared(
    select(Shop.__table__.c.id.label("shop_of")).where(Shop.__table__.c.id == bindparam("wanted", type_=BigInteger))
)
SHOPS: Prepared[AnyRow] = Prepared(select(Shop.__table__.c.id))
ASKED: list[tuple[Prepared[AnyRow], dict[str, object]]] = [
    (counter_rows._CHOSEN, {"ids": [1, 2, 3]}),
    (counter_rows._OF_ROWS, {"ids": [1, 2, 3, 4, 5]}),
    (counter_rows._AT_THE_COUNTER, {"since": LATELY}),
    (counter_rows._LINES_AT_THE_COUNTER, {"since": LATELY}),
    (counter_notices._NOTICES, {"since": LATELY, "today": TODAY}),
    (changes._OF_BOWLER, {"bowler_id": 1}),
    (changes._OF_RECORD, {"noun": "bowler", "noun_id": 1}),
    (bowlers._RECORD, {"bowler_id": 1}),
    (lookup._NUMBERED, {"low": "#", "high": "$", "low_tail": "%", "high_tail": "&"}),
    (lookup._OWN, {"ids": [1, 2]}),
    (lookup._OWN_WITHOUT_NUMBERS, {"ids": [1]}),
    (lookup._OWN_NAMES, {"ids": [1, 2]}),
    (balls._TO_READ, {"bowler_id": 1}),
    (words._NEWER, {"read_to": 0}),
]


@pytest.mark.parametrize(("query", "values"), ASKED)
def test_the_rows_are_those_of_sqlalchemy(session: Session, query: Prepared[AnyRow], values: dict[str, object]) -> None:
    """SQLAlchemy's own execution is the outside check: values, their types, and names."""
    usual = session.execute(cast(Executable, query.query), values).all()
    rows = query.fetch(session, **values)
    assert usual
    assert sorted(map(repr, map(tuple, usual))) == sorted(map(repr, map(tuple, rows)))
    assert rows[0]._fields == tuple(usual[0]._fields)


def test_who_is_signed_in_is_what_sqlalchemy_reads(session: Session) -> None:
    stored = not_none(session.scalar(TOKEN))
    usual = session.execute(cast(Executable, sign_ins._BY_TOKEN.query), {"token_hash": stored}).one()
    assert sign_ins._BY_TOKEN.fetch_one(session, token_hash=stored) == sign_ins.Present._make(usual)
    assert sign_ins._BY_TOKEN.fetch_one(session, token_hash="none") is None


def test_lists_of_every_length_answer_each_row_once(session: Session) -> None:
    table = Bowler.__table__
    query: Prepared[AnyRow] = Prepared(select(table.c.id).where(table.c.id.in_(bindparam("ids", expanding=True))))
    for ids in ([], [3], [1, 3], [1, 2, 3], [1, 2, 3, 4], [1, 2, 3, 4, 5]):
        assert sorted(row.id for row in query.fetch(session, ids=ids)) == ids
    assert len(query.statements) == 4  # for 0, 1, 4 and 16 values
    query.fetch(session, ids=[1, 2, 3, 4, 5, 6])
    assert len(query.statements) == 4


def test_it_sees_what_its_transaction_has_written(session: Session) -> None:
    query: Prepared[AnyRow] = Prepared(select(Shop.__table__.c.name).where(Shop.__table__.c.id == bindparam("id")))
    session.get_one(Shop, 1).name = "Renamed"
    session.flush()
    assert not_none(query.fetch_one(session, id=1)).name == "Renamed"
    session.rollback()
    assert not_none(query.fetch_one(session, id=1)).name != "Renamed"


def test_a_driver_s_error_is_sqlalchemy_s(session: Session) -> None:
    query: Prepared[AnyRow] = Prepared(select(literal_column("nowhere.nothing").label("nothing")))
    with pytest.raises(DBAPIError) as raised:
        query.fetch(session)
    assert isinstance(raised.value.orig, session.get_bind().dialect.loaded_dbapi.Error)


def test_after_a_lost_connection_the_pool_opens_new_ones(app: FastAPI) -> None:
    with app.state.sessions() as session:
        lost = session.connection().connection.dbapi_connection
        lost.close()
        with pytest.raises(DBAPIError):
            SHOPS.fetch(session)
    with app.state.sessions() as session:
        assert SHOPS.fetch(session)
        assert session.connection().connection.dbapi_connection is not lost


def test_a_connection_lost_in_a_trip_of_several_is_replaced(app: FastAPI) -> None:
    with app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        lost = session.connection().connection.dbapi_connection
        lost.close()
        with pytest.raises(DBAPIError):
            fetch_together(session, SHOPS.ask(), SHOPS.ask())
    with app.state.sessions() as session:
        asked = [SHOPS.ask(), SHOPS.ask()]
        fetch_together(session, *asked)
        assert asked[0].rows == asked[1].rows != []
        assert session.connection().connection.dbapi_connection is not lost


def test_of_several_the_slow_one_is_logged(app: FastAPI, caplog: pytest.LogCaptureFixture) -> None:
    """Where all go in one trip, the trip is logged as a whole."""
    with app.state.sessions() as session:
        is_server = session.get_bind().dialect.name == "postgresql"
        driver = session.connection().connection.dbapi_connection
        if not is_server:
            driver.create_function("pg_sleep", 1, time.sleep)
        slow: Prepared[AnyRow] = Prepared(select(literal_column("count(pg_sleep(0.1))").label("slept")))
        log_slow_queries(app.state.engine, 50)
        with caplog.at_level(logging.WARNING, "spanbook.queries"):
            fetch_together(session, slow.ask(), SHOPS.ask())
    told = [str(vars(record)["query"]) for record in caplog.records]
    assert len(told) == 1
    assert told[0].startswith("SELECT count(pg_sleep(0.1)) AS slept")
    assert ("SELECT shop.id" in told[0]) == is_server


def test_slow_ones_are_logged(app: FastAPI, caplog: pytest.LogCaptureFixture) -> None:
    log_slow_queries(app.state.engine, 0)
    with app.state.sessions() as session, caplog.at_level(logging.WARNING, "spanbook.queries"):
        SHOPS.fetch(session)
    assert any(str(vars(record)["query"]).startswith("SELECT shop.id") for record in caplog.records)


def test_what_the_session_has_not_written_yet_is_among_the_rows(session: Session) -> None:
    session.add(Shop(name="Third Lane", town="", version=1))
    known = len(SHOPS.fetch(session))
    session.rollback()
    assert len(SHOPS.fetch(session)) == known - 1


def test_postgresql_plans_a_query_once_whatever_numbers_it_is_sent(session: Session) -> None:
    """PostgreSQL's own list of prepared statements is the outside check."""
    if session.get_bind().dialect.name != "postgresql":
        pytest.skip("SQLite keeps no plans on a server")
    for bowler_id in (1, 2, 3, 40_000, 3_000_000_000, 5, 6, 7):
        SHOP_OF.fetch(session, wanted=bowler_id)
    kept = text("SELECT generic_plans, custom_plans FROM pg_prepared_statements WHERE statement LIKE '%AS shop_of%'")
    assert session.execute(kept).all() == [(8, 0)]


def test_queries_fetched_together_answer_as_each_alone(session: Session) -> None:
    together = [query.ask(**values) for query, values in ASKED]
    fetch_together(session, *together)
    assert [asked.rows for asked in together] == [query.fetch(session, **values) for query, values in ASKED]


@pytest.mark.parametrize("at", [0, 1, 2])
def test_one_that_fails_among_several_is_sqlalchemy_s_error_and_the_next_are_answered(app: FastAPI, at: int) -> None:
    """Both as a page reads and in a transaction, which the error ends."""
    broken: Prepared[AnyRow] = Prepared(select(literal_column("1/(shop.id - shop.id)").label("x")).select_from(Shop))
    missing: Prepared[AnyRow] = Prepared(select(literal_column("nowhere.nothing").label("nothing")))
    for options in (READ_ONLY, READ_AT_ONE_MOMENT):
        with app.state.sessions() as session:
            session.connection(execution_options=options)
            asked = [SHOPS.ask(), SHOPS.ask()]
            is_server = session.get_bind().dialect.name == "postgresql"
            asked.insert(at, (broken if is_server else missing).ask())
            with pytest.raises(DBAPIError) as raised:
                fetch_together(session, *asked)
            assert type(raised.value.orig).__name__ == ("DivisionByZero" if is_server else "OperationalError")
            session.rollback()
            assert SHOPS.fetch(session)


@pytest.mark.parametrize(
    ("url", "counts"),
    [
        ("/", [4]),
        ("/?q=johnson", [3, 3]),  # admission, notices and new words; words and rows of those who may be meant
        ("/?q=jonhsom", [3, 3]),
        ("/bowlers/match?q=jonhsom", [2, 3]),
        ("/bowlers/2", [4]),
    ],
)
def test_a_page_sends_its_first_queries_with_the_one_that_admits(
    client: Client, monkeypatch: pytest.MonkeyPatch, url: str, counts: list[int]
) -> None:
    """Queries of each round trip: the first admits, and the counter needs no other while nobody has taken a ball in."""
    client.get(url)  # the first search reads every word
    sent: list[int] = []
    send = prepared._send

    def count(of: Connection, statements: Sequence[tuple[prepared._Statement, prepared.Values]]) -> list[prepared.Rows]:
        sent.append(len(statements))
        return send(of, statements)

    monkeypatch.setattr(prepared, "_send", count)
    assert client.get(url).status_code in {200, 303}
    assert sent == counts
