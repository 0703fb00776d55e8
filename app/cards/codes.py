"""A card's one QR code, as SVG in millimetres. Source: ISO/IEC 18004:2015."""

import io
from typing import TYPE_CHECKING

from app.cards.errors import TooLargeError

if TYPE_CHECKING:
    import segno

MODULE_MM = 0.5
LARGEST_VERSION = 15  # 77 modules: 38.5 mm, 42.5 with its quiet zone, on a card 54 mm high
QUIET_MODULES = 4
_LEVELS = ("m", "l")  # 15 % of the code may be lost, or 7 % where it would be larger than a card takes


def make_code(text: str) -> "segno.QRCode":
    """Returns the code of a card's text; raises TooLargeError for more than it may hold."""
    import segno  # noqa: PLC0415 - only prints need it

    for level in _LEVELS:
        try:
            code = segno.make_qr(text, error=level, mode="alphanumeric")
        except segno.DataOverflowError:
            continue
        if int(code.version) <= LARGEST_VERSION:
            return code
    raise TooLargeError("This is more than one code can hold.")


def size_mm(code: "segno.QRCode") -> float:
    """The width of a printed code with its quiet zone, mm."""
    return code.symbol_size(border=QUIET_MODULES)[0] * MODULE_MM


def to_svg(code: "segno.QRCode") -> str:
    """Returns a code as an SVG of its printed size."""
    out = io.BytesIO()
    code.save(out, kind="svg", unit="mm", scale=MODULE_MM, border=QUIET_MODULES, xmldecl=False, light="#fff")
    return out.getvalue().decode()
