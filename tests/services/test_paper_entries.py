"""A card's own day is when its hand was measured, unless it is still to come."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, CardStack, Fit, InsertSystem, PaperCard, now
from app.schemas.paper_stacks import CardForm
from app.services import paper_entries, paper_stacks
from app.services.paper_entries import Entry
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


def type_rest(
    session: Session, who: str, rest: str, name: str = "Ulla Perrin, r", **said: str
) -> tuple[CardStack, PaperCard, Entry]:
    """A card of which the last line says more than the bridge."""
    stack = begin(session, who)
    stack.ways = dict(HOUSE)
    card = paper_stacks.take_next(session, int(who), stack)
    lines = {f"line_{n}": text for n, text in (CARD | {"name": name, "rest": f"b 1/4; {rest}"}).items()}
    lines |= {"at_name": name, "at_rest": lines["line_rest"]} | said
    entry = paper_entries.save(session, stack, card, CardForm.read({"who": who} | lines))
    session.flush()
    return stack, card, entry


def test_a_day_still_to_come_is_asked(session: Session, who: str) -> None:
    day = (now() + timedelta(days=400)).date().isoformat()
    _, card, entry = type_rest(session, who, f"on {day}")
    assert ([(q.field, q.as_typed) for q in entry.asked["rest"]], card.state) == ([("fit_date", day)], "waiting")


def test_hardware_of_ours_is_that_record_and_other_hardware_is_unknown(session: Session, who: str) -> None:
    ours = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "thumb").limit(1)))
    _, card, _ = type_rest(session, who, f"system {ours.label}")
    fit = not_none(session.get(Fit, card.fit_id))
    assert (fit.system_id, fit.state, ours.label in fit.hand_notes) == (ours.id, "in force", False)
    _, other, entry = type_rest(session, who, "system Old red one", "Otto Quist, r")
    assert entry.hardware == "unknown which"
    fit = not_none(session.get(Fit, other.fit_id))
    assert (fit.system_id, fit.typed["system_id"], fit.state) == (None, "unknown", "draft")
    assert "Old red one" in fit.hand_notes


def test_hardware_named_nearly_as_ours_is_asked(session: Session, who: str) -> None:
    ours = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "thumb").limit(1)))
    part = f"system {ours.label.split()[0]}"
    _, card, entry = type_rest(session, who, part)
    (question,) = entry.asked["rest"]
    assert (question.field, ours.label in question.choices, card.state) == ("hardware_system", True, "waiting")
    _, card, _ = type_rest(session, who, part, answer_hardware_system=ours.label)
    assert not_none(session.get(Fit, card.fit_id)).system_id == ours.id


def test_what_reaches_no_record_is_a_note_of_the_fit(session: Session, who: str) -> None:
    _, card, _ = type_rest(session, who, "ball Blue Comet; serial A 12")
    notes = not_none(session.get(Fit, card.fit_id)).hand_notes
    assert "Blue Comet" in notes and "A 12" in notes
    known = not_none(session.scalar(select(Bowler).where(Bowler.name == "Anna Johnson")))
    rest = "phone 555 0199; league Early birds; guardian Ida Perrin"
    _, again, entry = type_rest(session, who, rest, "Anna Johnson, l", answer_bowler=f"no. {known.id}")
    assert again.bowler_id == known.id, entry.asked
    notes = not_none(session.get(Fit, again.fit_id)).hand_notes
    assert all(text in notes for text in ("555 0199", "Early birds", "Ida Perrin"))
    assert len(entry.noted) == 3
