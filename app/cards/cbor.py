"""The part of CBOR that a card needs, in the deterministic encoding, and nothing else.

Whole numbers of 64 bits, byte strings, texts, arrays, maps with keys of 0 or more in their order, true and null.
Everything else is refused: tags, floats, indefinite lengths, longer heads than needed, keys twice or out of order.
Nothing is allocated before its length has been held against the bytes left. Source: RFC 8949 sections 3 and 4.2.1.
"""

from app.cards.errors import DamagedError, NotCarriedError

Cbor = int | bytes | str | None | list["Cbor"] | dict[int, "Cbor"]  # `True` is the int 1 in Python, but is kept apart

DEEPEST = 6  # arrays and maps within each other
_UNSIGNED, _NEGATIVE, _BYTES, _TEXT, _ARRAY, _MAP = range(6)
_NULL, _TRUE = 0xF6, 0xF5
_BIGGEST = 2**64 - 1


def encode(value: Cbor) -> bytes:
    """Returns the one deterministic encoding of a value; raises NotCarriedError for numbers beyond 64 bits."""
    match value:
        case None | True:
            return bytes([_NULL if value is None else _TRUE])
        case int():
            return _encode_head(_NEGATIVE, -1 - value) if value < 0 else _encode_head(_UNSIGNED, value)
        case bytes():
            return _encode_head(_BYTES, len(value)) + value
        case str():
            text = value.encode()
            return _encode_head(_TEXT, len(text)) + text
        case list():
            return _encode_head(_ARRAY, len(value)) + b"".join(encode(item) for item in value)
        case dict():
            parts = (encode(key) + encode(value[key]) for key in sorted(value))
            return _encode_head(_MAP, len(value)) + b"".join(parts)


def _encode_head(major: int, number: int) -> bytes:
    if number < 24:
        return bytes([major << 5 | number])
    for code, size in ((24, 1), (25, 2), (26, 4), (27, 8)):
        if number < 1 << 8 * size:
            return bytes([major << 5 | code]) + number.to_bytes(size, "big")
    raise NotCarriedError("A number is finer or larger than a card can hold.")


def decode(data: bytes) -> Cbor:
    """Returns the value of deterministic CBOR; raises DamagedError for anything else, and for bytes left over."""
    value, at = _decode(data, 0, DEEPEST)
    if at != len(data):
        raise DamagedError("There are bytes after the end of the card.")
    return value


def _decode(data: bytes, at: int, depth: int) -> tuple[Cbor, int]:
    """Returns (value, where the next one begins)."""
    if at < len(data) and data[at] in {_NULL, _TRUE}:
        return (None if data[at] == _NULL else True), at + 1
    major, number, at = _decode_head(data, at)
    if major == _UNSIGNED:
        return number, at
    if major == _NEGATIVE:
        return -1 - number, at
    least = 2 * number if major == _MAP else number
    if least > len(data) - at:
        raise DamagedError("The card is cut short.")
    if major == _BYTES:
        return data[at : at + number], at + number
    if major == _TEXT:
        return _decode_text(data[at : at + number]), at + number
    if not depth:
        raise DamagedError("The card is nested too deep.")
    return _decode_array(data, at, number, depth) if major == _ARRAY else _decode_map(data, at, number, depth)


def _decode_head(data: bytes, at: int) -> tuple[int, int, int]:
    """Returns (major type, its number, where its content begins)."""
    if at >= len(data):
        raise DamagedError("The card is cut short.")
    major, number = data[at] >> 5, data[at] & 31
    if major > _MAP or number > 27:
        raise DamagedError("The card holds a kind of value that no card has.")
    if number < 24:
        return major, number, at + 1
    size = 1 << number - 24
    end = at + 1 + size
    if end > len(data):
        raise DamagedError("The card is cut short.")
    number = int.from_bytes(data[at + 1 : end], "big")
    if number < (24 if size == 1 else 1 << 4 * size):
        raise DamagedError("A number in the card is written longer than it need be.")
    return major, number, end


def _decode_text(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise DamagedError("A text in the card is not UTF-8.") from None


def _decode_array(data: bytes, at: int, length: int, depth: int) -> tuple[Cbor, int]:
    items: list[Cbor] = []
    for _ in range(length):
        item, at = _decode(data, at, depth - 1)
        items.append(item)
    return items, at


def _decode_map(data: bytes, at: int, length: int, depth: int) -> tuple[Cbor, int]:
    found: dict[int, Cbor] = {}
    last = -1
    for _ in range(length):
        major, key, at = _decode_head(data, at)
        if major != _UNSIGNED or key <= last:
            raise DamagedError("A key in the card stands twice, out of order, or is no number.")
        found[key], at = _decode(data, at, depth - 1)
        last = key
    return found, at
