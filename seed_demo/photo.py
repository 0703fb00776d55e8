"""A picture of a ball for the demo, drawn in a few lines: no photo of a real ball may be in it."""

import struct
import zlib

_SIDE = 120


def draw_photo() -> bytes:
    """Returns a PNG of a copper-coloured ball on a grey bench."""
    rows = b"".join(b"\0" + b"".join(_shade(x, y) for x in range(_SIDE)) for y in range(_SIDE))
    head = struct.pack(">IIBBBBB", _SIDE, _SIDE, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(name, data) for name, data in parts)


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _shade(x: int, y: int) -> bytes:
    """Returns the colour of one pixel: a lit sphere, or the bench behind it."""
    across, down = (x - _SIDE / 2) / 54, (y - _SIDE / 2) / 54
    height = 1 - across * across - down * down
    if height < 0:
        return bytes((176, 174, 168))
    light = max(0.15, 0.9 * height**0.5 - 0.35 * across - 0.4 * down)
    return bytes((int(196 * light), int(118 * light), int(66 * light)))
