"""A card's own day is when its hand was measured, unless it is still to come."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.models import Fit, now
from app.schemas.paper_stacks import CardForm
from app.services import paper_entries, paper_stacks
from tests.conftest import not_none
from tests.services.test_paper_stacks import begin
from tests.sheets.test_paper_lines import CARD, HOUSE

pytestmark = pytest.mark.both


def type_with(session: Session, who: str, day: str) -> Fit:
    stack = begin(session, who)
    stack.ways = dict(HOUSE)
    card = paper_stacks.take_next(session, int(who), stack)
    said = CARD | {"name": "Ulla Perrin, r", "rest": f"b 1/4; on {day}" if day else "b 1/4"}
    form = CardForm.read({"who": who} | {f"line_{name}": text for name, text in said.items()})
    entry = paper_entries.save(session, stack, card, form)
    assert not entry.is_asked, entry.asked
    session.flush()
    return not_none(session.get(Fit, card.fit_id))


def test_a_fit_is_as_old_as_its_card_says(session: Session, who: str) -> None:
    made = type_with(session, who, "2024-03-08")
    assert made.created_at.replace(tzinfo=UTC) == datetime(2024, 3, 8, tzinfo=UTC)


def test_a_card_without_a_day_is_of_today(session: Session, who: str) -> None:
    made = type_with(session, who, "")
    assert abs(made.created_at.replace(tzinfo=UTC) - now()) < timedelta(minutes=5)


def test_a_day_still_to_come_makes_no_fit_younger_than_now(session: Session) -> None:
    made = Fit(created_at=datetime(2026, 1, 2, tzinfo=UTC))
    paper_entries._set_day(made, (now() + timedelta(days=400)).date().isoformat())
    assert made.created_at == datetime(2026, 1, 2, tzinfo=UTC)
