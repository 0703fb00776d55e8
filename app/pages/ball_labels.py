"""Sets the notes of a ball's drawing for one size of it, and gives the numbers for turning it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin

from app.calculation.sphere import Vector, combine
from app.pages.ball_notes import Note, TextLine
from app.pages.ground import Point
from app.pages.labels import Lettering, Wish, place_labels
from app.pages.lettering import Line, set_line
from app.pages.pictures import GripPicture, Shape

# size of a kind of words as a share of the drawing's own, and whether they are bold
_KINDS = {
    "hole-name": (1.0, True), "figure": (1.3, True), "pitch": (1.0, True),
    "lateral": (1.0, False), "words": (1.0, False), "accent": (1.0, False), "quiet": (1.0, False),
}  # fmt: skip
_SOLID = {"sleeve", "bore", "hole", "old", "plug", "notch", "axis-point", "pin", "mass-mark", "heavy-spot"}
_TURNED = {"hole-name", "figure", "accent"}  # what is told of a ball that was turned
_TURNED_LETTER = 0.36
_FAINT = {"line", "arrow", "track"}


@dataclass(frozen=True)
class Size:
    """One size in which balls are drawn: left, top, width and height of its view, and the height of its letters.

    `is_short` says little of each part; `is_of_lit` speaks only of the part in question.
    """

    view: tuple[float, float, float, float]
    letter: float
    is_short: bool = False
    is_of_lit: bool = False


_BALL = (-4.5, -4.5, 9.0, 9.0)
SIZES = {
    "thumb": Size((-4.4, -4.4, 8.8, 8.8), 0.0),
    "page": Size(_BALL, 0.33),
    "layout": Size((-5.6, -4.5, 11.2, 9.0), 0.36),  # room beside the ball for the names of marks near its edge
    "step": Size(_BALL, 0.0),  # of a marking list
    "bench": Size(_BALL, 0.46, is_short=True, is_of_lit=True),
    "print": Size((-4.4, -4.4, 8.8, 8.8), 0.416, is_short=True),  # 71 mm wide: figures of fractions are 7.1 pt
    "layout print": Size((-5.6, -4.5, 11.2, 9.0), 0.416, is_short=True),
}


def format_view(size: str) -> str:
    """The view box of a size, as SVG has it."""
    return " ".join(f"{value:g}" for value in SIZES[size].view)


@lru_cache(maxsize=600)
def letter_ball(picture: GripPicture, size: str, lit: str = "") -> Lettering:
    """Places the labels of a drawing of this size; of a bench's only those of the part that is lit."""
    return letter_view(picture, SIZES[size], lit)


def letter_view(picture: GripPicture, of: Size, lit: str = "", over: Sequence[Shape] = ()) -> Lettering:
    """Places the labels in a view of any size, off the shapes that are drawn over the picture as well."""
    if not of.letter:
        return Lettering((), (), ())
    wishes = [wish for note in picture.notes if _is_told(note, of, lit) and (wish := _wish(note, of, lit))]
    left, top, width, height = of.view
    drawn = [*(shape for shape in picture.shapes if not shape.only_lit or lit in shape.parts), *over]
    seen = [(shape, _see(shape)) for shape in drawn]
    rim = [(picture.radius_in * cos(i * pi / 60), picture.radius_in * sin(i * pi / 60)) for i in range(121)]
    solids = [points for shape, points in seen if shape.kind in _SOLID]
    lines = [points for shape, points in seen if shape.kind not in _SOLID | _FAINT]
    faint = [rim, *(points for shape, points in seen if shape.kind in _FAINT)]
    return place_labels((left, top, left + width, top + height), wishes, lines, solids, faint)


def _is_told(note: Note, size: Size, lit: str) -> bool:
    """Whether a size has this note: a page all, a bench those of the lit part, else names and figures."""
    if size.is_of_lit and lit:
        return lit in note.parts
    if not note.forms:
        return False
    kind = note.forms[0][0][1]
    return kind in {"hole-name", "figure"} or not (size.is_of_lit or (size.is_short and kind == "quiet"))


def _wish(note: Note, size: Size, lit: str) -> Wish | None:
    forms = note.short if size.is_short else note.forms
    if size.is_of_lit and not lit:
        forms = tuple(lines[:1] for lines in forms[:1])  # only the name of a hole
    if not forms:
        return None
    set_forms = tuple(tuple(_set(line, size) for line in lines) for lines in forms)
    last = set_forms[0][:1] if len(set_forms[0]) > 1 else ()
    return Wish(set_forms, note.places, note.way, note.reach, note.parts, note.may_drop, last, note.keeps_side)


def _set(line: TextLine, size: Size) -> Line:
    share, is_bold = _KINDS[line[1]]
    return set_line(line[0], round(size.letter * share, 4), line[1], is_bold)


def _see(shape: Shape) -> list[Point]:
    return [(x, -y) for x, y, _ in shape.points]


def list_points(picture: GripPicture) -> dict[str, object]:
    """The drawing as points in space for a script that turns it: inches from the ball's centre, y up, z to the eye."""
    return {
        "radius": round(picture.radius_in, 4),
        "shapes": [
            {"kind": s.kind, "words": s.words, "points": [_round(at) for at in s.points]}
            for s in picture.shapes
            if not s.only_lit
        ],
        "names": [name for note in picture.notes if (name := _name(note, picture.radius_in))],
    }


def _name(note: Note, radius_in: float) -> dict[str, object] | None:
    """What is told of a note on a turned ball: the name of what it is about, or its figure, in runs of letters."""
    lines = (note.forms or note.short)[0]
    text, kind = lines[0]
    if kind not in _TURNED or (kind == "hole-name" and not note.forms):
        return None
    line = set_line(text, _TURNED_LETTER, kind, is_bold=True)
    runs = [[run.text, round(run.size, 3), round(run.down, 3)] for run in line.runs]
    return {"text": text, "runs": runs, "at": _round(_find_named(note, radius_in)), "reach": note.reach}


def _find_named(note: Note, radius_in: float) -> Vector:
    return combine(radius_in, note.at, 0.0, note.at) if note.at else _lift(note.places[0], radius_in)


def _lift(at: Point, radius_in: float) -> Vector:
    return at[0], -at[1], max(radius_in**2 - at[0] ** 2 - at[1] ** 2, 0.0) ** 0.5


def _round(point: Vector) -> list[float]:
    return [round(value, 4) for value in point]
