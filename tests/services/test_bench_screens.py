"""Screens of the bench: which steps they hold, and that one post keeps every reading, stop and tick of them."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import BenchStop, Change, Drilling
from app.schemas.drillings import DecisionForm, TickForm
from app.services import bench, bench_stops, routes
from app.services.bench_screens import Screen, list_screens, list_ticked_with
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_bench import confirmed

PAUSE = 1


def by_actions(of: Drilling) -> list[list[str]]:
    return [[step.action for step in screen.steps] for screen in list_screens(of)]


def forms_of(screen: Screen, who: str, **typed: dict[str, str]) -> dict[int, TickForm]:
    """The ticks of what is due on a screen, with what was typed by action; a depth nobody typed is not read."""
    unread = {"not_read": "true"}
    return {s.position: TickForm.read({"who": who} | typed.get(s.action, unread)) for s in screen.due}


def walk(session: Session, of: Drilling, who: str, until: str, **typed: dict[str, str]) -> int:
    """Ticks screen after screen up to the one with an action; returns the taps, the pause among them."""
    taps = 0
    for screen in list_screens(of):
        if any(step.action == until for step in screen.steps):
            break
        if not of.confirmed_at and any(step.is_cut for step in screen.due):
            confirmed(session, of, who)
            taps += PAUSE
        bench.tick_together(session, of.id, forms_of(screen, who, **typed))
        session.flush()
        taps += 1
    return taps


@pytest.mark.once
@pytest.mark.parametrize("kind", routes.ROUTES)
def test_screens_hold_every_step_once_and_end_where_something_is_judged(make: Make, kind: str) -> None:
    of = make(kind, system={"inner_ods": "", "stock": ""} if kind == "slug" else {})
    screens = list_screens(of)
    assert [step for screen in screens for step in screen.steps] == of.steps
    first_cut = next(step for step in of.steps if step.is_cut)
    assert any(screen.steps[0] is first_cut for screen in screens)  # the pause stands before it
    for screen in screens:
        assert not any({"depth", "rim"} & set(step.reads) for step in screen.steps[:-1])
        assert len({step.action for step in screen.steps} & {"glue", "flush", "drill_inner", "bore"}) <= 1


def test_thirty_taps_are_fourteen_and_every_reading_is_kept(session: Session, make: Make, who: str) -> None:
    """The route of the demo's push lock; the readings are those that each step asked for before there were screens."""
    of = make(hand="right")
    steps = [step for step in of.steps if step.action != "measure"]
    assert len(steps) + PAUSE == 32
    typed = {
        "bore_pitch": {"pitch": "1/4 reverse"}, "pilot": {"bit": "1 3/8"},
        "bore": {"depth": "2 49/64 collar", "bit": "1 1/2", "note": "chips long"},
        "thumb_pitch": {"pitch": "1/4 reverse"}, "drill_inner": {"depth": "2 1/4", "bit": "15/16"},
        "middle_pitch": {"pitch": "1/4 reverse, 1/16 left"}, "middle_bore": {"depth": "7/8 crown", "bit": "31/32"},
        "ring_pitch": {"pitch": "1/4 reverse, 1/8 right"}, "ring_bore": {"depth": "7/8 crown", "bit": "31/32"},
    }  # fmt: skip
    assert {s.action for s in steps if s.reads} == set(typed)
    typed = {
        action: {"hand": "right", "hole": action.partition("_")[0].replace("bore", "thumb")} | t
        for action, t in typed.items()
    }
    assert walk(session, of, who, "measure", **typed) == 14
    assert session.scalars(select(BenchStop)).all() == []
    kept = {s.action: (s.met_depth_in, s.met_forward_in, s.met_bit, s.note) for s in steps if s.reads}
    quarter = Fraction(-1, 4)
    assert kept == {
        "bore_pitch": (None, quarter, "", ""), "pilot": (None, None, "1 3/8", ""),
        "bore": (Fraction(177, 64), None, "1 1/2", "chips long"),
        "thumb_pitch": (None, quarter, "", ""), "drill_inner": (Fraction(9, 4), None, "15/16", ""),
        "middle_pitch": (None, quarter, "", ""), "middle_bore": (Fraction(7, 8), None, "31/32", ""),
        "ring_pitch": (None, quarter, "", ""), "ring_bore": (Fraction(7, 8), None, "31/32", ""),
    }  # fmt: skip
    lines = session.scalars(select(Change.field).where(Change.field.startswith("step "))).all()
    assert sorted(lines) == sorted(f"step {s.position}: {s.words}" for s in steps)
    assert of.state == "drilled"


def test_a_stop_does_not_lose_what_was_read_after_it(session: Session, make: Make, who: str) -> None:
    of = make(hand="right")
    walk(session, of, who, "bore")
    confirmed(session, of, who)
    screen = next(s for s in list_screens(of) if s.main.action == "bore")
    bench.tick_together(
        session, of.id, forms_of(screen, who, pilot={"bit": "1 5/8"}, bore={"depth": "2 7/8 collar"})
    )  # a pilot wider than the bore, and an eighth too deep
    session.flush()
    pilot, bored = screen.steps
    assert (pilot.met_bit, bored.met_depth_in) == ("1 5/8", Fraction(23, 8))
    assert [stop.position for stop in bench.get_drilling(session, of.id).stops] == [pilot.position, bored.position]
    ream = next(s for s in list_screens(of) if s.main.action == "ream")
    with pytest.raises(ConflictError, match="stopped"):
        bench.tick_together(session, of.id, forms_of(ream, who))
    assert list_ticked_with(of, pilot.position) == [pilot.position, bored.position]
    form = {"who": who, "version": str(of.version), "decision": "take_back", "reason": ""}
    bench.decide(session, of.id, DecisionForm.read(form))
    session.flush()
    again = bench.get_drilling(session, of.id)
    assert [step.position for step in screen.due] == [pilot.position, bored.position]
    assert {stop.decision for stop in again.stops} == {"taken_back"}


def test_a_pitch_can_be_judged_before_its_cut(session: Session, make: Make, who: str) -> None:
    of = make(hand="right")
    walk(session, of, who, "ring_bore")
    screen = next(s for s in list_screens(of) if s.main.action == "ring_bore")
    pitch = screen.steps[0]
    own = TickForm.read({"who": who, "pitch": "1/2 forward", "hand": "right", "hole": "ring"})
    bench.tick_together(session, of.id, {pitch.position: own})
    session.flush()
    assert not_none(bench_stops.find_open_stop(bench.get_drilling(session, of.id))).position == pitch.position
    assert [s.action for s in screen.due] == ["ring_check", "ring_bore"]


def test_a_screen_with_a_wrong_reading_ticks_nothing_that_is_kept(session: Session, make: Make, who: str) -> None:
    of = make(hand="right")
    walk(session, of, who, "bore")
    confirmed(session, of, who)
    session.commit()
    screen = next(s for s in list_screens(of) if s.main.action == "bore")
    with pytest.raises(InvalidError):
        bench.tick_together(session, of.id, forms_of(screen, who, bore={}))
    session.rollback()
    due = bench.find_next_step(bench.get_drilling(session, of.id))
    assert not_none(due).action == "pilot"


def test_a_screen_is_taken_back_as_it_was_ticked(session: Session, make: Make, who: str) -> None:
    of = make(hand="right")
    walk(session, of, who, "ream")
    screen = next(s for s in list_screens(of) if s.main.action == "bore")
    bench.untick_together(session, of.id, [s.position for s in screen.passed], int(who), of.version)
    session.flush()
    assert [s.action for s in screen.due] == ["pilot", "bore"]
    assert not_none(bench.find_next_step(bench.get_drilling(session, of.id))).action == "pilot"
