"""What a stray dash, a lone fraction or a number of degrees may mean is asked, and every choice can be taken."""

from collections.abc import Callable

import pytest

from app.measures.amounts import read_depth, read_proud, read_weight
from app.measures.pitches import Pitch, read_pitch
from app.measures.reading import Reading
from tests.conftest import not_none


def pitch(text: str) -> Reading[Pitch]:
    return read_pitch(text, "right", "thumb")


@pytest.mark.parametrize(
    ("read", "text"),
    [
        *[(pitch, t) for t in ("1/4- reverse", "reverse 1/4-", "1/4- rev 1/8- left", "1/4 rev, 1/8- left")],
        *[(pitch, t) for t in ("- 1/4 rev", "1/4 rev -", "1/4 rev 1/8 left -", "1/4-rev", "3/8 r 1/8- l")],
        *[(pitch, t) for t in ("3°", "1/2°", "3° rev 2°")],
        *[(read_weight, t) for t in ("15 pounds and a half", "15 lb 1/2", "15 lb and a quarter", "15# 3/4")],
        *[(read_depth, t) for t in ("2 3/4 - collar", "2 3/4 - from crown", "2 3/4 - high edge")],
        *[(read_proud, t) for t in ("1/64 proud shy", "1/32 proud-", "1/32 sunk shy")],
    ],
)
def test_it_is_asked_and_every_choice_can_be_taken(read: Callable[[str], Reading[object]], text: str) -> None:
    found = read(text)
    assert found.state == "ask"
    assert found.choices
    for choice in found.choices:
        assert read(choice).state in {"value", "ask"}, choice
        assert read(choice).message != found.message


@pytest.mark.parametrize(
    "text", ["3/8R-1/8L", "1/4rev-1/8left", "1/4 reverse - 1/8 left", "0-0", "3/8 rev-1/8 left", "fwd.-1/8 , 0"]
)
def test_a_dash_between_two_sizes_still_parts_them(text: str) -> None:
    assert pitch(text).state in {"value", "ask"}
    if "L" in text or "left" in text:
        assert not_none(pitch(text).value).right_in < 0


@pytest.mark.parametrize("text", ["15 lb 1/2 oz", "15 1/2", "15 lb 3 1/2", "15-1/2", "15 lb 3"])
def test_a_plain_weight_is_still_read(text: str) -> None:
    assert read_weight(text).state == "value"
