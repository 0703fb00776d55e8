import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.cards.base45 import ALPHABET
from app.cards.envelope import seal_card
from app.cards.errors import CardError, ChangedError, DamagedError, TooLargeError
from app.cards.texts import MOST_CHARACTERS, PREFIX, read_text, to_lines, to_text
from tests.cards.made import PRIVATE_KEY, make_card

SEALED = seal_card(make_card(), PRIVATE_KEY)
CODE, LINES = to_text(SEALED), to_lines(SEALED)


def test_a_code_holds_only_what_it_packs_best() -> None:
    assert CODE.startswith(PREFIX)
    assert set(CODE) <= set(ALPHABET)
    assert " " in CODE  # or the tests below would prove nothing
    assert " " not in LINES and max(map(len, LINES.splitlines())) <= 60


@pytest.mark.parametrize(
    "pasted",
    [
        CODE, LINES, CODE.lower(), LINES.lower(), f"\n\t{CODE}\r\n", LINES.replace("\n", "\r\n"), LINES.replace("\n", " "),
        LINES.replace("\n", "\n> "), PREFIX + " ".join(LINES[5:]), "\n".join(textwrap.wrap(LINES.replace("\n", ""), 33)),
        f"Here is my card:\n\n{LINES}\n", LINES.replace("SPAN:", "span : "), "\n".join(CODE[i : i + 76] for i in range(0, len(CODE), 76)),
        LINES.replace("\n", "\u00a0\u2003"), "﻿" + LINES,
    ],
)  # fmt: skip
def test_a_text_is_read_as_it_was_pasted(pasted: str) -> None:
    assert read_text(pasted).card == make_card()


@pytest.mark.parametrize(
    ("pasted", "error"),
    [
        ("", DamagedError), ("SPAN:", DamagedError), (CODE[5:], DamagedError), (LINES[:-2], DamagedError),
        (LINES[:-3], DamagedError), (LINES + "\nSee you on Friday!", DamagedError), (LINES.replace("S", "ſ"), DamagedError),
        (LINES * 2, DamagedError), (LINES + " " * 10_000, TooLargeError), ("x" * 10 * 2**20, TooLargeError),
        (CODE.replace(" ", ""), CardError),
    ],
)  # fmt: skip
def test_what_is_no_card_is_refused(pasted: str, error: type[CardError]) -> None:
    with pytest.raises(error):
        read_text(pasted)


def test_each_character_counts() -> None:
    for at in range(len(PREFIX), len(CODE)):
        other = "7" if CODE[at] != "7" else "8"
        with pytest.raises((DamagedError, ChangedError)):
            read_text(CODE[:at] + other + CODE[at + 1 :])


def test_the_longest_card_has_the_longest_text() -> None:
    assert len(to_text(bytes(500))) == MOST_CHARACTERS


@given(st.text(max_size=900) | st.text(ALPHABET + "_\n", max_size=900))
def test_any_text_is_refused_with_an_error_of_a_card(text: str) -> None:
    for pasted in (text, PREFIX + text):
        with pytest.raises(CardError):
            read_text(pasted)
