"""Two grips drawn over each other, in inches, y down as SVG has it: what differs shows at its true place and size."""

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from app.calculation.grip import SolvedGrip
from app.pages.pictures import Label, Shape, draw_grip

_BEFORE = {"sleeve", "bore", "hole", "span", "cut-line", "arrow"}  # what is drawn of the older grip
_SEEN_IN = 0.01  # what lies nearer to its like in the newer grip is the same line on any screen
_NUMBER = re.compile(r"-?\d+\.?\d*")
_MARGIN_IN = 1.15  # about the holes' centres: room for a hole, its sleeve and its name


@dataclass(frozen=True)
class Overlay:
    """The newer grip, what lies elsewhere in the older one, and the part of the ball to show."""

    now: tuple[Shape, ...]
    before: tuple[Shape, ...]
    names: tuple[Label, ...]
    view: tuple[float, float, float, float]  # left, top, width, height
    radius_in: float
    words: str


@lru_cache(maxsize=100)
def draw_overlay(old: SolvedGrip, new: SolvedGrip) -> Overlay:
    """Draws two grips about one grip centre, from outside, fingers up; of the older only what lies elsewhere."""
    picture = draw_grip(new)
    now = tuple(shape for shape in picture.shapes if not shape.only_lit)
    moved = [s for s in draw_grip(old).shapes if s.kind in _BEFORE and not any(_lies_on(s, other) for other in now)]
    before = tuple(replace(s, words=f"before: {s.words}") for s in moved if not s.only_lit)
    return Overlay(now, before, _name_holes(new), _frame(old, new), picture.radius_in, picture.words)


def _name_holes(solved: SolvedGrip) -> tuple[Label, ...]:
    """The names of the holes, of fingers above them and of the thumb below."""
    places = [(n, a.radius_in * a.centre[0], -a.radius_in * a.centre[1]) for n, a in solved.holes.items()]
    return tuple(Label(x, y + (1.0 if name == "thumb" else -0.8), name) for name, x, y in places)


def _lies_on(shape: Shape, other: Shape) -> bool:
    """Whether two shapes of one kind are the same line to the eye."""
    if shape.kind != other.kind:
        return False
    one, two = ([float(n) for n in _NUMBER.findall(s.path)] for s in (shape, other))
    return len(one) == len(two) and all(abs(a - b) < _SEEN_IN for a, b in zip(one, two, strict=True))


def _frame(*grips: SolvedGrip) -> tuple[float, float, float, float]:
    places = [(a.radius_in * a.centre[0], -a.radius_in * a.centre[1]) for g in grips for a in g.holes.values()]
    across, down = zip(*places, (0.0, 0.0), strict=True)
    left, top = min(across) - _MARGIN_IN, min(down) - _MARGIN_IN
    return left, top, max(across) + _MARGIN_IN - left, max(down) + _MARGIN_IN - top
