"""Normalises what people type into one plain spelling: figures, strokes and lower-case words."""

import itertools
import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

from app.measures.reading import Refuse
from app.measures.wording import DENOMINATOR_WORDS, SMALL_WORDS

LONGEST_TEXT = 120
_MOST_COMMAS = 4

_REPLACED = str.maketrans({
    "⁄": "/", "∕": "/", "／": "/", "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "﹣": "-", "×": " x ", "✕": " x ",
    "“": '"', "”": '"', "„": '"', "‟": '"', "‘": "'", "’": "'", "′": "'", "º": "°", "˚": "°", "‴": "'''",
})  # fmt: skip
_RAISED = re.compile(r"(?<=\d)(?=[⁰¹²³⁴-⁹])")


@lru_cache(maxsize=5_000)  # one cell is read in several ways, and a sheet repeats its cells
def clean(text: str) -> str:
    """Returns the text in lower case, Unicode folded, numbers in figures, without abbreviation dots; raises Refuse."""
    if len(text) > LONGEST_TEXT:
        raise Refuse(f"That is {len(text):,} characters. A measure is short, such as 4 3/8.")
    raised = _RAISED.sub(" ", text)
    spaced = "".join(" " + c + " " if unicodedata.decomposition(c).startswith("<fraction>") else c for c in raised)
    spaced = spaced.replace("º", "°").replace("˚", "°")
    plain = unicodedata.normalize("NFKC", spaced.translate(_REPLACED)).translate(_REPLACED).lower()
    plain = _collapse_spaces(plain.replace("''", '"'))
    return _join(_write_in_figures(plain)) if re.search(r"[a-z.&]", plain) else plain


SAME = "same: "  # what a record that repeats a measure of the one before has as its text, with the text of that one
_SAYS_SAME = re.compile(r'(?:the )?same(?: as before)?|as before|ditto|do|unchanged|no change|"')


def says_same(text: str, counts_dash: bool) -> bool:
    """Whether a text says that a measure is that of the record before; a dash says so where one is revised."""
    plain = clean(text[:LONGEST_TEXT])
    return bool(_SAYS_SAME.fullmatch(plain)) or (counts_dash and plain in {"-", "--"})


def repeat(before: str) -> str:
    """Returns the text of a measure that is the same as in the record before, where it was typed as `before`."""
    return SAME + (before.removeprefix(SAME) or "none")


def take_repeated(plain: str) -> str:
    """Returns what a cleaned text repeats, or the text itself; raises Refuse for the same as nothing."""
    if _SAYS_SAME.fullmatch(plain):
        raise Refuse("Same as what? Nothing earlier is revised here. Write the measure.")
    return plain.removeprefix(SAME)


def _collapse_spaces(plain: str) -> str:
    return re.sub(r"\s+", " ", plain).strip()


def list_comma_readings(plain: str) -> list[str]:
    """Returns the text with each comma between figures as a decimal point or a separator, in every combination."""
    plain = re.sub(r"(?<![\d.,/])0,(?=\d+ ?/ ?\d+(?![\d.,]))", "0 , ", plain)  # 0,1/8 cannot be a decimal
    pieces = re.split(r"(?<=\d),(?=\d)", plain)
    if len(pieces) > _MOST_COMMAS + 1:
        raise Refuse("There are too many commas in that.")
    ways = itertools.product((".", " , "), repeat=len(pieces) - 1)
    return ["".join(a + b for a, b in zip(pieces, (*way, ""), strict=True)) for way in ways]


COMMA_TOLD = "The comma was read as a decimal point."


def warn_of_commas(plain: str, way: str, warnings: list[str]) -> list[str]:
    """Appends to `warnings` if this reading of the commas takes one as a decimal point; returns the list."""
    if way.count(".") > plain.count("."):
        warnings.append(COMMA_TOLD)
    return warnings


# Joints: dots, ordinal endings, "and" ------------------------------------------------------------------------

_JOINTS = (
    (r"(?<=[a-z])\.(?=-)", ""),  # fwd.-1/8
    (r"(?<=[a-z])\.(?!\d)", " "),  # rev. lat. in.
    (r"(?<=\d) (?:of )?an inch\b", " in"),  # 7/8 of an inch
    (r"(?<=[a-z])\.(?=\d+ ?/ ?\d)", " "),  # rev.1/4
    (r"(?<=[\d\"°])\.(?=$|[\s,;])", " "),  # 4 3/16.
    (r"(?<=\d)( ?/ ?\d+) ?(?:ths?|nds?|rds?)\b", r"\1"),  # 7/8ths
    (r"(?<![\d./,])(\d{1,2})[ -](2|4|8|16|32|64) ?(?:ths?|nds?|rds?)\b", r"\1/\2"),  # 3 8ths
    (r"(?<![\d./,])([1-9]\d*)(?: ?\"| ?in(?:ch)?(?:es)?)? ?(?:\band\b|&) ?(?=\d+ ?/ ?\d)", r"\1 "),  # 4 and 3/16
)


def _join(plain: str) -> str:
    for pattern, joint in _JOINTS:
        plain = re.sub(pattern, joint, plain)
    return _collapse_spaces(plain)


# Numbers in words --------------------------------------------------------------------------------------------


def _match_either(words: Iterable[str]) -> str:
    return "|".join(sorted((w.replace(" ", "[- ]") for w in words), key=len, reverse=True))


_TENS = _match_either(w for w, n in SMALL_WORDS.items() if n >= 20)
_ONES = _match_either(w for w, n in SMALL_WORDS.items() if 0 < n < 10)
_SMALL = _match_either(SMALL_WORDS)
_COUNT = rf"(?:(?:{_TENS})(?:[- ](?:{_ONES}))?|{_SMALL}|\d+)"
_PART = rf"(?:(?P<count>{_COUNT}|an?)[- ])?(?P<name>(?<!sixty[- ])(?:{_match_either(DENOMINATOR_WORDS)}))"
_SPOKEN = re.compile(
    r"(?<![\d./,])(?:(?<![a-z])|(?=\d))"
    rf"(?:(?:(?P<whole>{_COUNT})(?: inch(?:es)?)? and |(?P<inch>(?:an? )?inch and ))?{_PART}"
    rf"|(?P<before>{_COUNT})? ?point (?P<after>(?:{_SMALL})(?: (?:{_SMALL}))*)"
    rf"|(?P<alone>(?:{_TENS})(?:[- ](?:{_ONES}))?|{_SMALL}))(?![a-z])"
)


def _write_in_figures(plain: str) -> str:
    """Writes `four and three eighths` as 4 3/8, `half an inch` as 1/2, `one quarter reverse` as 1/4 reverse."""
    return _SPOKEN.sub(_write_figures, plain)


def _write_figures(found: re.Match[str]) -> str:
    if found["alone"]:
        return str(_count_words(found["alone"]))
    if found["after"]:
        decimals = "".join(str(SMALL_WORDS[w]) for w in found["after"].split())
        return f"{_count_words(found['before'] or 'zero')}.{decimals}"
    name = re.sub("-", " ", found["name"])
    top, bottom = _count_words(found["count"] or "a"), DENOMINATOR_WORDS[name]
    is_plural = name.endswith("s")
    if (is_plural and not found["count"]) or (not is_plural and top > 1 and (top % 2 == 0 or top > bottom)):
        return found[0]  # "eighths", "four half": ambiguous, so left as they are
    whole = "1 " if found["inch"] else f"{_count_words(found['whole'])} " if found["whole"] else ""
    return f"{whole}{top}/{bottom}"


def _count_words(words: str) -> int:
    if words.isdecimal():
        return int(words)
    return sum(1 if w in {"a", "an"} else SMALL_WORDS[w] for w in re.split("[- ]", words))
