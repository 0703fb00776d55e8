"""A card's contents come back exactly, and whatever does not fit together is refused on both ways."""

import random
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date
from fractions import Fraction
from typing import get_args

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import closed_sets
from app.cards import cbor, contents
from app.cards.cbor import Cbor
from app.cards.contents import Bore, Card, Depth, Fit, Hardware, Hole, Inner
from app.cards.envelope import open_card, seal_card
from app.cards.errors import CardError, DamagedError, NotCarriedError, TooLargeError
from app.cards.kinds import SIZE, Kind
from app.cards.packing import pack, unpack
from app.cards.texts import read_text, to_lines, to_text
from tests.cards.made import BORE, DEPTH, INNER, PRIVATE_KEY, make_card, make_fit, make_random


@pytest.mark.parametrize("part", range(10))
def test_ten_thousand_random_cards_come_back_exactly(part: int, tell: Callable[[str], None]) -> None:
    r, sizes = random.Random(part), []
    for _ in range(1000):
        card = make_random(r)
        packed = pack(card)
        assert unpack(packed) == card
        try:
            sealed = seal_card(card, PRIVATE_KEY)
        except TooLargeError:
            assert len(packed) > 500 - 101
            continue
        assert open_card(sealed).card == card
        sizes.append(len(sealed))
        if len(sizes) % 10 == 0:
            assert read_text(to_text(sealed)).card == read_text(to_lines(sealed)).card == card
    tell(f"{len(sizes)} of 1000 random cards fit in one code; the largest takes {max(sizes)} bytes")
    assert len(sizes) > 200


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Fraction(15, 16), 60), (Fraction(0), 0), (Fraction(8), 512), (Fraction(27_506, 10_000), [27_506]),
        (Fraction(1, 10_000), [1]), (Fraction("0.5"), 32), (Fraction(25, 127), [25, 127]), (Fraction(1, 3), [1, 3]),
        (Fraction(1, 128), [1, 128]), (Fraction(1, 2**63), [1, 2**63]),
    ],
)  # fmt: skip
def test_a_length_is_in_64ths_or_ten_thousandths_or_a_fraction(value: Fraction, written: Cbor) -> None:
    assert SIZE.write(value) == written  # 25/127 in is 5 mm exactly
    assert SIZE.read(written) == value


def test_a_general_purpose_library_reads_the_contents() -> None:
    read = cbor2.loads(pack(make_card()))
    assert read[5] == "Ada Quillfeather"
    assert read[7][5] == 257  # 4 1/64 in, in 64ths
    assert read[7][11] == {1: 60, 2: 4, 3: 45, 4: -16, 5: 8}
    assert read[11][0][3] == [27_506]


def test_unknown_and_none_and_zero_are_three_things() -> None:
    hole = Hole(size_in=None, offset_in=None, lift_in=Fraction(0), forward_in=Fraction(0), right_in=None)
    fit = replace(make_fit(), thumb=hole, hardware=None)
    hardware = Hardware(digit="thumb", sleeve_in=Fraction(0), bore_in=None)
    card = make_card(
        fit=fit, hardware=(hardware, hardware), bores=(replace(BORE, hardware=None, shim_in=None),), inners=()
    )
    read = unpack(pack(card))
    assert read == card
    assert read.fit and read.fit.thumb == hole
    assert read.hardware[0].sleeve_in == 0 and read.hardware[0].bore_in is None
    assert read.bores[0].hardware is None and read.bores[0].shim_in is None


def test_a_card_without_a_fit_carries_an_inner_alone() -> None:
    card = make_card(fit=None, depths=())
    assert unpack(pack(card)) == card


@pytest.mark.parametrize(
    "wrong",
    [
        {"shops": ()}, {"shops": ("",)}, {"bowler": ""}, {"bowler": "A\x00da"}, {"bowler": "Ada\u202e"},
        {"bowler": "A" * 121}, {"series": b"12345"}, {"revision": 0}, {"made_on": date(1999, 12, 31)},
        {"hand": "both"}, {"hardware": ()}, {"bores": ()}, {"depths": (replace(DEPTH, shop=1),)},
        {"depths": (replace(DEPTH, balls=6),)}, {"depths": (replace(DEPTH, mean_in=Fraction(9)),)},
        {"depths": (replace(DEPTH, evidence=b""),)}, {"inners": (replace(INNER, heights_in=(Fraction(2),)),)},
        {"inners": (INNER,) * 9}, {"inners": (replace(INNER, forward_in=Fraction(-4)),)},
        {"bores": (replace(BORE, forward_in=None, is_pitch_unsaid=True), BORE)},
        {"bores": (replace(BORE, circumference_in=Fraction(2**64 + 1, 2**60)), BORE)},
        {"bores": (replace(BORE, depth_in=Fraction(2**70 + 1, 2**70)), BORE)},
        {"fit": replace(make_fit(), thumb=None)}, {"fit": replace(make_fit(), grip_holes="thumbless")},
        {"fit": replace(make_fit(), hardware=2)}, {"fit": replace(make_fit(), revision=0)},
        {"fit": replace(make_fit(), middle_span_in=Fraction(-1))},
    ],
)  # fmt: skip
def test_what_no_card_can_hold_is_not_written(wrong: dict[str, object]) -> None:
    with pytest.raises(NotCarriedError):
        pack(make_card(**wrong))


def _with(*path: int, to: object) -> bytes:
    """The contents of a card with one value put in the place of another, or taken out with `...`."""
    held = cbor2.loads(pack(make_card()))
    inside = held
    for key in path[:-1]:
        inside = inside[key]
    if to is ...:
        del inside[path[-1]]
    else:
        inside[path[-1]] = to
    return cbor2.dumps(held, canonical=True)


@pytest.mark.parametrize(
    "data",
    [
        b"", b"\xa0", b"\x80", b"\xf6", _with(1, to=...), _with(99, to=1), _with(2, to=True), _with(2, to=-1), _with(3, to=80_000),
        _with(4, to=[]), _with(4, to="Harbour Lane"), _with(5, to=b"Ada"), _with(6, to=2), _with(6, to=None), _with(7, to=1),
        _with(7, 5, to=[257, 64]), _with(7, 5, to=[40_156, 10_000]), _with(7, 5, to=[20_000]), _with(7, 5, to=[514, 128]),
        _with(7, 5, to=[1, 0]), _with(7, 5, to=[1, -3]), _with(7, 5, to=[]), _with(7, 5, to=[1, 2, 3]), _with(7, 5, to=513),
        _with(7, 5, to=-1), _with(7, 5, to=None), _with(7, 4, to=0), _with(7, 4, to=1), _with(7, 11, to=...), _with(7, 10, to=2),
        _with(8, to=[]), _with(8, to=None), _with(11, 0, 2, to=None), _with(11, 0, 8, to=None), _with(9, 0, 13, to=None), _with(10, 0, 3, to=2), _with(10, 0, 11, to=[1, 2, 3]),
        _with(11, 0, 7, to=6), _with(11, 0, 8, to=0), _with(11, 0, 10, to=b""), _with(7, 11, 3, to=[45, 1]),
        _with(7, 11, 3, to=[450_000]), _with(7, 11, 3, to=361), pack(make_card()) + b"\x00", pack(make_card())[:-1],
    ],
)  # fmt: skip
def test_what_no_card_says_is_not_read(data: bytes) -> None:
    with pytest.raises(DamagedError):
        unpack(data)


@given(st.binary(max_size=400))
def test_any_bytes_are_a_card_or_damaged(data: bytes) -> None:
    with pytest.raises(DamagedError):
        unpack(data)


def test_a_card_with_some_bytes_changed_is_another_card_or_damaged() -> None:
    r, whole = random.Random(2), pack(make_card())
    read = 0
    for _ in range(10_000):
        data = bytearray(whole)
        for _ in range(r.randint(1, 2)):
            data[r.randrange(len(data))] = r.randrange(256)
        try:
            card = unpack(bytes(data))
        except DamagedError:
            continue
        assert pack(card) == data  # so no two texts say the same card
        read += 1
    assert read > 100


@given(
    st.recursive(
        st.none() | st.just(True) | st.integers(-600, 600) | st.binary(max_size=8) | st.text(max_size=4),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.integers(0, 15), inner, max_size=8),
    )
)
def test_any_value_in_place_of_a_part_is_a_card_or_damaged(value: Cbor) -> None:
    held = cbor.decode(pack(make_card()))
    assert isinstance(held, dict)
    for key in held:
        try:
            assert isinstance(unpack(cbor.encode(held | {key: value})), Card)
        except CardError as error:
            assert isinstance(error, DamagedError)


def test_each_closed_set_of_the_app_has_its_place_in_the_format() -> None:
    named: tuple[tuple[str, object], ...] = (
        ("SystemDigit", contents.SYSTEM_DIGIT), ("Locks", contents.LOCKS), ("HeightSetBy", contents.HEIGHT_SET_BY),
        ("Style", contents.STYLE), ("GripHoles", contents.GRIP_HOLES), ("SpanEdges", contents.SPAN_EDGES),
        ("BridgeEdges", contents.BRIDGE_EDGES), ("Hand", contents.HAND), ("Hand", contents.OF_HAND), ("Datum", contents.DATUM),
    )  # fmt: skip
    for name, kind in named:
        assert isinstance(kind, Kind)
        values = set(get_args(getattr(closed_sets, name)))
        assert {kind.read(place) for place in range(len(values))} == values
        assert {kind.write(value) for value in values} == set(range(len(values)))


def test_no_key_of_a_record_is_used_twice() -> None:
    for of in (Card, Fit, Hole, Hardware, Bore, Inner, Depth):
        keys = [f.metadata["key"] for f in fields(of)]
        assert keys == list(range(1, len(keys) + 1))
