"""Makes of a telephone's picture what is kept: an upright JPEG of bounded size, and a thumbnail.

All dots are encoded anew and nothing else is: neither place, device, date nor comment outlasts it.
"""

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from app.photos.opening import open_bounded, turn_upright

if TYPE_CHECKING:
    from PIL import Image

MEDIA_TYPE = "image/jpeg"
LONGEST = 2000  # dots: a photographed card stays readable
LONGEST_OF_THUMBNAIL = 320
_QUALITY = 85
_THUMBNAIL_QUALITY = 65
_WHOLE = {"1", "P", "PA"}  # modes that cannot be made smaller smoothly


@dataclass(frozen=True)
class CleanPhoto:
    """A photo as it is kept, its size in dots, and its thumbnail; both pictures are JPEGs without metadata."""

    data: bytes
    thumbnail: bytes
    width: int
    height: int


def clean(data: bytes) -> CleanPhoto:
    """Returns what is kept of a picture; raises UnreadableError or TooLargeError."""
    with open_bounded(data) as opened:
        kept = _flatten(_to_srgb(turn_upright(_shrink(opened))))
        written = _write(kept, _QUALITY)
        width, height = kept.size
        kept.thumbnail((LONGEST_OF_THUMBNAIL, LONGEST_OF_THUMBNAIL))
        return CleanPhoto(written, _write(kept, _THUMBNAIL_QUALITY), width, height)


def add_thumbnail(kept: bytes) -> CleanPhoto:
    """Returns a picture that was made anew already as it is, with its thumbnail: neither its dots nor bytes change."""
    with open_bounded(kept) as opened:
        width, height = opened.size
        opened.draft("RGB", (2 * LONGEST_OF_THUMBNAIL, 2 * LONGEST_OF_THUMBNAIL))
        small = opened.convert("RGB")
        small.thumbnail((LONGEST_OF_THUMBNAIL, LONGEST_OF_THUMBNAIL))
        return CleanPhoto(kept, _write(small, _THUMBNAIL_QUALITY), width, height)


def _shrink(opened: "Image.Image") -> "Image.Image":
    """Returns a picture of at most the longest side, in a mode of eight bits a colour."""
    from PIL import Image  # noqa: PLC0415 - costs every start, and only pages with pictures need it

    opened.draft(None, _fit_within(opened.size))
    if opened.mode.startswith("I"):
        opened = opened.convert("I").point(lambda dot: dot * (1 / 256)).convert("L")  # 16 bits a dot
    elif opened.mode in _WHOLE:
        opened = opened.convert("RGBA" if opened.has_transparency_data else "RGB")
    opened.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS, reducing_gap=2.0)
    opened.load()
    return opened


def _fit_within(size: tuple[int, int]) -> tuple[int, int]:
    """Returns the size that a JPEG is to have at least once it is decoded at a fraction."""
    times = min(1.0, LONGEST / max(size))
    return max(1, round(size[0] * times)), max(1, round(size[1] * times))


def _to_srgb(picture: "Image.Image") -> "Image.Image":
    """Returns a picture in the colours that every screen shows; a damaged profile is passed over."""
    from PIL import ImageCms  # noqa: PLC0415

    profile = picture.info.get("icc_profile")
    if not profile:
        return picture
    whole = _flatten(picture) if picture.has_transparency_data else picture
    try:
        found = ImageCms.profileToProfile(
            whole, ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return picture
    return found or picture


def _flatten(picture: "Image.Image") -> "Image.Image":
    """Returns a picture in red, green and blue; what is transparent is white, as paper is."""
    from PIL import Image  # noqa: PLC0415

    if not picture.has_transparency_data:
        return picture.convert("RGB")
    through = picture.convert("RGBA")
    whole = Image.new("RGB", through.size, "white")
    whole.paste(through, mask=through.getchannel("A"))
    return whole


def _write(picture: "Image.Image", quality: int) -> bytes:
    picture.info.clear()  # a comment would be written along
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
