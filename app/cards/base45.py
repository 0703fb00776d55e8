"""Base45: bytes in the 45 characters that a QR code packs best. Source: RFC 9285 sections 3 and 4."""

from app.cards.errors import DamagedError

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_VALUES = {character: value for value, character in enumerate(ALPHABET)}


def encode(data: bytes) -> str:
    """Returns two bytes as three characters, a last single one as two."""
    parts = []
    for at in range(0, len(data), 2):
        pair = data[at : at + 2]
        rest = int.from_bytes(pair, "big")
        for _ in range(len(pair) + 1):
            rest, value = divmod(rest, 45)
            parts.append(ALPHABET[value])
    return "".join(parts)


def decode(text: str) -> bytes:
    """Returns the bytes; raises DamagedError for other characters, lengths or numbers than `encode` writes."""
    try:
        values = [_VALUES[character] for character in text]
    except KeyError:
        raise DamagedError(
            "The text holds a character that no card has. Copy all of it once more, and nothing else."
        ) from None
    parts = []
    for at in range(0, len(values), 3):
        group = values[at : at + 3]
        number = sum(value * 45**place for place, value in enumerate(group))
        size = len(group) - 1
        if not size or number >= 1 << 8 * size:
            raise DamagedError("The text is cut short, or a character of it was misread.")
        parts.append(number.to_bytes(size, "big"))
    return b"".join(parts)
