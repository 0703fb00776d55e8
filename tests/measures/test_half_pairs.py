"""One span of two may be unknown: the other is read exactly, and nothing else changes its meaning."""

from fractions import Fraction

import pytest

from app.measures.describe import describe
from app.measures.half_pairs import tells_unknown
from app.measures.pairs import HalfKnownPair, SpanPair, read_span_pair

F = Fraction


@pytest.mark.parametrize(
    ("text", "pair", "unknown"),
    [
        ("middle 4 1/64, ring unknown", HalfKnownPair(F(257, 64), None, ""), "ring"),
        ("middle unknown, ring 4 5/32", HalfKnownPair(None, F(133, 32), ""), "middle"),
        ("ring: ?; middle: 4 1/2 cut", HalfKnownPair(F(9, 2), None, "cut"), "ring"),
        ("M 114.3 mm, R unknown", HalfKnownPair(F(9, 2), None, ""), "ring"),
    ],
)
def test_the_span_that_is_known_is_read(text: str, pair: SpanPair, unknown: str) -> None:
    assert read_span_pair(text, "middle").value == pair
    assert read_span_pair(text, "middle", "thumbless").value == pair
    assert pair.unknown == unknown
    assert describe("span_pair", text, first="middle").words.endswith(f"; {unknown} unknown")


@pytest.mark.parametrize("text", ["4 1/2, unknown", "middle unknown, ring unknown", "middle 4 1/2, middle unknown"])
def test_what_does_not_say_which_is_no_value(text: str) -> None:
    assert read_span_pair(text, "middle").value is None


@pytest.mark.parametrize("text", ["middle 44, ring unknown", "middle 4 1/2 4, ring unknown"])
def test_a_known_span_that_cannot_be_is_no_value(text: str) -> None:
    assert read_span_pair(text, "middle").state in {"ask", "error"}


def test_one_that_is_unknown_is_told() -> None:
    assert [tells_unknown(t) for t in ("middle 4, ring unknown", "unknown", "?", "4 x 4", "")] == [True] * 3 + [
        False
    ] * 2
