import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.cards.base45 import ALPHABET, decode, encode
from app.cards.errors import DamagedError


@pytest.mark.parametrize(
    ("data", "text"), [(b"AB", "BB8"), (b"Hello!!", "%69 VD92EX0"), (b"base-45", "UJCLQE7W581"), (b"ietf!", "QED8WEX0")]
)
def test_the_published_examples_are_written_and_read(data: bytes, text: str) -> None:
    assert encode(data) == text  # RFC 9285 sections 4.3 and 4.4
    assert decode(text) == data


def test_the_alphabet_is_the_one_a_code_packs_two_characters_into_eleven_bits() -> None:
    from segno import consts  # a general-purpose library of QR codes: the alphanumeric table of ISO/IEC 18004

    assert ALPHABET.encode() == consts.ALPHANUMERIC_CHARS


@given(st.binary(max_size=200))
def test_bytes_come_back(data: bytes) -> None:
    assert decode(encode(data)) == data


@pytest.mark.parametrize("text", ["A", "BB8A", ":::", "GGW", "::", "U5:::", "bb8", "B_8", "BÄ8", "V5"])
def test_what_no_bytes_are_written_as_is_damaged(text: str) -> None:
    with pytest.raises(DamagedError):  # `GGW` is RFC 9285's own example of a number above 65,535
        decode(text)


@given(st.text(ALPHABET, max_size=30))
def test_a_text_is_the_one_encoding_of_its_bytes_or_damaged(text: str) -> None:
    with contextlib.suppress(DamagedError):
        assert encode(decode(text)) == text
