"""What a form refuses before any service sees it; what each kind of measure reads is in tests/measures."""

import pytest

from app.errors import InvalidError
from app.schemas.bowlers import BowlerForm


def read_name(name: str) -> str:
    return BowlerForm.read({"who": "1", "name": name, "hand": "right"}).name


@pytest.mark.parametrize("name", ["\u202eenaJ", "\u200b", "\u200d", "Dora\u2066 Kettle", "Dora\u0007"])
def test_a_name_with_characters_that_nobody_sees_is_refused(name: str) -> None:
    with pytest.raises(InvalidError) as refused:
        read_name(name)
    assert list(refused.value.fields) == ["name"]


@pytest.mark.parametrize("name", ["Søren Åkerlund", "می\u200cخواهم", "👩\u200d🎳 Dora", "李 小龍", "O’Marrow-Vint"])
def test_a_name_of_any_writing_is_taken_as_it_is(name: str) -> None:
    assert read_name(name) == name
