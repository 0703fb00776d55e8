"""What is held on a bowler, as people read it: no less than the file says, names for ids, numbers exact."""

from base64 import b64decode
from datetime import datetime
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.services import fits, held, personal, photos
from tests.photos.made import make_picture, write


def test_every_noun_and_record_of_the_file_is_told(session: Session) -> None:
    told = {noun.name: [row.number for row in noun.rows] for noun in held.read_held(session, 1)}
    file = personal.export_bowler(session, 1)
    assert told == {name: [row["id"] for row in rows] for name, rows in file.items() if rows}


def test_ids_are_names_and_numbers_are_exact(session: Session) -> None:
    nouns = {noun.name: noun for noun in held.read_held(session, 1)}
    fit = nouns["fits"].rows[0].facts
    assert (fit["author"], fit["span ring"], nouns["fits"].rows[0].title) == (
        "Imke Sand",
        Fraction(33, 8),
        "Fit A, right hand",
    )
    assert isinstance(fit["created"], datetime)
    drilling = nouns["drillings"].rows[0]
    assert (drilling.facts["fit"], drilling.title) == ("fit A", "Blue pearl, league, no. 1")
    assert ("grip, thumb, hole", 0.9375) in list(held.flatten(drilling.nested["plan"]))
    assert "bowler" not in nouns["steps"].columns


@pytest.mark.both
def test_pictures_are_links_on_the_page_and_whole_in_the_file(session: Session, who: str) -> None:
    photo = photos.add_photo(session, fits.get_fit(session, 1), int(who), write(make_picture()))
    (told,) = next(noun for noun in held.read_held(session, 1) if noun.name == "photos").rows
    assert (told.picture, told.facts["width"]) == (f"/photos/{photo.id}", photo.width)
    assert not {"data", "thumbnail"} & set(told.facts)
    (filed,) = personal.export_bowler(session, 1)["photos"]
    assert b64decode(filed["data"]) == photo.data
    assert b64decode(filed["thumbnail"]) == photo.thumbnail


def test_a_nested_record_is_told_part_by_part() -> None:
    parts = dict(
        held.flatten({"cut": {"edge_in": [1.0, 2.0], "empty": None}, "old_holes": [{"name": "a"}, {"name": "b"}]})
    )
    assert parts == {"cut, edge": "1.0, 2.0", "old holes 1, name": "a", "old holes 2, name": "b"}
