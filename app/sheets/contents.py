"""How well the contents of a column fit what it may be."""

import re
from collections.abc import Sequence
from functools import lru_cache

from app.measures.describe import describe
from app.sheets.cells import Cell
from app.sheets.fields import FIELDS, FieldKind

SAMPLE = 60  # filled cells looked at in a column
_HANDS = re.compile(
    r"\s*(?:r|l|right|left|rh|lh|r\.?h\.?|l\.?h\.?|right[- ]?hand(?:ed|er)?|left[- ]?hand(?:ed|er)?)\s*", re.I
)
_PHONE = re.compile(r"[+(]?\d[\d\s().+/-]{5,18}(?:\s*(?:x|ext\.?)\s*\d+)?(?:\.0)?")
_NAME = re.compile(r"[^\W\d_][\w.'’-]*(?:,?\s+[^\W\d_][\w.'’-]*){1,4}(?:\s*\([^)]*\))?")
_DATE = re.compile(
    r"\d{1,4}[./-]\d{1,2}[./-]\d{2,4}|\d{1,2}\.?[ -][a-zA-Z]{3,9}\.?,?[ -]\d{2,4}|[a-zA-Z]{3,9}\.? \d{1,2},? \d{4}"
)
_STYLE = re.compile(r"\s*(?:conv|semi|finger ?tip|ft\b|fgt|f/t)", re.I)
_EDGES = re.compile(r"cut|finish|fitted|sleeve|insert|edge", re.I)
_WEIGHT = re.compile(r"1?\d(?:[. -]\d{1,2})?\s*(?:lbs?|#|pounds)?(?:\s*\d{1,2}\s*oz)?", re.I)
_MEASURES: dict[FieldKind, str] = {
    "pair": "span_pair", "span": "span", "bridge": "bridge", "hole": "oval", "pitch": "pitch", "offset": "offset",
    "depth": "written_depth", "axis_point": "axis_point",
}  # fmt: skip
_TEXTS: dict[FieldKind, re.Pattern[str]] = {
    "hand": _HANDS, "phone": _PHONE, "person": _NAME, "weight": _WEIGHT,
}  # fmt: skip
_WAYS = re.compile(
    r"(?<![a-z])(?:f|fwd|for|forward|r|rev|reverse|l|lt|left|rt|right|under|away|u|a|in|out|lat|up|b|back)\b|[-+]", re.I
)


@lru_cache(20_000)
def score_text(kind: FieldKind, text: str) -> float:
    """Returns from 0 to 1 how well a text fits a kind of field; a measure that only asks counts half."""
    text = text.strip()
    if kind in _TEXTS:
        return float(bool(_TEXTS[kind].fullmatch(text)))
    if kind in {"style", "edges"}:
        return float(bool((_STYLE if kind == "style" else _EDGES).search(text)))
    if kind in {"vertical", "lateral"}:
        return _score_length("proud", _WAYS.sub(" ", text).strip())
    if kind == "oval":
        return _score_length("oval_width", text.split("@")[0])
    if kind in _MEASURES:
        return _score_length(_MEASURES[kind], text)
    return 0.5


def _score_length(kind: str, text: str) -> float:
    if kind == "proud":
        kind, text = "oval_width", text.lstrip("-+ ")
    reading = describe(kind, text, "right", "thumb", "middle").reading
    if reading.state == "value":
        return 0.4 if any(w.startswith("Unusual") for w in reading.warnings) else 1.0
    return {"ask": 0.5, "unknown": 0.8, "absent": 0.8}.get(reading.state, 0.0)


def score(field: str, cells: Sequence[Cell]) -> float:
    """Returns the mean fit of some filled cells of a column to a field, 1 for no cells."""
    kind = FIELDS[field].kind
    if field in {"first_name", "last_name"}:
        return _mean([float(not any(x.isdigit() for x in c.text)) for c in cells])
    if kind in {"note", "label", "holes"}:
        return 0.6
    if kind == "date":
        return _mean([float(c.kind == "date" or bool(_DATE.fullmatch(c.text.strip()))) for c in cells])
    is_measure = kind in _MEASURES or kind in {"vertical", "lateral", "oval"}
    return _mean([0.5 if c.kind == "date" and is_measure else score_text(kind, c.text) for c in cells])


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 1.0


def find_best(fields: Sequence[str], cells: Sequence[Cell]) -> tuple[str, float]:
    """Returns the field that the cells fit best, and how well."""
    scores = {name: score(name, cells) for name in fields}
    best = max(scores, key=lambda name: scores[name])
    return best, scores[best]
