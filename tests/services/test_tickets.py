"""Work is taken in: for what is recorded or with it, promised for later, and once for each ball that is drilled."""

import time
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Change, Drilling, Inner, Photo, Squad, Ticket, TicketMove, now
from app.schemas.balls import RetirementForm
from app.schemas.tickets import TicketForm
from app.services import balls, tickets
from tests.conftest import not_none
from tests.photos.made import make_picture, write
from tests.services.floor_hands import Floor
from tests.services.test_ticket_links import planned


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


@pytest.fixture
def blue(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-1042")))


def local(moment: datetime) -> str:
    return moment.astimezone().strftime("%Y-%m-%dT%H:%M")


def wrong(error: pytest.ExceptionInfo[InvalidError]) -> set[str]:
    return set(error.value.fields)


def test_work_for_a_ball_is_kept_with_who_and_when(session: Session, floor: Floor, blue: Ball, who: str) -> None:
    soon = now() + timedelta(hours=3)
    of = floor.take_in(
        blue,
        "thumb",
        words="too tight since June",
        promised=local(soon),
        price="35",
        symptom="a blister",
        wishes="bevel",
    )
    assert (of.ball_id, of.inner_id, of.what, of.state, of.staff_id) == (blue.id, None, "thumb", "taken in", int(who))
    assert (of.words, of.symptom, of.wishes, of.price) == ("too tight since June", "a blister", "bevel", "35")
    assert of.promised_at == soon.replace(second=0, microsecond=0)
    line = session.scalars(select(Change).where(Change.noun == "ticket")).one()
    assert (line.noun_id, line.field, line.new, line.bowler_id) == (
        of.id,
        "made",
        "thumb: Blue pearl, league",
        blue.bowler_id,
    )
    move = session.scalars(select(TicketMove)).one()
    assert (move.ticket_id, move.state, move.staff_id) == (of.id, "taken in", int(who))


def test_a_ball_that_is_not_there_yet_is_made_with_its_ticket(session: Session, floor: Floor, anna: Bowler) -> None:
    of = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red hybrid")
    made = not_none(session.get(Ball, of.ball_id))
    assert (made.bowler_id, made.label, made.serial) == (anna.id, "Red hybrid", "")
    assert made.is_circumference_unasked


def test_an_inner_is_sanded_and_not_drilled(session: Session, floor: Floor) -> None:
    inner = not_none(session.scalar(select(Inner)))
    of = floor.take_in(f"inner:{inner.id}", "sand")
    assert (of.inner_id, of.ball_id) == (inner.id, None)
    with pytest.raises(InvalidError) as refused:
        floor.take_in(f"inner:{inner.id}", "redrill")
    assert wrong(refused) == {"what"}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"thing": "new"}, "ball_label"),
        ({"thing": "ball:1", "ball_label": "Red"}, "thing"),
        ({"thing": "cat:1"}, "thing"),
        ({"priority": "first"}, "priority_reason"),
        ({"priority_reason": "he waits"}, "priority"),
        ({"promised": "2026-13-01T10:00"}, "promised"),
        ({"what": "paint"}, "what"),
    ],
)
def test_a_form_that_contradicts_itself_is_refused_at_its_field(typed: dict[str, str], field: str, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        TicketForm.read({"who": who, "thing": "ball:1", "what": "sand"} | typed)
    assert wrong(refused) == {field}


def test_another_bowlers_ball_and_an_unknown_squad_are_refused(floor: Floor, blue: Ball) -> None:
    with pytest.raises(InvalidError) as refused:
        floor.take_in(blue, bowler_id=str(blue.bowler_id + 1))
    assert wrong(refused) == {"thing"}
    with pytest.raises(InvalidError) as refused:
        floor.take_in(blue, squad_id="99")
    assert wrong(refused) == {"squad_id"}
    with pytest.raises(InvalidError) as refused:
        floor.take_in("ball:9999")
    assert wrong(refused) == {"thing"}


def test_a_promise_in_the_past_is_refused_and_a_clock_may_differ_by_minutes(floor: Floor, blue: Ball) -> None:
    with pytest.raises(InvalidError) as refused:
        floor.take_in(blue, promised=local(now() - timedelta(minutes=10)))
    assert wrong(refused) == {"promised"}
    assert floor.take_in(blue, promised=local(now() - timedelta(minutes=2))).promised_at


def test_a_typed_promise_counts_before_a_tapped_one_and_a_squad_before_none(floor: Floor, blue: Ball) -> None:
    both = floor.take_in(blue, promised="2099-05-01T10:00", promised_quick="2099-05-02T10:00")
    assert both.promised_at == datetime(2099, 5, 1, 10).astimezone(UTC)
    squad: Squad = floor.squad(begins="2099-05-03T10:00")
    assert floor.take_in(blue, squad_id=str(squad.id)).promised_at == datetime(2099, 5, 3, 9, 30).astimezone(UTC)


def test_a_ball_is_here_to_be_drilled_once(floor: Floor, anna: Bowler) -> None:
    first = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    thing = f"ball:{first.ball_id}"
    with pytest.raises(InvalidError, match=f"ticket {first.id}"):
        floor.take_in(thing, "same")
    floor.take_in(thing, "layout")  # further work on it may come beside
    tickets_made = floor.session.scalars(
        select(Ticket).where(Ticket.ball_id == first.ball_id).order_by(Ticket.id)
    ).all()
    assert [of.what for of in tickets_made] == ["new", "layout"]


def test_a_drilled_ball_is_plugged_first(floor: Floor, blue: Ball) -> None:
    with pytest.raises(InvalidError) as refused:
        floor.take_in(blue, "new")
    assert wrong(refused) == {"what"}
    assert floor.take_in(blue, "redrill").state == "taken in"


def test_a_ball_out_of_use_is_not_taken_in(session: Session, floor: Floor, blue: Ball, who: str) -> None:
    balls.retire(session, blue.id, RetirementForm.read({"who": who, "version": str(blue.version), "why": "cracked"}))
    with pytest.raises(ConflictError, match="out of use"):
        floor.take_in(blue)


def test_a_removed_bowlers_ball_is_not_taken_in(session: Session, floor: Floor, blue: Ball, anna: Bowler) -> None:
    anna.removed_at = now()
    session.flush()
    with pytest.raises(ConflictError, match="was removed"):
        floor.take_in(blue)


def test_a_drilling_under_way_is_taken_up_with_the_ticket(floor: Floor, plan: Drilling) -> None:
    of = floor.take_in(f"ball:{plan.ball_id}", "new")
    assert of.drilling_id == plan.id
    assert floor.stage(of) == "planned"


def test_a_photo_comes_with_the_ball(session: Session, floor: Floor, blue: Ball, who: str) -> None:
    form = TicketForm.read({"who": who, "thing": f"ball:{blue.id}", "what": "check"})
    tickets.take_in(session, form, write(make_picture(), "PNG"))
    assert session.scalars(select(Photo.media_type).where(Photo.ball_id == blue.id)).all() == ["image/jpeg"]
    with pytest.raises(InvalidError):
        tickets.take_in(session, form, b"GIF89a")


def test_a_photo_comes_with_an_inner(session: Session, who: str) -> None:
    inner = not_none(session.scalar(select(Inner)))
    form = TicketForm.read({"who": who, "thing": f"inner:{inner.id}", "what": "sand"})
    tickets.take_in(session, form, write(make_picture(), "PNG"))
    assert session.scalars(select(Photo.media_type).where(Photo.inner_id == inner.id)).all() == ["image/jpeg"]


def test_editing_keeps_an_old_promise_and_refuses_a_new_past_one(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue, promised="2099-05-01T10:00")
    of.promised_at = now() - timedelta(days=1)
    session.flush()
    late, thing = of.promised_at, f"ball:{blue.id}"
    signed = {"thing": thing, "what": "sand"}
    tickets.edit(session, of.id, TicketForm.read(floor.signed(of, **signed, words="hurry", promised=local(late))))
    assert (of.words, of.promised_at) == ("hurry", late)
    with pytest.raises(InvalidError):
        past = local(now() - timedelta(hours=2))
        tickets.edit(session, of.id, TicketForm.read(floor.signed(of, **signed, promised=past)))
    session.refresh(of)
    with pytest.raises(ConflictError):
        tickets.edit(session, of.id, TicketForm.read(signed | {"who": floor.who, "version": "1"}))


def test_a_promise_that_is_not_changed_stays_the_second_of_two_equal_times(
    session: Session, floor: Floor, blue: Ball, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The clock shows 02:30 twice on 25 October 2026: Directive 2000/84/EC."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        of = floor.take_in(blue)
        of.promised_at = second = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
        session.flush()
        typed = {"thing": f"ball:{blue.id}", "what": "sand", "promised": "2026-10-25T02:30", "words": "hurry"}
        tickets.edit(session, of.id, TicketForm.read(floor.signed(of, **typed)))
    finally:
        monkeypatch.undo()
        time.tzset()
    assert (of.words, of.promised_at) == ("hurry", second)


def test_other_work_lets_a_plan_go_and_takes_it_up_again(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.take_in(not_none(session.get(Ball, plan.ball_id)), "new")

    def change(what: str) -> str:
        typed = {"thing": f"ball:{plan.ball_id}", "what": what, "who": floor.who, "version": str(of.version)}
        tickets.edit(session, of.id, TicketForm.read(typed))
        return floor.stage(of)

    assert (change("sand"), of.drilling_id) == ("taken in", None)
    assert (change("thumb"), of.drilling_id) == ("planned", plan.id)
    plan.state = "drilled"
    session.flush()
    with pytest.raises(InvalidError) as refused:
        change("sand")
    assert set(refused.value.fields) == {"what"}


@pytest.mark.parametrize("what", ["new", "same", "thumb"])
@pytest.mark.parametrize("state", ["planned", "drilled"])
def test_other_work_takes_up_a_drilling_that_was_planned_without_a_ticket(
    session: Session, floor: Floor, anna: Bowler, who: str, what: str, state: str
) -> None:
    of = floor.take_in("new", "sand", bowler_id=str(anna.id), ball_label="Red")
    made = planned(session, of.ball_id, who)
    made.state = state
    session.flush()
    assert not of.drilling_id
    tickets.edit(session, of.id, TicketForm.read(floor.signed(of, thing=f"ball:{of.ball_id}", what=what)))
    assert (of.drilling_id, floor.shown(of).drilling_id) == (made.id, made.id)


def test_work_that_is_done_does_not_become_a_drilling(session: Session, floor: Floor, anna: Bowler) -> None:
    """Else a ball would be done, and could be handed over, that nobody drilled."""
    of = floor.done("new", what="sand", bowler_id=str(anna.id), ball_label="Undrilled")
    for what in ("new", "thumb"):
        form = TicketForm.read(floor.signed(of, thing=f"ball:{of.ball_id}", what=what))
        with pytest.raises(InvalidError) as refused:
            tickets.edit(session, of.id, form)
        assert (set(refused.value.fields), of.what) == ({"what"}, "sand")
