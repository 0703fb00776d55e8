"""Records that are inserted many at once are those that the session would have stored one by one."""

from datetime import UTC, datetime
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Base, Bowler, Fit, FitHole
from app.services import changes


def make_bowler(name: str, **more: str) -> Bowler:
    return Bowler(name=name, phone="", phone_digits="", phone_last4="", hand="right", **more)


def make_fit(bowler_id: int, **more: object) -> Fit:
    return Fit(
        bowler_id=bowler_id, hand="left", revision=7, state="draft", reason="", author_id=2, style="fingertip",
        span_edges="cut", bridge_edges="cut", span_middle_in=Fraction(35, 8), **more,
    )  # fmt: skip


def read(session: Session, record: Base) -> dict[str, object]:
    """The stored columns of a record that do not tell which one it is, a moment by whether there is one."""
    table = type(record).__table__
    row = session.execute(select(table).where(table.c.id == record.id)).one()._mapping  # type: ignore[attr-defined]
    return {k: bool(v) if isinstance(v, datetime) else v for k, v in row.items() if k not in {"id", "bowler_id"}}


@pytest.mark.parametrize("kind", ["bowler", "fit", "hole", "ball"])
def test_many_at_once_are_as_one_by_one(session: Session, kind: str) -> None:
    session.info["shop_id"] = 1
    owners = [make_bowler("Ada One"), make_bowler("Ada One")]
    session.add_all(owners)
    session.flush()
    fits = [make_fit(owner.id) for owner in owners]
    made: dict[str, list[Base]] = {
        "bowler": [make_bowler("Ola Two", league="Tuesdays"), make_bowler("Ola Two", league="Tuesdays")],
        "fit": [*fits],
        "hole": [FitHole(fit_id=1, digit=f"x{n}", forward_in=Fraction(-1, 3)) for n in "ab"],
        "ball": [Ball(bowler_id=owner.id, label="grey") for owner in owners],
    }
    one, other = made[kind]
    session.add(one)
    session.flush()
    changes.insert_all(session, [other])
    told = [read(session, record) for record in (one, other)]
    if kind == "hole":
        told = [row | {"digit": ""} for row in told]
    assert told[0] == told[1]
    assert told[0].get("version", 1) == 1


def test_ids_are_given_in_the_order_of_the_records(session: Session) -> None:
    people: list[Base] = [make_bowler(f"Person {n}") for n in range(60)]
    changes.insert_all(session, people)
    stored = {number: name for number, name in session.execute(select(Bowler.id, Bowler.name))}
    assert [stored[p.id] for p in people if isinstance(p, Bowler)] == [f"Person {n}" for n in range(60)]


def test_a_time_that_is_given_stays(session: Session) -> None:
    owner = make_bowler("Ada One")
    changes.insert_all(session, [owner])
    old = datetime(2019, 5, 6, tzinfo=UTC)
    fits = [make_fit(owner.id, created_at=old), make_fit(owner.id)]
    fits[1].revision = 8
    changes.insert_all(session, fits)
    times = [session.scalar(select(Fit.created_at).where(Fit.id == fit.id)) for fit in fits]
    assert times[0] == old
    assert times[1] is not None and times[1].year > 2020
