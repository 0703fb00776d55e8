"""What a ticket waits for: one thing at a time, glue as long as its maker says, anything else until it is answered."""

from collections.abc import Callable
from datetime import timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import COUNTER, DRILLER, Actor
from app.errors import ConflictError, InvalidError, NotAllowedError
from app.models import Ball, Bowler, Change, Part, TicketWait, now
from app.schemas.tickets import RackForm
from app.services import ticket_moves, ticket_waits
from tests.conftest import not_none
from tests.services.floor_hands import Floor


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


@pytest.fixture
def blue(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-1042")))


def test_glue_holds_until_it_has_cured_and_ends_by_itself(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take(floor.ready(floor.take_in(blue)))
    before = now()
    wait = floor.wait(of, "glue", minutes="90")
    assert before + timedelta(minutes=90) <= not_none(wait.until) <= now() + timedelta(minutes=90)
    assert floor.stage(of) == "waiting"
    with pytest.raises(ConflictError, match="waiting"):
        floor.finish(of)
    wait.until = now() - timedelta(seconds=1)
    assert floor.stage(of) == "on the bench"
    floor.finish(of)
    assert wait.ended_at is not None


def test_the_shops_own_cure_time_of_a_glue_counts(session: Session, floor: Floor, blue: Ball) -> None:
    slow, unknown = Part(kind="glue", label="Slow resin", cure_minutes=240), Part(kind="glue", label="Quick glue")
    session.add_all([slow, unknown])
    session.flush()
    of = floor.take_in(blue)
    wait = floor.wait(of, "glue", part_id=str(slow.id))
    assert (wait.part_id, wait.why) == (slow.id, "Slow resin")
    assert abs(not_none(wait.until) - now() - timedelta(minutes=240)) < timedelta(minutes=1)
    with pytest.raises(InvalidError) as refused:
        floor.wait(of, "glue", part_id=str(unknown.id))
    assert set(refused.value.fields) == {"minutes"}


def test_a_part_that_is_waited_for_comes_when_it_comes(session: Session, floor: Floor, blue: Ball) -> None:
    resin = Part(kind="glue", label="Slow resin", cure_minutes=240)
    session.add(resin)
    session.flush()
    of = floor.take_in(blue)
    wait = floor.wait(of, "part", part_id=str(resin.id))
    assert (wait.part_id, wait.until) == (resin.id, None)
    soon = floor.wait(of, "part", part_id=str(resin.id), minutes="5")  # sooner than it cures: it is fetched, not glued
    assert abs(not_none(soon.until) - now() - timedelta(minutes=5)) < timedelta(minutes=1)


def test_glue_never_waits_less_than_the_shop_entered(session: Session, floor: Floor, blue: Ball) -> None:
    slow = Part(kind="glue", label="Slow resin", cure_minutes=240)
    session.add(slow)
    session.flush()
    of = floor.take_in(blue)
    soon = (now() + timedelta(minutes=5)).astimezone().strftime("%Y-%m-%dT%H:%M")
    for field, typed in (("minutes", "5"), ("until", soon)):
        with pytest.raises(InvalidError) as refused:
            floor.wait(of, "glue", part_id=str(slow.id), **{field: typed})
        assert set(refused.value.fields) == {field}
    longer = floor.wait(of, "glue", part_id=str(slow.id), minutes="300")
    assert not_none(longer.until) - now() > timedelta(minutes=299)


@pytest.mark.parametrize(
    "typed",
    [{"kind": "question", "why": "Which layout?"}, {"kind": "part", "why": "sleeve"}, {"kind": "glue", "minutes": "1"}],
)
def test_no_other_wait_ends_the_timer_of_glue(floor: Floor, blue: Ball, typed: dict[str, str]) -> None:
    of = floor.take_in(blue)
    curing = floor.wait(of, "glue", minutes="30")
    with pytest.raises(InvalidError) as refused:
        floor.wait(of, **typed)
    assert set(refused.value.fields) == {"kind"}
    assert (curing.ended_at, not_none(floor.shown(of).stage.wait).id) == (None, curing.id)
    floor.wait(of, "glue", minutes="60")  # a second coat
    assert curing.ended_at is not None


def test_parts_of_one_label_are_told_apart(session: Session, floor: Floor, blue: Ball) -> None:
    sizes = [Part(kind="insert", label="Finger insert", size_in=Fraction(size, 32)) for size in (31, 30)]
    session.add_all([*sizes, Part(kind="glue", label="Slow resin", cure_minutes=240)])
    session.flush()
    told = [words for _, words in ticket_waits.list_parts(session)]
    assert told[0] == "Slow resin"
    assert told.index("Finger insert 15/16") < told.index("Finger insert 31/32")
    assert floor.wait(floor.take_in(blue), "part", part_id=str(sizes[0].id)).why == "Finger insert 31/32"


def test_before_glue_has_cured_a_reason_is_asked(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    wait = floor.wait(of, "glue", minutes="30")
    with pytest.raises(InvalidError) as refused:
        floor.end_wait(wait)
    assert set(refused.value.fields) == {"why"}
    floor.end_wait(wait, "heated as its maker allows")
    assert (floor.stage(of), wait.ended_by_id) == ("taken in", int(floor.who))
    line = session.scalars(select(Change).order_by(Change.id.desc())).first()
    assert (not_none(line).field, not_none(line).why) == ("waits for", "heated as its maker allows")
    with pytest.raises(ConflictError):
        floor.end_wait(wait, "again")


def test_a_question_ends_with_its_answer_and_a_part_without_words(floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    asked = floor.wait(of, "question", why="Which layout?")
    with pytest.raises(InvalidError):
        floor.end_wait(asked)
    assert floor.end_wait(asked, "the old one").why == "Which layout? → the old one"
    part = floor.wait(of, "part", why="sleeve, 1 3/8")
    assert floor.shown(of).stage.wait is not None
    floor.end_wait(part)
    assert floor.stage(of) == "taken in"


def test_a_new_wait_takes_the_place_of_the_open_one(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    first = floor.wait(of, "part", why="sleeve")
    second = floor.wait(of, "bowler", why="comes at six")
    assert (first.ended_at is None, second.ended_at is None) == (False, True)
    open_waits = session.scalars(select(TicketWait.id).where(TicketWait.ended_at.is_(None))).all()
    assert open_waits == [second.id]


@pytest.mark.parametrize(
    ("kind", "typed"), [("question", {"why": "Which colour?"}), ("part", {"why": "sleeve"}), ("glue", {"minutes": "5"})]
)
def test_no_other_wait_shortens_the_time_that_glue_cures(
    floor: Floor, blue: Ball, kind: str, typed: dict[str, str]
) -> None:
    of = floor.take_in(blue)
    glued = floor.wait(of, "glue", minutes="600")
    with pytest.raises(InvalidError) as refused:
        floor.wait(of, kind, **typed)
    assert set(refused.value.fields) == {"kind"}
    assert (glued.ended_at, floor.stage(of)) == (None, "waiting")
    longer = floor.wait(of, "glue", minutes="700")
    assert (glued.ended_at is None, not_none(floor.shown(of).stage.wait).id) == (False, longer.id)
    longer.until = now() - timedelta(seconds=1)
    assert floor.wait(of, kind, **typed).ended_at is None


def test_only_who_drills_goes_on_before_glue_has_cured(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    glued = floor.wait(of, "glue", minutes="600")
    session.info["actor"] = Actor(int(floor.who), 1, COUNTER)
    with pytest.raises(NotAllowedError):
        floor.end_wait(glued, "in a hurry")
    assert glued.ended_at is None
    session.info["actor"] = Actor(int(floor.who), 1, DRILLER)
    assert floor.end_wait(glued, "a dry fit").ended_at is not None


@pytest.mark.parametrize(
    ("kind", "typed", "field"),
    [
        ("glue", {}, "minutes"), ("glue", {"minutes": "soon"}, "minutes"), ("glue", {"minutes": "0"}, "minutes"),
        ("question", {}, "why"), ("bowler", {}, "why"), ("part", {}, "why"), ("part", {"part_id": "99"}, "part_id"),
        ("glue", {"until": "2020-01-01T10:00"}, "until"),
    ],
)  # fmt: skip
def test_a_wait_says_what_for(floor: Floor, blue: Ball, kind: str, typed: dict[str, str], field: str) -> None:
    of = floor.take_in(blue)
    with pytest.raises(InvalidError) as refused:
        floor.wait(of, kind, **typed)
    assert set(refused.value.fields) == {field}


def test_a_form_shown_before_a_wait_began_was_replaced_or_ended_is_of_an_older_version(
    floor: Floor, blue: Ball
) -> None:
    of = floor.take_in(blue)
    shown = [of.version]
    acts: list[Callable[[], TicketWait]] = [
        lambda: floor.wait(of, "part", why="sleeve"),
        lambda: floor.wait(of, "question", why="Which layout?"),
        lambda: floor.end_wait(not_none(ticket_waits.find_open(floor.session, of.id)), "the old one"),
    ]
    for act in acts:
        act()
        with pytest.raises(ConflictError):
            ticket_moves.make_ready(floor.session, of.id, RackForm.read(floor.signed(of) | {"version": str(shown[-1])}))
        shown.append(of.version)
    assert shown == sorted(set(shown))
    assert floor.ready(of).state == "ready"


def test_each_wait_that_gives_way_leaves_a_line_of_history(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take(floor.ready(floor.take_in(blue)))
    floor.wait(of, "part", why="sleeve")
    glued = floor.wait(of, "glue", minutes="30", why="resin")
    glued.until = now() - timedelta(seconds=1)
    floor.finish(of)
    query = select(Change.old, Change.new).where(Change.noun == "ticket", Change.field == "waits for")
    lines = [tuple(line) for line in session.execute(query.order_by(Change.id))]
    assert lines == [("", "part: sleeve"), ("part: sleeve", "glue: resin"), ("glue: resin", "over")]


def test_nothing_waits_after_the_hand_over(floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    with pytest.raises(ConflictError):
        floor.wait(of, "part", why="sleeve")


@pytest.mark.parametrize(("kind", "most"), [("glue", 14), ("part", 366), ("bowler", 366), ("question", 366)])
def test_glue_waits_two_weeks_at_most_and_all_else_a_year(floor: Floor, blue: Ball, kind: str, most: int) -> None:
    of = floor.take_in(blue)
    late, latest = (f"{(now() + timedelta(days=most + days)).astimezone():%Y-%m-%dT%H:%M}" for days in (0.1, -0.1))
    with pytest.raises(InvalidError) as refused:
        floor.wait(of, kind, why="sleeve", until=late)
    assert set(refused.value.fields) == {"until"}
    assert ticket_waits.find_open(floor.session, of.id) is None
    assert not_none(floor.wait(of, kind, why="sleeve", until=latest).until) > now() + timedelta(days=most - 1)
