"""Lines of lettering for drawings: built-up fractions as runs of text, and how wide a line is at most.

Widths are those of DejaVu Sans, which is wider than the families that browsers take for system-ui, so that a line never
turns out wider than it is reckoned here.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

# shares of the size: of a raised or lowered numeral, and how far their baselines lie from the line's own
NUMERAL = 0.75
_RAISED, _LOWERED = 0.25, 0.06
UP, DOWN = 0.975, 0.265  # the cell of a line above and below its baseline: numerals, and a pixel of rounding
_SLACK = 1.02

_REGULAR = (
    "⁄ .17|\u2009 .21|'ijlIJ .3|.,’:; .34|f/- .36|t()r .42|\"°sz .52|csLk .58|FPvxy .6|aoTYe .62|"
    "bdghnpquES0123456789 .64|KAVBRXZ .7|CUHN .76|DG&OQ .79|w+−× .84|MmW 1"
)
_BOLD = (
    "⁄ .17|\u2009 .25|'ijl .34|IJ/.,’ .38|:;-f .44|()t .48|r .5|°\" .52|zcs .6|Lvxy .65|akeEFTo .69|"
    "0123456789hnubdpqgSY .72|CPZBAKRVX .77|UGD .83|HN+−×OQ& .87|w .92|MmW 1.1"
)


def _read_widths(told: str) -> dict[str, float]:
    groups = (group.rpartition(" ") for group in told.split("|"))
    return {letter: float(width) for letters, _, width in groups for letter in letters}


_WIDTHS = {False: _read_widths(_REGULAR) | {" ": 0.32}, True: _read_widths(_BOLD) | {" ": 0.35}}
_FRACTION = re.compile(r"(\d+(?:\.\d+)?)/(\d+)")


@dataclass(frozen=True)
class Run:
    """A piece of a line in one size; `down` moves the baseline from that of the run before it."""

    text: str
    size: float
    down: float


@dataclass(frozen=True)
class Line:
    """One line of lettering: its runs, its reckoned width, its size and weight, and what kind of words it has."""

    text: str
    runs: tuple[Run, ...]
    width: float
    size: float
    is_bold: bool
    kind: str


@lru_cache(maxsize=2_000)
def set_line(text: str, size: float, kind: str, is_bold: bool = False) -> Line:
    """Sets a line with every `3/64` in it built up: numerator raised, fraction slash, denominator lowered."""
    runs: list[Run] = []
    baseline = 0.0

    def add(piece: str, share: float, height: float) -> None:
        nonlocal baseline
        if piece:
            runs.append(Run(piece, size * share, round((baseline - height) * size, 4)))
            baseline = height

    at = 0
    for found in _FRACTION.finditer(text):
        before = text[at : found.start()]
        add(before[:-1] + "\u2009" if before[-2:-1].isdigit() and before.endswith(" ") else before, 1.0, 0.0)
        add(found[1], NUMERAL, _RAISED)
        add("⁄", 1.0, 0.0)
        add(found[2], NUMERAL, -_LOWERED)
        at = found.end()
    add(text[at:], 1.0, 0.0)
    width = sum(run.size * _measure(run.text, is_bold) for run in runs)
    return Line(text, tuple(runs), width * _SLACK, size, is_bold, kind)


def _measure(text: str, is_bold: bool) -> float:
    widths = _WIDTHS[is_bold]
    return sum(widths.get(letter, 1.0) for letter in text)
