"""Words of names, which a search compares."""

from hypothesis import given
from hypothesis import strategies as st

from app.services.bowler_words import fold_words


def test_names_lose_their_accents_and_case() -> None:
    assert fold_words("Søren ÅKERLUND-O'Neil 3rd") == ("soren", "akerlund", "o", "neil", "3rd")


@given(st.text(st.characters(max_codepoint=127)))
def test_plain_letters_are_split_as_amid_others(text: str) -> None:
    """A word with an accent takes the whole text through the way of every alphabet."""
    assert (*fold_words(text), "e") == fold_words(f"{text} é")
