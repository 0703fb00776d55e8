"""Specified, built and found side by side: what differs first, held against subtraction by hand."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.models import Bore, now
from app.services import bench, bench_stops, drillings, measurements, side_by_side
from tests.conftest import not_none
from tests.services.conftest import Make


def lines_of(session: Session, drilling_id: int) -> dict[str, side_by_side.Line]:
    of = bench.get_drilling(session, drilling_id, *drillings.AS_BUILT)
    lines = side_by_side.list_lines(of, measurements.compare_built(of))
    assert [line.is_different for line in lines] == sorted((line.is_different for line in lines), reverse=True)
    return {line.what: line for line in lines}


def test_what_differs_stands_first_with_its_difference(session: Session) -> None:
    lines = lines_of(session, 2)  # of the demo: the thumb hole 15/16 as specified, found 61/64
    found = lines["thumb hole"].found[0]
    assert (found.value_in - Fraction(15, 16), found.difference) == (Fraction(1, 64), "+1/64 wider")
    assert (lines["to middle"].verdict, lines["to middle"].is_different) == ("long", True)
    assert (lines["to ring"].verdict, lines["to ring"].is_different, lines["to ring"].is_told) == (
        "within",
        False,
        True,
    )
    assert (lines["middle depth"].built, lines["middle depth"].is_told) == (None, False)  # nobody read it


def test_a_depth_is_compared_only_where_its_datum_and_pitch_are_known(session: Session) -> None:
    bore = not_none(session.get(Bore, not_none(drillings.get_drilling(session, 1).bore_id)))
    planned = not_none(not_none(drillings.get_drilling(session, 1).plan).bore).depth_in
    bore.depth_in = Fraction(planned).limit_denominator(10**6) + Fraction(1, 32)
    session.flush()
    assert lines_of(session, 1)["bore depth"].difference == "+2/64 deeper"
    for name, value in (("datum", "unknown"), ("forward_in", None)):
        kept = getattr(bore, name)
        setattr(bore, name, value)
        session.flush()
        assert lines_of(session, 1)["bore depth"].difference == ""
        setattr(bore, name, kept)
    bore.right_in = Fraction(1, 8)
    session.flush()
    assert lines_of(session, 1)["bore pitch"].difference == "0.125 right"


def meet(session: Session, action: str, **met: object) -> dict[str, side_by_side.Line]:
    """The lines of the demo's second drilling with this met at a step of it."""
    of = bench.get_drilling(session, 2, *drillings.AS_BUILT)
    step = next(step for step in of.steps if step.action == action)
    for name, value in ({"ticked_at": now()} | met).items():
        setattr(step, name, value)
    of.as_met = bench_stops.put_met(of)
    session.flush()
    return lines_of(session, 2)


def test_a_finger_depth_from_nobody_knows_where_is_shown_as_read_and_not_compared(session: Session) -> None:
    line = meet(session, "middle_bore", met_depth_in=Fraction(7, 8), met_datum="unknown")["middle depth"]
    assert (line.built, line.note, line.difference) == (0.875, "unknown", "")


def test_a_finger_depth_over_an_unknown_pitch_is_compared_only_from_the_crown(session: Session) -> None:
    meet(session, "middle_pitch", typed={"pitch": "unknown"})
    line = meet(session, "middle_bore", met_depth_in=Fraction(7, 8), met_datum="collar")["middle depth"]
    assert (line.built, line.note, line.difference) == (0.875, "collar", "")
    line = meet(session, "middle_bore", met_depth_in=Fraction(3, 4), met_datum="crown")["middle depth"]
    assert (line.specified, line.built, line.note, line.difference) == (0.875, 0.75, "", "8/64 shallower")


def test_what_cannot_be_worked_out_is_still_what_was_read(session: Session) -> None:
    line = meet(session, "middle_bore", met_bit_in=Fraction(9))["middle bit"]
    assert (line.built, line.is_different) == (9.0, True)
    line = meet(session, "middle_pitch", met_forward_in=Fraction(4), met_right_in=Fraction(0))["middle pitch"]
    assert (line.built, line.is_different) == ((4.0, 0.0), True)


@pytest.mark.parametrize(("kind", "action"), [("none", "drill_thumb"), ("bore_floor", "drill_inner")])
def test_the_bits_of_thumb_and_bore_are_told(session: Session, make: Make, kind: str, action: str) -> None:
    of = make(kind)
    for step in (s for s in of.steps if s.action in (action, "bore")):
        step.ticked_at, step.met_bit_in = now(), Fraction(31, 32) if step.action == action else Fraction(3, 2)
    session.flush()
    of = bench.get_drilling(session, of.id, *drillings.AS_BUILT)
    lines = {line.what: line for line in side_by_side.list_lines(of, None)}
    wanted = not_none(not_none(of.plan).grip.thumb).hole_in
    told = lines["thumb bit"]
    assert (told.specified, told.built) == (wanted, 0.96875)
    assert told.is_different == (wanted != 0.96875)
    assert ("thumb depth" in lines, "bore bit" in lines) == (kind == "none", kind != "none")
    if kind != "none":
        assert lines["bore bit"].built == 1.5
