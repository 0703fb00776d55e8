"""A ball is checked by its tag; a mix-up is kept, moves nothing and bars the hand-over until a scan matches."""

from collections.abc import Callable

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, BallCheck, Bowler, Change, Drilling, Ticket
from app.services import ticket_scans
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.floor_hands import Floor
from tests.services.test_bench import confirmed, ticked


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


@pytest.fixture
def blue(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-1042")))


@pytest.fixture
def spare(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-0877")))


def test_a_tag_names_its_ball_and_a_serial_one_that_is_here(session: Session, floor: Floor, blue: Ball) -> None:
    assert ticket_scans.read_scan(session, f"http://shop.local:8000/balls/{blue.id}") == blue
    assert ticket_scans.read_scan(session, f"/balls/{blue.id}\n") == blue
    assert ticket_scans.read_scan(session, f"HTTP://SHOP.LOCAL:8000/BALLS/{blue.id}") == blue  # read in capitals
    assert ticket_scans.read_scan(session, "/balls/999999") is None
    assert ticket_scans.read_scan(session, "QL-1042") is None  # nothing of it is here
    floor.take_in(blue)
    assert ticket_scans.read_scan(session, " ql-1042 ") == blue
    assert ticket_scans.read_scan(session, "QL-104") is None


def test_two_balls_of_one_serial_are_told_apart_by_the_tag(
    session: Session, floor: Floor, blue: Ball, spare: Ball
) -> None:
    spare.serial = "ql-1042"
    floor.take_in(blue)
    floor.take_in(spare)
    with pytest.raises(InvalidError) as refused:
        ticket_scans.read_scan(session, "QL-1042")
    assert set(refused.value.fields) == {"scan"}
    assert ticket_scans.read_scan(session, f"/balls/{spare.id}") == spare


def test_a_wrong_ball_moves_nothing_and_bars_the_hand_over(
    session: Session, floor: Floor, blue: Ball, spare: Ball
) -> None:
    of, other = floor.done(blue), floor.take_in(spare)
    floor.hand_over(of, scan=f"/balls/{spare.id}")
    assert (of.state, floor.shown(of).is_mixed_up) == ("done", True)
    kept = session.scalars(select(BallCheck)).one()
    assert (kept.ball_id, kept.is_match, kept.moment) == (spare.id, False, "handover")
    told = ticket_scans.describe_mix_up(session, of.id)
    assert told == (
        f"You hold Spare ball, plain of Anna Johnson (ticket {other.id}); "
        "this ticket is for Blue pearl, league of Anna Johnson."
    )
    with pytest.raises(InvalidError) as refused:
        floor.hand_over(of)
    assert set(refused.value.fields) == {"scan"}
    floor.hand_over(of, scan=f"/balls/{blue.id}")
    assert (of.state, floor.shown(of).is_mixed_up) == ("handed over", False)
    lines = session.scalars(select(Change.new).where(Change.field == "scan").order_by(Change.id)).all()
    assert lines == [f"ball no. {spare.id}", "its own ball"]


def test_a_tag_of_nobodys_ball_is_a_mix_up_too(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.done(blue)
    floor.hand_over(of, scan="4006381333931")
    assert of.state == "done"
    assert ticket_scans.describe_mix_up(session, of.id).startswith("That is the tag of no ball of ours")


def test_a_tournament_needs_a_scan_whenever_a_ball_changes_hands(floor: Floor, blue: Ball) -> None:
    squad = floor.squad(is_tournament="true")
    of = floor.take_in(blue, squad_id=str(squad.id))
    tag = f"/balls/{blue.id}"
    assert needs_scan(lambda: floor.ready(of))
    floor.ready(of, "/balls/999999")
    assert (of.state, floor.shown(of).is_mixed_up) == ("taken in", True)
    floor.ready(of, tag)
    assert of.state == "ready"
    assert needs_scan(lambda: floor.take(of))
    floor.take(of, tag)
    assert needs_scan(lambda: floor.put_back(of))
    floor.finish(of)
    assert needs_scan(lambda: floor.hand_over(of))
    floor.hand_over(of, scan=tag)
    assert of.state == "handed over"


def test_a_tournament_ball_reaches_the_bench_by_its_tag_alone(
    session: Session, floor: Floor, make: Make, spare: Ball, who: str
) -> None:
    drilling = make()
    squad = str(floor.squad(is_tournament="true").id)
    of = floor.take_in(f"ball:{drilling.ball_id}", "new", squad_id=squad)
    tag = f"/balls/{drilling.ball_id}"
    floor.ready(of, tag)
    assert is_held_back(session, drilling, who)  # racked, and in nobody's hands
    floor.take(of, f"/balls/{spare.id}")
    assert is_held_back(session, drilling, who)
    floor.take(of, tag)
    confirmed(session, drilling, who)
    assert ticked(session, drilling, who, 1).ticked_at is not None
    floor.scan(of, f"/balls/{spare.id}")  # what lies at the bench now
    with pytest.raises(ConflictError, match="tag"):
        ticked(session, drilling, who, 2)
    floor.put_back(of, tag)
    with pytest.raises(ConflictError, match="tag"):
        ticked(session, drilling, who, 2)
    floor.take(of, tag)
    assert ticked(session, drilling, who, 2).ticked_at is not None


@pytest.mark.parametrize("moved", [(), ("ready",), ("ready", "take")])
def test_a_mix_up_is_put_right_by_a_scan_before_the_work_is_done(
    session: Session, floor: Floor, blue: Ball, spare: Ball, moved: tuple[str, ...]
) -> None:
    of = floor.take_in(blue)
    for act in moved:
        getattr(floor, act)(of)
    stage = floor.stage(of)
    floor.scan(of, f"/balls/{spare.id}")
    assert (floor.stage(of), floor.shown(of).is_mixed_up) == (stage, True)
    assert needs_scan(lambda: floor.scan(of, ""))
    floor.scan(of, f"/balls/{blue.id}")
    assert (floor.stage(of), floor.shown(of).is_mixed_up) == (stage, False)
    kept = session.scalars(select(BallCheck.moment).where(BallCheck.ticket_id == of.id)).all()
    assert kept == ["check", "check"]


def test_a_scan_at_the_counter_takes_no_ball_from_the_rack(floor: Floor, blue: Ball) -> None:
    tag = f"/balls/{blue.id}"
    of = floor.ready(floor.take_in(blue, squad_id=str(floor.squad(is_tournament="true").id)), tag)
    floor.scan(of, tag)
    assert (floor.shown(of).is_to_be_taken, floor.shown(of).is_checked) == (True, True)
    floor.take(of, tag)
    floor.scan(of, tag)
    assert floor.shown(of).is_to_be_taken is False


def test_nothing_is_scanned_that_has_left(floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    with pytest.raises(ConflictError, match="handed over"):
        floor.scan(of, f"/balls/{blue.id}")


def test_outside_a_tournament_the_bench_asks_for_no_tag(session: Session, floor: Floor, make: Make, who: str) -> None:
    drilling = make()
    floor.take_in(f"ball:{drilling.ball_id}", "new", squad_id=str(floor.squad().id))
    confirmed(session, drilling, who)
    assert ticked(session, drilling, who, 1).ticked_at is not None


def is_held_back(session: Session, drilling: Drilling, who: str) -> bool:
    """Whether neither the pause before the first cut nor the first step is let pass."""
    for act in (lambda: confirmed(session, drilling, who), lambda: ticked(session, drilling, who, 1)):
        with pytest.raises(ConflictError, match="tag"):
            act()
    return drilling.confirmed_at is None and drilling.steps[0].ticked_at is None


def needs_scan(act: Callable[[], Ticket]) -> bool:
    with pytest.raises(InvalidError) as refused:
        act()
    return set(refused.value.fields) == {"scan"}


def test_an_inner_has_no_tag(session: Session, floor: Floor) -> None:
    squad = floor.squad(is_tournament="true")
    of = floor.take(floor.ready(floor.take_in("inner:1", squad_id=str(squad.id))))
    assert of.state == "on the bench"
    floor.finish(of)
    with pytest.raises(InvalidError):
        floor.hand_over(of, scan="/balls/1")
