"""What is kept of a picture: upright, of bounded size, in every kind a telephone writes, and with nothing beside it."""

import io
import re
import subprocess
import sys

import pytest
from PIL import Image, ImageChops, ImageCms, ImageFile, ImageOps, ImageStat

from app.photos.cleaning import LONGEST, LONGEST_OF_THUMBNAIL, clean
from app.photos.errors import PhotoError
from tests.photos.made import SIZE, make_picture, place_exif, write

# Exif 2.32 (CIPA DC-008), 4.6.4 A, orientation: where the 0th row and the 0th column of the stored picture are seen
SEEN = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}  # fmt: skip


def read(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data)).convert("RGB")


def differ(one: Image.Image, other: Image.Image) -> float:
    """The mean difference of two pictures of one size, of 255."""
    return float(ImageStat.Stat(ImageChops.difference(one, other).convert("L")).mean[0])


def near(dot: object, colour: str) -> bool:
    meant = Image.new("RGB", (1, 1), colour).getpixel((0, 0))
    return all(abs(a - b) < 24 for a, b in zip(dot, meant, strict=True))  # type: ignore[call-overload]


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_turned_as_pillows_own_tool_turns_it(kind: str, turn: int) -> None:
    data = write(make_picture((300, 200)), kind, exif=place_exif(turn))
    meant = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    kept = read(clean(data).data)
    assert kept.size == meant.size
    assert differ(kept, meant) < 3


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_picture_is_turned_as_the_standard_says(turn: int) -> None:
    """The stored 0th row and column meet in the ivory quarter; the red one lies along the row."""
    kept = read(clean(write(make_picture((300, 200)), exif=place_exif(turn))).data)
    row, column = SEEN[turn]
    sides = {row, column}
    x = 20 if "left" in sides else kept.width - 20
    y = 20 if "top" in sides else kept.height - 20
    assert near(kept.getpixel((x, y)), "ivory")
    along = (kept.width - x, y) if row in {"top", "bottom"} else (x, kept.height - y)
    assert near(kept.getpixel(along), "red")


def test_a_heic_is_turned_once() -> None:
    """Its own turn is read by its decoder; Exif must not turn it again (ISO/IEC 23008-12, 6.5.10)."""
    for turn in (1, 3, 6, 8):
        data = write(make_picture(), "HEIF", exif=place_exif(turn).tobytes(), quality=90)
        kept = read(clean(data).data)
        assert kept.size == (SIZE if turn in {1, 3} else SIZE[::-1])


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_nothing_but_dots_is_kept(kind: str) -> None:
    more: dict[str, object] = {"exif": place_exif(1).tobytes() if kind == "HEIF" else place_exif(1)}
    if kind == "JPEG":
        more |= {"comment": b"MADE-UP COMMENT", "xmp": b"<x:xmpmeta>MADE-UP COMMENT</x:xmpmeta>", "dpi": (97, 97)}
    if kind != "HEIF":
        more["icc_profile"] = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = write(make_picture(), kind, **more)
    assert b"MADE-UP MODEL" in data
    made = clean(data)
    for kept in (made.data, made.thumbnail):
        assert not re.search(rb"MADE-UP|2031|Exif|GPS|ICC_PROFILE|http|xmp", kept)
        assert not Image.open(io.BytesIO(kept)).getexif()
        assert set(list_markers(kept)) <= {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}


def list_markers(jpeg: bytes) -> list[int]:
    """The segments of a JPEG before its dots: ITU-T T.81, table B.1; APP0 is the JFIF head, APP1 to APP15 and COM tell."""
    found: list[int] = []
    place = 2
    while not found or found[-1] != 0xDA:
        assert jpeg[place] == 0xFF
        found.append(jpeg[place + 1])
        place += 2 + int.from_bytes(jpeg[place + 2 : place + 4], "big")
    return found


@pytest.mark.parametrize("size", [(5000, 100), (100, 5000), (2400, 1800), (1, 1), (9000, 2), (300, 200)])
def test_the_longest_side_is_bounded_and_nothing_is_enlarged(size: tuple[int, int]) -> None:
    made = clean(write(make_picture(size)))
    kept, small = read(made.data), read(made.thumbnail)
    assert kept.size == (made.width, made.height)
    assert max(kept.size) == min(LONGEST, max(size))
    assert max(small.size) == min(LONGEST_OF_THUMBNAIL, max(size))
    if min(size) > 50:
        assert kept.width / kept.height == pytest.approx(size[0] / size[1], rel=0.03)


def test_a_thumbnail_is_a_few_kilobytes() -> None:
    noise = Image.effect_noise((4000, 3000), 90).convert("RGB")
    assert len(clean(write(noise)).thumbnail) < 30_000
    assert len(clean(write(make_picture((4000, 3000)))).thumbnail) < 6_000


@pytest.mark.parametrize(("kind", "mode"), [
    ("JPEG", "L"), ("JPEG", "CMYK"), ("PNG", "1"), ("PNG", "L"), ("PNG", "LA"), ("PNG", "P"), ("PNG", "RGBA"), ("PNG", "I;16"),
    ("WEBP", "RGB"), ("WEBP", "RGBA"), ("HEIF", "RGB"), ("HEIF", "RGBA"), ("HEIF", "L"),
])  # fmt: skip
def test_a_picture_of_every_kind_is_kept_as_it_looks(kind: str, mode: str) -> None:
    plain = make_picture((320, 240))
    if mode == "I;16":
        dark = plain.convert("L")
        wide = Image.frombytes("I;16", dark.size, b"".join(bytes((dot, dot)) for dot in dark.tobytes()))
        assert differ(read(clean(write(wide, kind)).data), dark.convert("RGB")) < 3
        return
    made = plain.convert(mode)
    assert differ(read(clean(write(made, kind)).data), made.convert("RGB")) < 5


def test_what_is_transparent_is_white() -> None:
    kept = read(clean(write(Image.new("RGBA", (50, 50), (255, 0, 0, 0)), "PNG")).data)
    assert near(kept.getpixel((25, 25)), "white")


def test_other_colours_than_srgb_are_converted() -> None:
    """A colour of one profile is kept as that colour: by hand, from L*a*b*, which ICC.1 section 6.3 connects by."""
    lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
    seen = ImageCms.profileToProfile(Image.new("RGB", (64, 64), (200, 60, 40)), srgb, lab, outputMode="LAB")
    wide = ImageCms.ImageCmsProfile(lab).tobytes()
    assert seen is not None
    plain = clean(
        write(Image.new("RGB", (64, 64), (200, 60, 40)), icc_profile=ImageCms.ImageCmsProfile(srgb).tobytes())
    )
    assert near(read(plain.data).getpixel((9, 9)), "#c83c28")
    damaged = clean(write(Image.new("RGB", (64, 64), (200, 60, 40)), icc_profile=wide))  # not of these colours
    assert near(read(damaged.data).getpixel((9, 9)), "#c83c28")
    assert clean(write(Image.new("RGB", (64, 64)), icc_profile=b"no profile" * 20)).width == 64


@pytest.mark.filterwarnings("ignore::UserWarning")  # of the decoder, over the Exif
def test_damaged_exif_leaves_a_picture_as_it_is() -> None:
    for exif in (b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0nothing", b"Exif\0\0MM\0*\0\0\0\x08\xff\xff"):
        kept = read(clean(write(make_picture(), exif=exif)).data)
        assert kept.size == SIZE


def test_a_jpeg_with_another_picture_behind_it_is_kept() -> None:
    """As many telephones write it: CIPA DC-007, multi-picture format."""
    data = write(make_picture(), "MPO", save_all=True, append_images=[make_picture((80, 60))])
    assert Image.open(io.BytesIO(data)).format == "MPO"
    assert clean(data).width == SIZE[0]


_GROWN = """
import re, sys
from pathlib import Path
import PIL.ImageCms, PIL.JpegImagePlugin, PIL.PngImagePlugin, PIL.WebPImagePlugin, pi_heif
from app.photos.cleaning import clean

def most():  # proc(5); getrusage tells that of the process that began this one
    return int(re.search(r"VmHWM:\\s*(\\d+) kB", Path("/proc/self/status").read_text())[1]) * 1024

data, before = sys.stdin.buffer.read(), most()
made = clean(data)
print(most() - before, made.width, made.height)
"""


@pytest.mark.parametrize(("kind", "size", "more"), [
    ("JPEG", (8064, 6048), {}), ("JPEG", (8064, 6048), {"progressive": True, "subsampling": 0}),
    ("HEIF", (8064, 6048), {"quality": 30, "enc_params": {"preset": "ultrafast"}}), ("PNG", (4600, 3450), {}), ("WEBP", (4032, 3024), {"method": 0}),
], ids=str)  # fmt: skip
def test_the_largest_pictures_take_bounded_memory(kind: str, size: tuple[int, int], more: dict[str, object]) -> None:
    """In a process of its own: 48 million dots, all a telephone makes, take no more than 400 MB; a plain JPEG far less."""
    data = write(make_picture(size), kind, **more)
    told = subprocess.run([sys.executable, "-c", _GROWN], input=data, capture_output=True, check=True)
    grown, width, _ = map(int, told.stdout.split())
    assert width == LONGEST
    assert grown < (100e6 if kind == "JPEG" and not more else 400e6)


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_what_is_cut_short_is_refused_or_kept_and_no_fault(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)  # as after the first PDF of a process
    whole = write(make_picture(), kind)
    refused = 0
    for length in range(0, len(whole) - 1, max(1, len(whole) // 25)):
        try:
            clean(whole[:length])
        except PhotoError:
            refused += 1
    assert refused >= 20
