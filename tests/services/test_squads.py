from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Shop, Squad, now
from app.schemas.tickets import SquadForm, TicketForm
from app.services import squads, tickets
from tests.conftest import not_none
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
    assert [of.label for of in squads.list_squads(session, None)] == ["soon", "late"]
    assert [of.label for of in squads.list_past(session, None)] == ["past"]
    assert late.id != soon.id


def test_a_squad_needs_a_beginning(who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        SquadForm.read({"who": who, "label": "x"})
    assert set(refused.value.fields) == {"begins"}


@pytest.fixture
def theirs(session: Session, floor: Floor) -> Squad:
    """A squad of another shop of ours."""
    other = Shop(name="Second Lane", town="", is_ours=True)
    session.add(other)
    session.flush()
    of = floor.squad("theirs")
    of.made_by_shop_id = other.id
    session.flush()
    return of


def test_a_shop_lists_its_own_squads_and_those_of_no_shop(session: Session, floor: Floor, theirs: Squad) -> None:
    ours, nobodys, past = floor.squad("ours"), floor.squad("nobody's"), floor.squad("ours, past")
    ours.made_by_shop_id = past.made_by_shop_id = 1
    nobodys.made_by_shop_id = None
    past.begins_at = now() - timedelta(days=2)
    gone = floor.squad("theirs, past")
    gone.made_by_shop_id, gone.begins_at = theirs.made_by_shop_id, past.begins_at
    session.flush()

    def told(shop_id: int | None) -> tuple[list[str], list[str]]:
        listed = squads.list_squads(session, shop_id), squads.list_past(session, shop_id)
        return sorted(of.label for of in listed[0]), sorted(of.label for of in listed[1])

    assert told(1) == (["nobody's", "ours"], ["ours, past"])
    assert told(theirs.made_by_shop_id) == (["nobody's", "theirs"], ["theirs, past"])
    assert told(None) == (["nobody's", "ours", "theirs"], ["ours, past", "theirs, past"])


def test_a_ticket_is_put_in_no_squad_of_another_shop(session: Session, floor: Floor, theirs: Squad) -> None:
    session.info["shop_id"] = 1
    ball = not_none(session.get(Ball, 1))
    with pytest.raises(InvalidError) as refused:
        floor.take_in(ball, squad_id=str(theirs.id))
    assert set(refused.value.fields) == {"squad_id"}
    of = floor.take_in(ball, squad_id=str(floor.squad("ours").id))
    typed = {"thing": "ball:1", "what": "sand", "squad_id": str(theirs.id)}
    with pytest.raises(InvalidError) as refused:
        tickets.edit(session, of.id, TicketForm.read(floor.signed(of, **typed)))
    assert set(refused.value.fields) == {"squad_id"}
    of.squad_id = theirs.id  # as it was before there was such a rule: other things of it can still be changed
    session.flush()
    tickets.edit(session, of.id, TicketForm.read(floor.signed(of, **typed, words="hurry")))
    assert (of.squad_id, of.words) == (theirs.id, "hurry")
