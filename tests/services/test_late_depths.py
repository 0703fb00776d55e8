"""A depth that nobody read at the bench, read later."""

import time
from datetime import date, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Change, Drilling, Measurement, now
from app.schemas.drillings import DepthReadingForm
from app.services import bench, bench_stops, drillings, late_depths
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_bench_stops import decide, stopped_at, tick_to


def read_later(session: Session, of: Drilling, who: str, **typed: str) -> Drilling:
    form = {"who": who, "hole": "bore", "depth": "2 49/64 collar", "datum": "unknown", "day": date.today().isoformat()}
    made = late_depths.add_depth(session, of.id, DepthReadingForm.read(form | typed))
    session.flush()
    return made


def test_the_depth_of_a_drilled_bore_is_added_the_next_day(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "finger_bevel")
    assert not_none(drillings.get_drilling(session, of.id).bore).depth_in is None
    yesterday = date.today() - timedelta(days=1)
    read_later(session, of, who, day=yesterday.isoformat())
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bore.depth_in, bore.datum, bore.typed["depth"]) == (Fraction(177, 64), "collar", "2 49/64 collar")
    taken = session.scalars(select(Measurement).where(Measurement.what == "depth_bore")).one()
    assert (taken.value_in, taken.reference, taken.taken_at.date()) == (Fraction(177, 64), "collar", yesterday)
    line = session.scalars(select(Change).where(Change.noun == "bore", Change.field == "depth_in")).one()
    assert (line.old, line.new) == ("", "2 49/64")
    with pytest.raises(InvalidError) as again:
        read_later(session, of, who)
    assert set(again.value.fields) == {"hole"}


def test_a_depth_read_today_is_of_now_where_the_day_is_another_than_at_greenwich(
    session: Session, make: Make, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = make()
    tick_to(session, of, who, "finger_bevel")
    monkeypatch.setenv("TZ", "Etc/GMT-12" if now().hour >= 12 else "Etc/GMT+12")  # its signs are those of POSIX
    time.tzset()
    try:
        assert date.today() != now().date()
        read_later(session, of, who)
    finally:
        monkeypatch.undo()
        time.tzset()
    taken = session.scalars(select(Measurement).where(Measurement.what == "depth_bore")).one()
    assert abs(taken.taken_at - now()) < timedelta(hours=1)


def test_a_depth_read_before_the_ball_is_drilled_may_stop_its_bench(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", not_read="true")
    tick_to(session, of, who, "ream")
    read_later(session, of, who, depth="2 7/8 collar")
    assert stopped_at(session, of) == bored.position
    answers = bench_stops.list_answers(session, bench.get_drilling(session, of.id))
    assert [step.position for step, told in answers if told.is_beyond] == [bored.position]


def test_a_fingers_depth_is_added_too(session: Session, make: Make, who: str) -> None:
    of = make()
    tick_to(session, of, who, "finger_bevel")
    of = bench.get_drilling(session, of.id, *drillings.AS_BUILT)
    assert late_depths.list_unread(of, of.bore) == ["bore", "thumb", "middle", "ring"]
    read_later(session, of, who, hole="ring", depth="1 1/16 crown")
    assert not_none(bench.get_drilling(session, of.id).as_met).grip.fingers["ring"].depth_in == pytest.approx(
        1.0625, abs=1e-9
    )


@pytest.mark.parametrize(
    ("typed", "field"), [({"day": "9999-01-02"}, "day"), ({"depth": ""}, "depth"), ({"hole": "toe"}, "hole")]
)
def test_bad_input_names_its_field(session: Session, make: Make, who: str, typed: dict[str, str], field: str) -> None:
    of = make()
    tick_to(session, of, who, "finger_bevel")
    with pytest.raises(InvalidError) as refused:
        read_later(session, of, who, **typed)
    assert set(refused.value.fields) == {field}


def test_every_late_depth_beyond_a_limit_stops_and_an_earlier_tick_is_not_taken_back(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    tick_to(session, of, who, "bore", not_read="true")
    beyond = tick_to(session, of, who, "middle_bore", depth="1 crown", bit="1 1/32")
    read_later(session, of, who, depth="2 7/8 collar")
    assert stopped_at(session, of) == beyond.position
    decide(session, of, who, "carry_on", reason="a wider insert is here")
    with pytest.raises(ConflictError, match=f"Step {beyond.position} is ticked"):
        decide(session, of, who, "take_back")
    decide(session, of, who, "carry_on", reason="its sleeve is long enough")
    assert stopped_at(session, of) is None
