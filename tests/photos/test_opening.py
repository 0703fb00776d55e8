"""What is no picture, or would take too much, is refused before it is decoded."""

import random
import struct
import tracemalloc
from collections.abc import Callable

import pytest

from app.cards.errors import TooLargeError as CardTooLargeError
from app.cards.photos import read_code
from app.photos.cleaning import clean
from app.photos.errors import PhotoError, TooLargeError, UnreadableError
from app.photos.opening import MOST_PICTURE_BYTES, open_bounded, turn_upright
from tests.photos.made import head_png, make_picture, place_exif, write


@pytest.mark.parametrize("data", [
    b"", b"GIF89a", b"\xff\xd8\xff", b"%PDF-1.7", b"<svg xmlns='http://www.w3.org/2000/svg'/>", bytes(5000), b"BM" + bytes(60),
    b"\0\0\0\x18ftypheic" + bytes(40), b"II*\0" + bytes(40), b"8BPS" + bytes(40), b"RIFF\x20\0\0\0WEBPVP8 " + bytes(20),
])  # fmt: skip
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(UnreadableError), open_bounded(data) as opened:
        opened.load()


@pytest.mark.parametrize(("read", "refusal"), [(clean, TooLargeError), (read_code, CardTooLargeError)])
@pytest.mark.parametrize(
    "size", [(4001, 4001), (6000, 6000), (12_000, 9000), (40_000, 40_000), (2**31 - 1, 1), (1, 30_000_000)]
)
def test_a_picture_of_too_many_dots_is_refused_before_it_is_decoded(
    read: Callable[[bytes], object], refusal: type[Exception], size: tuple[int, int]
) -> None:
    tracemalloc.start()
    try:
        with pytest.raises(refusal):
            read(head_png(*size))
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(("read", "refusal"), [(clean, TooLargeError), (read_code, CardTooLargeError)])
def test_a_picture_of_too_many_bytes_is_refused(read: Callable[[bytes], object], refusal: type[Exception]) -> None:
    with pytest.raises(refusal):
        read(write(make_picture()) + bytes(MOST_PICTURE_BYTES))


@pytest.mark.parametrize("size", [(65_000, 65_000), (9000, 6000)])
def test_a_jpeg_whose_head_lies_is_refused(size: tuple[int, int]) -> None:
    """Its frame header (ITU-T T.81, B.2.2) says more dots than there are."""
    data = bytearray(write(make_picture()))
    place = data.index(b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", size[1], size[0])
    with pytest.raises(TooLargeError):
        clean(bytes(data))


def test_a_heic_whose_head_lies_is_refused_or_kept_and_no_fault() -> None:
    """Its size is said once (ISO/IEC 14496-12, `ispe`) and once more in the coded picture."""
    whole = write(make_picture((1280, 960)), "HEIF")
    for wide, high in ((64, 64), (60_000, 60_000), (6000, 6000), (0, 0), (2**31, 2**31)):
        data = bytearray(whole)
        place = data.index(b"ispe") + 8
        data[place : place + 8] = struct.pack(">II", wide, high)
        with pytest.raises(PhotoError):
            clean(bytes(data))


@pytest.mark.filterwarnings("ignore::UserWarning")  # of the decoder
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_damaged_picture_is_no_fault(kind: str) -> None:
    r, whole = random.Random(18), write(make_picture(), kind)
    for _ in range(60):
        broken = bytearray(whole)
        for _ in range(r.choice((1, 5, 40))):
            broken[r.randrange(len(broken))] = r.randrange(256)
        try:
            assert max(clean(bytes(broken)).width, 1) <= 2000
        except PhotoError:
            continue


def test_a_picture_without_a_turn_is_left() -> None:
    for turn in (0, 9, 60_000):
        with open_bounded(write(make_picture(), exif=place_exif(turn))) as opened:
            assert turn_upright(opened) is opened
