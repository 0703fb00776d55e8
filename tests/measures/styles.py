"""Sizes written in every style of the trade, and the slips of one sign that damage them."""

import re
from fractions import Fraction

from hypothesis import strategies as st

from app.measures.wording import in_words

HALVES_TO_64THS = st.sampled_from([2, 4, 8, 16, 32, 64]).flatmap(
    lambda d: st.integers(1, d - 1).filter(lambda n: n % 2 == 1).map(lambda n: (n, d))
)
TRADE = st.tuples(st.integers(2, 5), HALVES_TO_64THS)
_ENDINGS = {2: "nds", 32: "nds"}
STYLES = [
    "{w} {n}/{d}", "{w}-{n}/{d}", "{w}_{n}/{d}", "{w}+{n}/{d}", "{w} and {n}/{d}", "{w} & {n}/{d}", "{w}.{n}/{d}", "{w} {n}/{d}.", '{w} {n}/{d}"', "{w} {n}/{d} in.", "{w} {n}/{d} inch",
    "{w} {n}/{d}{o}", "{w} {n} {d}{o}", "{point}", "{comma}", "{point} in", "{words}", "{mm} mm", "{mm} millimeters", "{mmc} mm", '{w}" {n}/{d}',
]  # fmt: skip


def written(style: str, size: tuple[int, tuple[int, int]]) -> tuple[str, Fraction]:
    """A text in one style of the trade, and what it means."""
    w, (n, d) = size
    value = w + Fraction(n, d)
    mm = f"{float(value * Fraction(254, 10)):.1f}"
    point = f"{float(value):.6f}".rstrip("0")
    text = style.format(
        w=w, n=n, d=d, o=_ENDINGS.get(d, "ths"), point=point, comma=point.replace(".", ","), words=in_words(value), mm=mm, mmc=mm.replace(".", ","),
    )  # fmt: skip
    return text, Fraction(mm) * 10 / 254 if "{mm" in style else value


def canonical(text: str) -> Fraction | None:
    """What a text means whose spelling leaves no doubt, read on its own here; None for any other spelling."""
    text = re.sub(r" (\d+)(?:nds|ths)", r"/\1", " ".join(text.split()))
    whole = re.fullmatch(r"(?:(\d+)[ .-])?(\d+)/(\d+)(?: ?(?:\"|in|inch|nds|ths))?\.?", text)
    if whole and 0 < int(whole[2]) < int(whole[3]):
        return int(whole[1] or 0) + Fraction(int(whole[2]), int(whole[3]))
    number = re.fullmatch(r"(\d+(?:\.\d+)?)( in| mm| millimeters)?", text.replace(",", "."))
    if number:
        return Fraction(number[1]) * (Fraction(10, 254) if number[2] and "m" in number[2] else 1)
    return None


def damages(text: str) -> set[str]:
    """The text with one sign, comma, stroke, point or gap dropped or doubled."""
    places = [i for i, c in enumerate(text) if c in "+-,./& "]
    return {text[:i] + text[i + 1 :] for i in places} | {text[:i] + text[i] + text[i:] for i in places}
