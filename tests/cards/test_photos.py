"""The code is read off bad photos and a label printer's print, and no picture takes more than its bounds."""

import contextlib
import io
import random
import subprocess
import sys
from collections.abc import Callable

import pytest
import segno
from PIL import Image

from app.cards.codes import make_code
from app.cards.envelope import seal_card
from app.cards.errors import CardError, NoCodeError
from app.cards.photos import read_code
from app.cards.texts import read_text, to_text
from tests.cards.made import PRIVATE_KEY, make_card
from tests.cards.photographs import lay_on_card, photograph, print_label, to_png

TEXT = to_text(seal_card(make_card(), PRIVATE_KEY))
CODE = make_code(TEXT)
PHOTOS = 100  # in each of four tests, so that several workers share them


def _is_read(picture: bytes) -> bool:
    try:
        return read_code(picture) == TEXT
    except NoCodeError:
        return False


def _write(picture: Image.Image, kind: str = "PNG", **more: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


@pytest.mark.parametrize("part", range(4))
def test_the_code_is_read_off_bad_photos(part: int, tell: Callable[[str], None]) -> None:
    r, card = random.Random(100 + part), lay_on_card(to_png(CODE, 5))
    read = sum(_is_read(photograph(card, r)) for _ in range(PHOTOS))
    tell(f"{read} of {PHOTOS} bad photos of a card are read")
    assert read >= 95


def test_the_code_is_read_off_a_label_printers_print(tell: Callable[[str], None]) -> None:
    r, code = random.Random(203), to_png(CODE, 4)
    printed = [print_label(code, r) for _ in range(20)]
    assert all(_is_read(_write(label.convert("1"))) for label in printed)
    read = sum(_is_read(photograph(lay_on_card(_write(label.resize((385, 385)))), r)) for label in printed)
    tell(f"{read} of 20 bad photos of a label printed at 203 dots an inch are read")
    assert read >= 18


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_a_photo_is_turned_as_the_telephone_says(turn: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = turn  # Exif 2.32 table 4: orientation
    assert _is_read(_write(lay_on_card(to_png(CODE, 5)), "JPEG", exif=exif))


KINDS = {
    "PNG": ("1", "L", "LA", "P", "RGB", "RGBA", "I;16"), "JPEG": ("1", "L", "RGB", "CMYK"), "WEBP": ("L", "RGB", "RGBA"),
}  # fmt: skip


@pytest.mark.parametrize(("kind", "mode"), [(kind, mode) for kind, modes in KINDS.items() for mode in modes])
def test_a_picture_of_any_kind_is_read(kind: str, mode: str) -> None:
    plain = Image.open(io.BytesIO(to_png(CODE, 4))).convert("L")
    assert _is_read(_write(plain.convert(mode), kind))


def test_a_code_on_a_transparent_ground_is_read() -> None:
    out = io.BytesIO()
    CODE.save(out, kind="png", scale=4, border=4, light=None)
    assert _is_read(out.getvalue())


def test_a_white_code_on_black_and_a_mirrored_one_are_read() -> None:
    plain = Image.open(io.BytesIO(to_png(CODE, 4))).convert("L")
    assert _is_read(_write(Image.eval(plain, lambda dot: 255 - dot)))
    assert _is_read(_write(plain.transpose(Image.Transpose.FLIP_LEFT_RIGHT)))


def test_a_card_is_found_beside_another_code() -> None:
    other = io.BytesIO()
    segno.make_qr("HTTPS://EXAMPLE.ORG/A").save(other, kind="png", scale=6, border=4)
    both = Image.new("L", (700, 400), 255)
    both.paste(Image.open(other).convert("L"), (0, 50))
    both.paste(Image.open(io.BytesIO(to_png(CODE, 4))).convert("L"), (350, 40))
    assert read_text(read_code(_write(both))).card == make_card()
    with pytest.raises(NoCodeError, match="no card"):
        read_code(other.getvalue())


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\xff\xd8\xff", b"%PDF-1.7", b"<svg/>", bytes(5000)])
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(NoCodeError):
        read_code(data)


def test_a_picture_that_is_cut_short_or_damaged_is_refused_or_read() -> None:
    r, whole = random.Random(5), _write(lay_on_card(to_png(CODE, 5)), "JPEG")
    for data in (whole, to_png(CODE, 4), _write(Image.open(io.BytesIO(to_png(CODE, 4))).convert("L"), "WEBP")):
        for _ in range(8):
            broken = bytearray(data[: r.randrange(len(data))] if r.random() < 0.5 else data)
            for _ in range(min(20, len(broken))):
                broken[r.randrange(len(broken))] = r.randrange(256)
            with contextlib.suppress(CardError):
                assert read_code(bytes(broken)) == TEXT


_GROWN = """
import re, sys
from pathlib import Path
from app.cards.errors import NoCodeError
from app.cards.photos import read_code
import zxingcpp, PIL.PngImagePlugin, PIL.WebPImagePlugin, PIL.ImageOps, PIL.ImageFilter

def most():  # proc(5); getrusage tells that of the process that began this one
    return int(re.search(r"VmHWM:\\s*(\\d+) kB", Path("/proc/self/status").read_text())[1]) * 1024

data, before = sys.stdin.buffer.read(), most()
try: read_code(data)
except NoCodeError: print(most() - before)
"""


@pytest.mark.parametrize(("kind", "mode", "most"), [("PNG", "RGBA", 9), ("PNG", "P", 10), ("WEBP", "RGBA", 20)])
def test_a_picture_takes_few_bytes_a_dot(kind: str, mode: str, most: int) -> None:
    """In a process of its own: an all but empty file of many dots costs its decoder, and little more."""
    data = _write(Image.new(mode, (2800, 2800)), kind)
    told = subprocess.run([sys.executable, "-c", _GROWN], input=data, capture_output=True, check=True)
    assert int(told.stdout) / 2800**2 < most


def test_a_long_thin_picture_is_no_fault() -> None:
    for size in ((1, 1), (1, 4000), (20_000, 2)):
        with pytest.raises(NoCodeError):
            read_code(_write(Image.new("L", size, 255)))
