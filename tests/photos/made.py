"""Pictures as telephones make them, for tests; each is computed, none is of a real thing."""

import io
import struct
import zlib

import pillow_heif
from PIL import Image

SIZE = (640, 480)


def make_picture(size: tuple[int, int] = SIZE, mode: str = "RGB") -> Image.Image:
    """A picture whose quarters differ: light, red, green and blue, as read."""
    quarter = Image.new("RGB", (2, 2))
    for place, colour in zip(((0, 0), (1, 0), (0, 1), (1, 1)), ("ivory", "red", "green", "blue"), strict=True):
        quarter.putpixel(place, Image.new("RGB", (1, 1), colour).getpixel((0, 0)))  # type: ignore[arg-type]
    return quarter.resize(size, Image.Resampling.NEAREST).convert(mode)


def write(picture: Image.Image, kind: str = "JPEG", **more: object) -> bytes:
    out = io.BytesIO()
    if kind == "HEIF":
        pillow_heif.from_pillow(picture).save(out, **more)
    else:
        picture.save(out, kind, **more)
    return out.getvalue()


def head_png(wide: int, high: int) -> bytes:
    """The head of a PNG of so many dots, with hardly any data: W3C PNG, second edition, section 11.2.2."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    body = chunk(b"IDAT", zlib.compress(bytes(1000)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + body + chunk(b"IEND", b"")


def place_exif(turn: int = 1) -> Image.Exif:
    """What a telephone writes along: device, date, comment, place and how it was held; values are made up."""
    exif = Image.Exif()
    exif[0x0112] = turn  # Exif 2.32 tables 4, 7 and 15 for this and the tags below
    exif[0x010F], exif[0x0110] = "MADE-UP MAKER", "MADE-UP MODEL"
    exif[0x0132] = "2031:02:03 04:05:06"
    exif[0x9286] = b"ASCII\0\0\0MADE-UP COMMENT"
    exif.get_ifd(0x8825).update({1: "N", 2: (11.0, 22.0, 33.0), 3: "E", 4: (44.0, 55.0, 6.0), 29: "2031:02:03"})
    return exif
