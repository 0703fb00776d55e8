"""Two grips drawn over each other, in inches, y down as SVG has it: what differs shows at its true place and size."""

import re
from dataclasses import dataclass
from functools import lru_cache

from app.calculation.grip import SolvedGrip
from app.pages.ball_labels import Size, letter_view
from app.pages.labels import Lettering
from app.pages.pictures import GripPicture, Shape, draw_grip

_BEFORE = {"sleeve", "bore", "hole", "span", "cut-line", "arrow"}  # what is drawn of the older grip
_SEEN_IN = 0.01  # what lies nearer to its like in the newer grip is the same line on any screen
_NUMBER = re.compile(r"-?\d+\.?\d*")
_LETTER_IN = 0.22
_MARGIN_IN = 1.15  # about the holes' centres: room for a hole, its sleeve and its name


@dataclass(frozen=True)
class Overlay:
    """The newer grip with all its shapes, what lies elsewhere in the older one, and the part of the ball to show."""

    now: GripPicture
    before: tuple[Shape, ...]
    view: tuple[float, float, float, float]  # left, top, width, height
    lettering: Lettering


@lru_cache(maxsize=100)
def draw_overlay(old: SolvedGrip, new: SolvedGrip) -> Overlay:
    """Draws two grips about one grip centre, from outside, fingers up; of the older only what lies elsewhere."""
    now = draw_grip(new)
    moved = [
        s for s in draw_grip(old).shapes if s.kind in _BEFORE and not any(_lies_on(s, other) for other in now.shapes)
    ]
    before = tuple(Shape(s.kind, s.path, f"before: {s.words}", s.points) for s in moved)
    view = _frame(old, new)
    size = Size(view, _LETTER_IN, is_short=True, is_of_lit=True)
    return Overlay(now, before, view, letter_view(now, size, over=before))


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
