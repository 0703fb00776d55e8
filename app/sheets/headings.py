"""Reads the heading of a column as the trade writes it: which hole, which measure, and what it says of directions."""

import re
import unicodedata
from dataclasses import dataclass, replace

_HOLES = {
    "thumb": "thumb thmb thum tmb th thb t",
    "middle": "middle mid mdl mf m",
    "ring": "ring rng rg rf r",
    "both": "finger fingers fngr fngrs fing fingering both",
}
_MEASURES = {
    "span": "span spans spn spns sp",
    "pitch": "pitch pitches pit ptch",
    "vertical": "vertical vert forward fwd fwds for reverse rev revs fr frontback inline",
    "lateral": "lateral laterals lat lats side sideways left right under away lr",
    "cut": "cut bore bored",
    "oval": "oval ovals ovalised",
    "insert": "insert inserts ins grip grips tip tips",
    "depth": "depth dpth deep dep",
    "hole": "hole holes size sizes sz bit drill drilled dia diam diameter",
    "bridge": "bridge brdg web",
    "offset": "offset",
    "edges": "edges edge datum",
    "system": "inner inners sleeve slug system hardware interchangeable thumbpiece switch",
}
_PLAIN = {
    "name": "name bowler customer client player fullname who",
    "first_name": "firstname first given forename",
    "last_name": "lastname last surname family",
    "phone": "phone telephone tel mobile mob cell cellphone ph contact number",
    "hand": "hand hands handed handedness",
    "league": "league club team centre center house",
    "guardian": "guardian parent",
    "notes": "note notes remark remarks comment comments memo info misc",
    "fit_date": "date day fitted measured dated updated when",
    "style": "style type gripstyle",
    "ball_label": "ball balls equipment",
    "ball_serial": "serial serialno",
    "ball_weight": "weight wt lbs lb",
    "axis_point": "pap axis axispoint",
    "number": "no num nr id record card",
}
_SAYS = {
    "forward": "forward fwd fwds for",
    "reverse": "reverse rev revs",
    "left": "left",
    "right": "right",
    "under": "under",
    "away": "away",
    "cut": "cut",
    "finished": "finished fitted",
}


def _turn_round(words: dict[str, str]) -> dict[str, str]:
    return {word: meaning for meaning, listed in words.items() for word in listed.split()}


_HOLE_OF, _MEASURE_OF, _PLAIN_OF, _SAID_BY = map(_turn_round, (_HOLES, _MEASURES, _PLAIN, _SAYS))
_RUN_TOGETHER = re.compile(
    r"(thumb|th|t|middle|mid|mf|m|ring|rf|r)"
    r"(spans?|pitch|fwd|forward|rev|reverse|vert|lat|lateral|hole|size|sz|insert|ins|depth|cut|oval|fr|lr)"
)
_PAIRS = (
    (r"\b(?:f|fwd|for|forward)\s*[/|\\-]\s*(?:r|rev|reverse|b|back)\b", " vertical "),
    (r"\b(?:r|rev|reverse)\s*[/|\\-]\s*(?:f|fwd|for|forward)\b", " vertical "),
    (r"\b(?:rh\s*/\s*lh|lh\s*/\s*rh)\b", " hand "),
    (r"\b(?:l|left|lt)\s*[/|\\-]\s*(?:r|right|rt)\b|\b(?:r|right|rt)\s*[/|\\-]\s*(?:l|left|lt)\b", " lr "),
    (r"#", " no "),
)


@dataclass(frozen=True)
class Heading:
    """What a heading says: the hole, the measure or other meaning, and a direction or edge; empty where it does not.

    `is_doubtful` when a lone letter decided it.
    """

    hole: str = ""
    means: str = ""
    says: str = ""
    is_doubtful: bool = False
    words: tuple[str, ...] = ()

    def inherit(self, hole: str) -> "Heading":
        """Returns it with the hole of a heading that stands over or before it."""
        return self if self.hole or not self.means else replace(self, hole=hole, is_doubtful=True)


def split_heading(text: str) -> list[str]:
    """Returns the words of a heading: `ThumbFwd` and `T_Fwd` as thumb, forward."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", unicodedata.normalize("NFKC", text[:200]))
    plain = spaced.lower()
    for pattern, word in _PAIRS:
        plain = re.sub(pattern, word, plain)
    words: list[str] = []
    for word in re.findall(r"[^\W\d_]+", plain):
        parted = _RUN_TOGETHER.fullmatch(word) if word not in _MEASURE_OF else None
        words += parted.groups() if parted else [word]
    return words


def read_heading(text: str) -> Heading:
    """Reads a heading; a text without any known word means nothing."""
    words = split_heading(text)
    holes = [(w, _HOLE_OF[w]) for w in words if w in _HOLE_OF]
    if any(w in {"serial"} for w in words):
        return Heading(means="ball_serial", words=tuple(words))
    measures = [_MEASURE_OF[w] for w in words if w in _MEASURE_OF]
    if "lr" in words and ("hand" in words or (not holes and len(words) == 1)):
        return Heading(means="hand", is_doubtful="hand" not in words, words=tuple(words))
    others = [_PLAIN_OF[w] for w in words if w in _PLAIN_OF]
    said = [_SAID_BY[w] for w in words if w in _SAID_BY]
    says = said[0] if len(set(said)) == 1 else ""
    hole = _choose_hole([w for w, _ in holes], measures)
    if hole or (measures and not _is_plain(others, measures)):
        return _read_measure(words, hole, measures, says, others)
    return Heading(means=_choose_plain(others, words), words=tuple(words))


def _is_plain(others: list[str], measures: list[str]) -> bool:
    """Whether another meaning outweighs a measure: `grip style`, `ball size`, `ball hole`."""
    return bool(set(others) & {"style", "fit_date", "ball_weight", "hand"}) or (
        "ball_label" in others and measures != ["span"]
    )


def _choose_hole(words: list[str], measures: list[str]) -> str:
    """Returns the hole; a lone t, m or r counts only beside a measure, and r not beside forward or reverse."""
    found = [_HOLE_OF[w] for w in words if len(w) > 1 or (measures and words == [w])]
    named = set(found) - {"both"} or set(found)  # “ring finger” is the ring
    return named.pop() if len(named) == 1 else "both" if named == {"middle", "ring"} else ""


def _read_measure(words: list[str], hole: str, measures: list[str], says: str, others: list[str]) -> Heading:
    known = set(measures)
    letters = [w for w in words if len(w) == 1]
    is_doubtful = bool(letters) and not (len(letters) == 1 and letters[0] in {"t", "m"})
    if "fit_date" in others or "notes" in others:
        return Heading("", "hand_notes" if "notes" in others else "fit_date", "", False, tuple(words))
    for means in ("span", "bridge", "offset", "system", "oval", "insert", "depth", "lateral", "vertical", "pitch"):
        if means in known:
            break
    else:
        means = "cut" if "cut" in known else "hole" if "hole" in known else "edges" if "edges" in known else ""
    if known >= {"vertical", "lateral"}:
        means = "pitch"
    if "edges" in known and "span" in known:
        means = "edges"
    if means == "span" and says in {"left", "right"}:
        says = ""
    return Heading(hole, means, says, is_doubtful, tuple(words))


def _choose_plain(others: list[str], words: list[str]) -> str:
    """Returns the meaning of a heading without a measure: `ball weight` is a weight, `phone no` a phone."""
    for means in (
        "axis_point", "ball_weight", "guardian", "first_name", "last_name", "fit_date", "notes", "hand", "style",
        "ball_label", "league",
    ):  # fmt: skip
        if means in others:
            return means
    if "phone" in others and words != ["number"]:
        return "phone" if set(words) != {"number", "customer"} else "number"
    if "number" in others or "number" in words:
        return "number"
    return "name" if "name" in others else ""
