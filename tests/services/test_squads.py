from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import now
from app.schemas.tickets import SquadForm
from app.services import squads
from tests.services.floor_hands import Floor


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


def test_a_squad_is_kept_and_changed_by_version(session: Session, floor: Floor) -> None:
    of = floor.squad(is_tournament="true")
    assert (of.label, of.is_tournament, of.begins_at) == (
        "Sunday squad",
        True,
        datetime(2099, 5, 3, 10).astimezone(UTC),
    )
    assert squads.promised_for(of) == datetime(2099, 5, 3, 9, 30).astimezone(UTC)
    later = floor.signed(of, label="Sunday, second", begins="2099-05-03T14:00")
    squads.edit(session, of.id, SquadForm.read(later))
    assert (of.label, of.is_tournament) == ("Sunday, second", False)
    with pytest.raises(ConflictError):
        squads.edit(session, of.id, SquadForm.read(later))


def test_a_squad_of_a_year_ago_is_a_slip(floor: Floor) -> None:
    with pytest.raises(InvalidError) as refused:
        floor.squad(begins="2020-05-03T10:00")
    assert set(refused.value.fields) == {"begins"}


def test_the_next_squad_stands_first_and_past_ones_apart(session: Session, floor: Floor) -> None:
    late, soon, past = floor.squad("late", begins="2099-05-04T10:00"), floor.squad("soon"), floor.squad("past")
    past.begins_at = now() - timedelta(days=2)
    session.flush()
    assert [of.label for of in squads.list_squads(session)] == ["soon", "late"]
    assert [of.label for of in squads.list_past(session)] == ["past"]
    assert late.id != soon.id


def test_a_squad_needs_a_beginning(who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        SquadForm.read({"who": who, "label": "x"})
    assert set(refused.value.fields) == {"begins"}
