"""Turns a picture that is kept already by a quarter."""

import io

from app.photos.opening import open_bounded

_QUALITY = 92  # it is encoded once more at each turn


def turn_by_quarter(data: bytes) -> bytes:
    """Returns a kept picture turned clockwise; raises PhotoError for what is none."""
    from PIL import Image  # noqa: PLC0415 - costs every start, and only pages with pictures need it

    with open_bounded(data) as opened:
        turned = opened.convert("RGB").transpose(Image.Transpose.ROTATE_270)
    out = io.BytesIO()
    turned.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()
