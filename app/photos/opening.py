"""Opens a telephone's picture within bounds of bytes and of dots, and turns it upright.

A picture is opened by its header first; what is larger than a telephone makes is refused before it is decoded. A JPEG
is decoded at a fraction of its size, so it may have more dots than the other kinds.
"""

import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

from app.photos.errors import TooLargeError, UnreadableError

if TYPE_CHECKING:
    from PIL import Image

MOST_PICTURE_BYTES = 25 * 2**20
MOST_DOTS = {"JPEG": 52_000_000, "HEIF": 50_000_000, "PNG": 16_000_000, "WEBP": 13_000_000}
_NAMES = {"MPO": "JPEG"}  # a JPEG with another picture behind it, as many telephones write
_TOO_MANY_BYTES = "The picture is larger than 25 MB. Take a smaller one."
_TOO_MANY_DOTS = "The picture has too many dots. Take a smaller one."
_UNREADABLE = "This is no picture that can be read. JPEG, PNG, WebP and HEIC can."
_ORIENTATION = 0x0112  # Exif 2.32, table 4
_FAULTS = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    LookupError,
    TypeError,
    ArithmeticError,
    RuntimeError,
    AttributeError,
    struct.error,
)  # fmt: skip - what the decoders raise over damaged pictures


@contextmanager
def open_bounded(data: bytes) -> Iterator["Image.Image"]:
    """Opens a picture by its header; raises UnreadableError or TooLargeError, also while it is decoded within."""
    from PIL import Image, ImageFile  # noqa: PLC0415 - costs every start, and only pages with pictures need it

    ImageFile.LOAD_TRUNCATED_IMAGES = False  # the library that makes PDFs has Pillow fill up what is missing
    if len(data) > MOST_PICTURE_BYTES:
        raise TooLargeError(_TOO_MANY_BYTES)
    _know_heic()
    try:
        opened = Image.open(io.BytesIO(data), formats=tuple(MOST_DOTS))
        kind = opened.format or ""
        if opened.width * opened.height > MOST_DOTS[_NAMES.get(kind, kind)]:
            raise TooLargeError(_TOO_MANY_DOTS)
        yield opened
    except (Image.DecompressionBombError, Image.DecompressionBombWarning, MemoryError):
        raise TooLargeError(_TOO_MANY_DOTS) from None
    except _FAULTS:
        raise UnreadableError(_UNREADABLE) from None


@cache
def _know_heic() -> None:
    """Has HEIC opened, too; without the smaller pictures and depth maps that come in its file."""
    from pi_heif import register_heif_opener  # noqa: PLC0415

    register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)


def turn_upright(picture: "Image.Image") -> "Image.Image":
    """Returns a picture turned as its Exif says; a picture whose Exif is damaged stays as it is."""
    from PIL import Image  # noqa: PLC0415

    turns = (
        None, None, Image.Transpose.FLIP_LEFT_RIGHT, Image.Transpose.ROTATE_180, Image.Transpose.FLIP_TOP_BOTTOM,
        Image.Transpose.TRANSPOSE, Image.Transpose.ROTATE_270, Image.Transpose.TRANSVERSE, Image.Transpose.ROTATE_90,
    )  # fmt: skip
    try:
        turn = turns[int(picture.getexif().get(_ORIENTATION, 1))]
    except _FAULTS:
        return picture
    return picture if turn is None else picture.transpose(turn)
