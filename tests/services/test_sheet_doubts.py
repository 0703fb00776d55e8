"""Namesakes and jumps: what is near enough to be asked, and what is not."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Fit, SheetRow
from app.schemas.fits import FitForm
from app.services import fits, sheet_doubts, sheet_imports, sheet_rows
from app.services.sheet_doubts import Namesakes, Person, find_jump, is_same, read_chosen
from tests.services.sheets import make_csv, take_in, write_row

TEXTS = {
    "who": "2", "hand": "right", "style": "fingertip", "reason": "x", "spans": "4 3/8 x 4 1/2", "first_finger": "middle",
    "span_edges": "cut", "bridge": "1/4", "bridge_edges": "cut", "thumb_hole": "31/32", "thumb_pitch": "1/4 reverse, 0",
    "middle_hole": "3/4", "middle_pitch": "0", "ring_hole": "3/4", "ring_pitch": "0",
}  # fmt: skip


def build(session: Session, **typed: str) -> Fit:
    return fits.build(session, FitForm.read(TEXTS | typed, first_finger="middle"))


@pytest.mark.parametrize(
    ("typed", "asks"),
    [
        ({}, False), ({"spans": "4 5/8 x 4 1/2"}, False), ({"spans": "4 41/64 x 4 1/2"}, True),
        ({"thumb_hole": "1 1/32"}, False), ({"thumb_hole": "1 3/64"}, True),
        ({"thumb_pitch": "3/8 reverse, 0"}, False), ({"thumb_pitch": "7/16 reverse, 0"}, True),
        ({"thumb_pitch": "1/4 forward, 0"}, True), ({"span_edges": "finished"}, True), ({"span_edges": "unknown"}, False),
    ],
)  # fmt: skip
def test_a_jump_is_beyond_the_limit_and_not_at_it(session: Session, typed: dict[str, str], asks: bool) -> None:
    """The limits, 1/4 of a span, 1/8 of a pitch and 1/16 of a size, are common practice, no source."""
    known = build(session)
    known.state = "in force"
    assert (find_jump(known, build(session, **typed)) is not None) is asks


def test_a_fit_is_the_same_in_every_measure_or_not(session: Session) -> None:
    assert is_same(build(session), build(session, reason="another"))
    assert not is_same(build(session), build(session, ring_pitch="1/16 forward, 0"))
    assert build(session).span_middle_in == Fraction(35, 8)


@pytest.mark.parametrize(
    ("name", "phone", "first"),
    [
        ("Anna Johnson", "", "no. 1"), ("Johnson, Ana", "", "no. 1"),
        ("Somebody Else", "555 0142 7788", "no. 1"), ("Quirin Zabel", "", None),
    ],
)  # fmt: skip
def test_namesakes_are_those_of_the_look_up(
    session: Session, who: str, name: str, phone: str, first: str | None
) -> None:
    of = sheet_imports.get_import(session, take_in(session, int(who), make_csv(write_row("Odo Brandt"))))
    found = Namesakes(session, of).find([Person(2, name, phone)])[2]
    assert found == ([first] if first else [])


def test_answers_name_a_record_a_row_or_nobody() -> None:
    assert read_chosen("no. 12") == ("no.", 12)
    assert read_chosen("row 5") == ("row", 5)
    assert read_chosen(sheet_doubts.NOBODY_KNOWN) == ("", 0)


def test_no_row_is_offered_itself_or_one_after_it(session: Session, who: str) -> None:
    rows = [write_row("Odo Brandt")] * 3
    of = sheet_imports.get_import(session, take_in(session, int(who), make_csv(*rows)))
    for row in session.scalars(select(SheetRow).where(SheetRow.import_id == of.id, SheetRow.number > 1)):
        row.name_key = sheet_rows.make_name_key("Odo Brandt")
    session.flush()
    found = Namesakes(session, of).find([Person(number, "Odo Brandt", "") for number in (2, 3, 4)])
    assert dict(found) == {2: [], 3: ["row 2"], 4: ["row 2", "row 3"]}
