"""Specified, built and found side by side: what differs first, held against subtraction by hand."""

from fractions import Fraction

from sqlalchemy.orm import Session

from app.models import Bore
from app.services import bench, drillings, measurements, side_by_side
from tests.conftest import not_none


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
