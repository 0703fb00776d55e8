"""The CBOR of cards against the published vectors and a general-purpose library, and against all that is no card."""

import random
import tracemalloc

import cbor2
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.cards.cbor import Cbor, decode, encode
from app.cards.errors import DamagedError, NotCarriedError

# RFC 8949 appendix A, the examples within what a card may hold
PUBLISHED: list[tuple[str, Cbor]] = [
    ("00", 0), ("01", 1), ("0a", 10), ("17", 23), ("1818", 24), ("1819", 25), ("1864", 100), ("1903e8", 1000),
    ("1a000f4240", 1_000_000), ("1b000000e8d4a51000", 1_000_000_000_000),
    ("1bffffffffffffffff", 18_446_744_073_709_551_615), ("3bffffffffffffffff", -18_446_744_073_709_551_616),
    ("20", -1), ("29", -10), ("3863", -100), ("3903e7", -1000), ("f5", True), ("f6", None),
    ("40", b""), ("4401020304", b"\1\2\3\4"), ("60", ""), ("6161", "a"), ("6449455446", "IETF"), ("62225c", '"\\'),
    ("62c3bc", "ü"), ("63e6b0b4", "水"), ("64f0908591", "𐅑"), ("80", []), ("83010203", [1, 2, 3]),
    ("8301820203820405", [1, [2, 3], [4, 5]]), ("98190102030405060708090a0b0c0d0e0f101112131415161718181819", [*range(1, 26)]),  # pragma: allowlist secret
    ("a0", {}), ("a201020304", {1: 2, 3: 4}),
]  # fmt: skip
# RFC 8949 appendix A: well-formed, but nothing that a card holds, or not in the deterministic encoding
OTHERS = [
    "c249010000000000000000", "c349010000000000000000", "f90000", "f98000", "f93c00", "fb3ff199999999999a", "f97bff",
    "fa47c35000", "f97c00", "f97e00", "fa7f800000", "fb7ff0000000000000", "f4", "f7", "f0", "f818", "f8ff",
    "c074323031332d30332d32315432303a30343a30305a", "c11a514b67b0", "d74401020304", "d818456449455446",  # pragma: allowlist secret
    "a26161016162820203", "826161a161626163", "5f42010243030405ff", "7f657374726561646d696e67ff", "9fff",
    "9f018202039f0405ffff", "83018202039f0405ff", "bf61610161629f0203ffff", "bf6346756ef563416d7421ff",  # pragma: allowlist secret
]  # fmt: skip
# RFC 8949 appendix F: not well-formed
BROKEN = [
    "18", "19", "1a", "1b", "1901", "1a0102", "1b01020304050607", "38", "58", "78", "98", "9a01ff00", "b8", "d8", "f8", "f900",
    "41", "61", "5affffffff00", "5bffffffffffffffff010203", "7affffffff00", "7b7fffffffffffffff010203", "81", "8200",
    "a1", "a20102", "a100", "5f", "7f", "9f", "bf", "1c", "1d", "1e", "3c", "5c", "7d", "9e", "bc", "dd", "fc", "ff",
    "f800", "f81f", "81ff", "a1ff00", "1f", "3f", "df",
]  # fmt: skip


@pytest.mark.parametrize(("written", "value"), PUBLISHED)
def test_the_published_examples_are_written_and_read(written: str, value: Cbor) -> None:
    assert encode(value).hex() == written
    assert decode(bytes.fromhex(written)) == value


@pytest.mark.parametrize("written", [*OTHERS, *BROKEN, ""])
def test_everything_else_is_refused(written: str) -> None:
    with pytest.raises(DamagedError):
        decode(bytes.fromhex(written))


@pytest.mark.parametrize(
    "written",
    ["1817", "190017", "1900ff", "1a0000ffff", "1b00000000ffffffff", "5801ff", "780161", "980101", "b8010102", "3817",
     "a201020101", "a202010102", "a2010201ff", "a12001", "a1410001", "a1f501", "0000"],
)  # fmt: skip
def test_a_number_written_long_a_key_twice_or_out_of_order_and_a_rest_are_refused(written: str) -> None:
    with pytest.raises(DamagedError):
        decode(bytes.fromhex(written))


def test_a_number_beyond_64_bits_is_not_written() -> None:
    for number in (2**64, -(2**64) - 1):
        with pytest.raises(NotCarriedError):
            encode(number)


VALUES = st.recursive(
    st.none() | st.just(True) | st.integers(-(2**64), 2**64 - 1) | st.binary(max_size=300) | st.text(max_size=80),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.integers(0, 2**64 - 1), inner, max_size=5),
    max_leaves=12,
)


def _depth(value: object) -> int:
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
    return 0 if parts is None else 1 + max(map(_depth, parts), default=0)


@given(VALUES)
def test_a_general_purpose_library_writes_and_reads_the_same(value: Cbor) -> None:
    written = encode(value)  # against cbor2 in its canonical mode: for keys that are numbers, RFC 8949's own order
    assert written == cbor2.dumps(value, canonical=True)
    assert cbor2.loads(written) == value
    if _depth(value) <= 6:
        assert decode(written) == value


@given(st.binary(max_size=400))
@example(b"\x81" * 200 + b"\x00")
def test_any_bytes_are_a_value_in_its_one_encoding_or_damaged(data: bytes) -> None:
    try:
        value = decode(data)
    except DamagedError:
        return
    assert encode(value) == data


def test_bytes_of_a_value_with_some_changed_are_a_value_in_its_one_encoding_or_damaged() -> None:
    r, whole = random.Random(1), encode({1: [1, -300, None, True, "Ada", b"xyz"], 2: {3: [[1], {4: 2**40}]}, 900: "水"})
    read = 0
    for _ in range(20_000):
        data = bytearray(whole)
        for _ in range(r.randint(1, 3)):
            data[r.randrange(len(data))] = r.randrange(256)
        try:
            assert encode(decode(bytes(data))) == data
            read += 1
        except DamagedError:
            pass
    assert 0 < read < 20_000


@pytest.mark.parametrize("head", ["9b7fffffffffffffff", "bb7fffffffffffffff", "5bffffffffffffffff", "9a00ffffff"])
def test_a_length_that_is_not_there_takes_no_memory(head: str) -> None:
    tracemalloc.start()
    try:
        with pytest.raises(DamagedError):
            decode(bytes.fromhex(head) + bytes(1000))
        assert tracemalloc.get_traced_memory()[1] < 100_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("opening", [b"\x81", b"\xa1\x01"])
def test_ten_megabytes_of_nesting_are_refused_at_once(opening: bytes) -> None:
    data = opening * (10 * 2**20 // len(opening))
    tracemalloc.start()
    try:
        with pytest.raises(DamagedError, match="deep"):
            decode(data)
        assert tracemalloc.get_traced_memory()[1] < 100_000
    finally:
        tracemalloc.stop()
