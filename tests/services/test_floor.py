"""The shop's own numbers: ASSUMED until entered, read and stored whole, each change with a line of history."""

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.schemas.floor import FloorForm
from app.services import floor

FORM = {f"minutes-{kind}": str(minutes) for kind, minutes in floor.ASSUMED_MINUTES.items()} | {
    "set_up_minutes": "6",
    "presses": "1",
    "follow_up_days": "14",
}


def test_numbers_are_assumed_until_the_shop_enters_its_own(session: Session, who: str) -> None:
    before = floor.get_floor(session)
    assert (before.is_assumed, before.minutes["new"], before.version) == (True, 45, 0)
    floor.save(
        session, FloorForm.read(FORM | {"who": who, "minutes-new": "50", "presses": "2", "care_words": "Dry it."})
    )
    session.flush()
    now = floor.get_floor(session)
    assert (now.is_assumed, now.minutes["new"], now.minutes["sand"], now.presses) == (False, 50, 10, 2)
    assert (now.care_words, now.usual_words) == ("Dry it.", floor.USUAL_WORDS)


def test_each_change_has_a_line_of_history(session: Session, who: str) -> None:
    floor.save(session, FloorForm.read(FORM | {"who": who, "minutes-new": "50"}))
    session.flush()
    version = str(floor.get_floor(session).version)
    floor.save(session, FloorForm.read(FORM | {"who": who, "minutes-new": "55", "presses": "2", "version": version}))
    session.flush()
    lines = [(line.field, line.old, line.new) for line in floor.list_lines(session)]
    assert sorted(lines[:2]) == [("minutes of new drilling", "50", "55"), ("presses", "1", "2")]
    assert ("minutes of new drilling", "45", "50") in lines


def test_an_older_form_is_refused(session: Session, who: str) -> None:
    floor.save(session, FloorForm.read(FORM | {"who": who}))
    session.flush()
    with pytest.raises(ConflictError):
        floor.save(session, FloorForm.read(FORM | {"who": who, "presses": "3", "version": "0"}))


@pytest.mark.parametrize(
    ("field", "typed"),
    [("minutes-new", "soon"), ("minutes-sand", "0"), ("minutes-check", "601"), ("minutes-thumb", ""), ("presses", "0"), ("presses", "5"),
     ("set_up_minutes", "-1"), ("follow_up_days", "1.5"), ("follow_up_days", "999999999999"), ("presses", "²")],
)  # fmt: skip
def test_what_is_no_whole_number_is_told_at_its_field(who: str, field: str, typed: str) -> None:
    with pytest.raises(InvalidError) as refused:
        FloorForm.read(FORM | {"who": who, field: typed})
    assert list(refused.value.fields) == [field]
