"""A bowler's balls, as they are written to and as they are only read."""

from fractions import Fraction

import pytest
from sqlalchemy import inspect
from sqlalchemy.exc import InvalidRequestError
from sqlalchemy.orm import Session

from app.models import Ball, now
from app.services import balls


def test_the_balls_of_a_record_are_those_of_the_orm_in_their_order_and_in_every_column(session: Session) -> None:
    """As a page reads them with its first query: fractions, moments and typed texts are converted, removed ones left out."""
    known = {"bowler_id": 1, "weight_lb": Fraction(31, 2), "typed": {"circumference": "26 31/32"}}
    session.add(Ball(**known, label="A retired one", circumference_in=Fraction(863, 32), retired_at=now()))
    session.add(Ball(**known, label="Zinc", circumference_in=None, safe_depth_in=Fraction(5, 2)))
    session.add(Ball(**known, label="Gone", removed_at=now()))
    session.flush()
    read = balls.read_of_bowler(balls.ask_of_bowler(1).fetch(session))
    session.expire_all()
    stored = balls.list_of_bowler(session, 1)
    columns = inspect(Ball).column_attrs.keys()
    assert [[getattr(b, c) for c in columns] for b in read] == [[getattr(b, c) for c in columns] for b in stored]
    assert [b.label for b in read][-2:] == ["Zinc", "A retired one"]
    assert [b.around_in for b in read[-2:]] == [Fraction(27), Fraction(863, 32)]
    assert not any(inspect(b).session for b in read)
    with pytest.raises(InvalidRequestError):
        assert read[0].bowler
