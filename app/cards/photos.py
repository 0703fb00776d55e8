"""Reads a card's code off a picture, within the bounds of `photos.opening`.

Several readings are tried, the plain one first.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from app.cards.errors import NoCodeError, TooLargeError
from app.cards.texts import PREFIX
from app.photos import errors
from app.photos.opening import open_bounded, turn_upright

if TYPE_CHECKING:
    from PIL import Image

_WORKING_DOTS = 2400  # the longer side of what is searched
_MOST_ENLARGED = 3000
_SCALES = (2.0, 2.5, 1.5, 0.67, 0.5, 0.33)


def read_code(data: bytes) -> str:
    """Returns the text of the card's code in a picture; raises NoCodeError or TooLargeError."""
    seen = False
    for picture in _list_attempts(_open_picture(data)):
        for text in _find_codes(picture):
            if text.upper().startswith(PREFIX):
                return text
            seen = True
    if seen:
        raise NoCodeError("There is a code in this picture, but it is no card.")
    raise NoCodeError("No code can be read in this picture. Fill it with the code, without glare, and hold still.")


def _open_picture(data: bytes) -> "Image.Image":
    """Returns a picture in grey, upright and small enough to work on."""
    try:
        with open_bounded(data) as opened:
            opened.draft("L", (_WORKING_DOTS, _WORKING_DOTS))
            grey = _flatten(opened)
            grey.thumbnail((_WORKING_DOTS, _WORKING_DOTS))
            return turn_upright(grey)
    except errors.TooLargeError as error:
        raise TooLargeError(error.message) from None
    except errors.PhotoError as error:
        raise NoCodeError(error.message) from None


def _flatten(opened: "Image.Image") -> "Image.Image":
    """Returns a picture in grey, with one more byte a dot on the way; what is transparent is white, as paper is."""
    from PIL import ImageChops  # noqa: PLC0415

    if not opened.has_transparency_data:
        return opened.convert("L")
    if opened.mode not in {"LA", "RGBA"}:
        opened = opened.convert("LA" if opened.mode in {"1", "L"} else "RGBA")
    grey = opened.convert("L")
    grey.paste(255, mask=ImageChops.invert(opened.getchannel("A")))
    return grey


def _list_attempts(grey: "Image.Image") -> Iterator["Image.Image"]:
    """Yields a picture as it is, and then as glare, blur, grain and slant may need it."""
    from PIL import Image, ImageFilter, ImageOps  # noqa: PLC0415

    yield grey
    even = ImageOps.autocontrast(grey, cutoff=2)
    yield even
    yield _sharpen(even, 4)
    for times in _SCALES:
        size = round(grey.width * times), round(grey.height * times)
        if min(size) > 0 and max(size) <= _MOST_ENLARGED:
            other = even.resize(size, Image.Resampling.BICUBIC)
            yield _sharpen(other, 4) if times > 1 else other
    times = min(2.5, _MOST_ENLARGED / max(grey.size))
    size = max(1, round(grey.width * times)), max(1, round(grey.height * times))
    for smoothed, radius in ((0.7, 5), (1.0, 2)):  # grain first, then what is out of focus
        smooth = even.filter(ImageFilter.GaussianBlur(smoothed))
        yield _sharpen(smooth.resize(size, Image.Resampling.BICUBIC), radius)
    yield even.filter(ImageFilter.MedianFilter(3))
    yield even.rotate(30, expand=True, fillcolor=255)


def _sharpen(picture: "Image.Image", radius: int) -> "Image.Image":
    from PIL import ImageFilter  # noqa: PLC0415

    return picture.filter(ImageFilter.UnsharpMask(radius=radius, percent=300, threshold=0))


def _find_codes(picture: "Image.Image") -> list[str]:
    import zxingcpp  # noqa: PLC0415

    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return [one.text for one in found]
