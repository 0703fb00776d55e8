"""A card as text: a prefix of our own and Base45; as a code holds it, and as people copy and paste it.

Base45 uses the blank as a character, which mail and forms break, so the text for people has `_` in its place. Blanks,
line breaks and the `>` of a quoted mail are let go in a pasted text, and small letters are taken for capitals: the
signature proves the rest.
"""

import re

from app.cards import base45
from app.cards.envelope import MOST_BYTES, Opened, open_card
from app.cards.errors import CardError, DamagedError, NoCardError, TooLargeError

PREFIX = "SPAN:"
MOST_CHARACTERS = len(PREFIX) + -(-MOST_BYTES * 3 // 2)
_MOST_PASTED = 4 * MOST_CHARACTERS
_LINE = 60


def to_text(data: bytes) -> str:
    """Returns a card's bytes as the text of its code."""
    return PREFIX + base45.encode(data)


def to_lines(data: bytes) -> str:
    """Returns a card's bytes as a text to copy, in lines, without blanks."""
    text = to_text(data).replace(" ", "_")
    return "\n".join(text[at : at + _LINE] for at in range(0, len(text), _LINE))


def read_text(text: str) -> Opened:
    """Returns the card in a text, pasted or read off a code; raises CardError."""
    if len(text) > _MOST_PASTED:
        raise TooLargeError("This is longer than a card can be.")
    found = re.search(rf"{PREFIX[:-1]}\s*:(.*)", text, re.DOTALL | re.IGNORECASE)
    if not found:
        raise NoCardError(f"A card's text begins with {PREFIX} Copy all of it, from there to its end.")
    errors: list[CardError] = []
    for candidate in _list_candidates(found[1]):
        try:
            return open_card(base45.decode(candidate))
        except CardError as error:
            errors.append(error)
    told = (error for error in errors if not isinstance(error, DamagedError))  # a card that was read whole says more
    raise next(told, errors[0])


def _list_candidates(body: str) -> dict[str, None]:
    """Lists what a text may have been: with the blanks of a code unless it has `_`, or with none but `_`."""
    ascii_only = "".join(c.upper() if c.isascii() else c for c in body)
    as_code = re.sub(r"[\r\n\t>]", "", ascii_only)
    as_copied = re.sub(r"[\s>]", "", ascii_only).replace("_", " ")
    return dict.fromkeys((as_copied,) if "_" in as_code else (as_code, as_copied))
