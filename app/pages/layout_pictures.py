"""A layout drawn on the ball: the grip stands back, axis point, pin and marks stand out; inches, y down as SVG has it.

Each mark has a shape of its own beside its word: a ring with a cross is the axis point, a disc the pin, a square the
mass mark, a triangle the heavy spot. What lies on the far side is drawn when the ball is turned.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import cos, hypot, pi, radians, sin

from app.calculation.grip import GRIP_CENTRE, SolvedGrip
from app.calculation.layouts import LaidOut, side_of
from app.calculation.marking_lists import ARC_ERROR_IN, SWING_ERROR_DEG
from app.calculation.sphere import Vector, arc_angle, combine, frame, heading, travel, veer
from app.measures.wording import degree_words, inches, mark_words
from app.pages.ball_notes import Note, TextLine
from app.pages.ground import Point
from app.pages.pictures import GripPicture, Shape, draw_grip

_STEPS = 48
_QUIET = {"sleeve", "bore", "hole", "old", "plug", "dot"}  # what is shown of the grip
_MARK_IN = 0.16
_RING_IN = 0.22
_SWING_IN = 0.75  # how far from its corner an angle is drawn
_PAST_IN = 1.1  # how far lines are drawn beyond the last place on them


@lru_cache(maxsize=200)
def draw_layout(
    laid: LaidOut,
    solved: SolvedGrip | None = None,
    heavy: Vector | None = None,
    track_in: float | None = None,
    mark_name: str = "mass mark",
) -> GripPicture:
    """Draws a layout that was worked out, with the grip, the heavy spot and the track where they are known.

    `heavy` is a unit vector in the grip's frame; `track_in` the arc from the axis point to the track.
    """
    under, names = _draw_under(solved)
    lines, arcs, spots = draw_lines(laid), draw_arcs(laid, mark_name), list_spots(laid, heavy, mark_name)
    track = [] if track_in is None else [_draw_track(laid, track_in)]
    marks = [shape for kind, at in spots for shape in draw_mark(kind, at, laid.radius_in)]
    notes = [_name_spot(kind, at, laid.radius_in) for kind, at in spots]
    notes += [*_note_arcs(laid), *_note_angles(laid), *_note_lines(laid, track), *names]
    return GripPicture(laid.radius_in, (*under, *track, *lines, *arcs, *marks), tuple(notes), describe_layout(laid))


def describe_layout(laid: LaidOut) -> str:
    """`Layout seen from outside, right hand, fingers up: pin 4 in from the axis point, …`"""
    layout = laid.layout
    return (
        f"Layout seen from outside, {laid.hand} hand, fingers up: pin {inches(layout.pin_axis_in)} in from the axis"
        f" point, axis-line angle {degree_words(layout.axis_line_deg)}, drilling angle"
        f" {degree_words(layout.drilling_deg)}."
    )


ERRORS = (inches(ARC_ERROR_IN), degree_words(SWING_ERROR_DEG))  # of a hand that marks: along an arc, in a swing


def _draw_under(solved: SolvedGrip | None) -> tuple[list[Shape], list[Note]]:
    """The holes of a grip, or its plus, and the names of the holes alone."""
    if solved is None:
        return [], []
    drawn = draw_grip(solved)
    shapes = [s for s in drawn.shapes if (s.kind in _QUIET or "plus" in s.parts) and not s.only_lit]
    named = [note for note in drawn.notes if note.forms and note.forms[0][0][1] == "hole-name"]
    return shapes, [_quieten(note) for note in named]


def _quieten(note: Note) -> Note:
    name: TextLine = (note.forms[0][0][0], "words")
    return replace(note, forms=((name,),), short=((name,),), may_drop=True)


def list_spots(laid: LaidOut, heavy: Vector | None, mark_name: str) -> list[tuple[str, Vector]]:
    """The marks by name; a heavy spot that is the layout's second mark is drawn once."""
    spots = [("axis point", laid.axis), ("pin", laid.pin), (mark_name, laid.mark)]
    return [*spots, ("heavy spot", heavy)] if heavy and heavy != laid.mark else spots


def draw_lines(laid: LaidOut) -> list[Shape]:
    """Centre line, midline as far as the axis line and beyond it, and the axis line."""
    radius = laid.radius_in
    past = _PAST_IN / radius
    up, over = laid.axis_point.up_in / radius, laid.axis_point.over_in / radius
    aside, upper = (float(side_of(laid.hand)), 0.0, 0.0), frame(laid.foot)[0]
    return [
        draw_arc("line", "centre line", follow(GRIP_CENTRE, (0.0, 1.0, 0.0), -1.1, 1.1, radius)),
        draw_arc("line", "midline", follow(GRIP_CENTRE, aside, min(0.0, over) - past, max(0.0, over) + past, radius)),
        draw_arc("axis-line", "axis line", follow(laid.foot, upper, min(0.0, up) - past, max(0.0, up) + past, radius)),
    ]


def draw_arcs(laid: LaidOut, mark_name: str) -> list[Shape]:
    """The arcs from pin to axis point and from pin to mass mark, and the two angles."""
    ways = ((laid.axis, "pin to axis point", "span"), (laid.mark, f"pin to {mark_name}", "dim"))
    shapes = []
    for end, words, kind in ways:
        angle = arc_angle(laid.pin, end)
        points = follow(laid.pin, heading(laid.pin, end), 0.0, angle, laid.radius_in)
        shapes.append(draw_arc(kind, f"{words} {inches(laid.radius_in * angle)}", points))
    for words, swing in _list_swings(laid):
        shapes.append(draw_arc("swing", words, tuple(combine(laid.radius_in, at, 0.0, at) for at in swing)))
    return shapes


def _list_swings(laid: LaidOut) -> list[tuple[str, list[Vector]]]:
    """The two angles as arcs about their corners: words, and unit vectors along the arc."""
    side, layout = side_of(laid.hand), laid.layout
    reach = min(_SWING_IN, 0.35 * layout.pin_axis_in) / laid.radius_in
    corners = (
        ("axis-line angle", laid.axis, frame(laid.axis)[0], -side * layout.axis_line_deg),
        ("drilling angle", laid.pin, heading(laid.pin, laid.axis), side * layout.drilling_deg),
    )
    return [
        (
            f"{words} {degree_words(layout.axis_line_deg if corner == laid.axis else layout.drilling_deg)}",
            [travel(corner, veer(corner, line, radians(turn) * i / _STEPS), reach) for i in range(_STEPS + 1)],
        )
        for words, corner, line, turn in corners
    ]


def _draw_track(laid: LaidOut, track_in: float) -> Shape:
    long, right = frame(laid.axis)
    turns = (2 * pi * i / (3 * _STEPS) for i in range(3 * _STEPS + 1))
    ring = (travel(laid.axis, combine(cos(t), long, sin(t), right), track_in / laid.radius_in) for t in turns)
    points = tuple(combine(laid.radius_in, at, 0.0, at) for at in ring)
    return draw_arc("track", f"track, {inches(track_in)} from the axis point", points)


def draw_mark(kind: str, at: Vector, radius: float) -> list[Shape]:
    """The shape of one mark, lying on the ball; in the still drawing nothing of one on the far side."""
    long, right = frame(at)

    def lay(turns: Sequence[float], size_in: float) -> tuple[Vector, ...]:
        ring = (travel(at, combine(cos(t), long, sin(t), right), size_in / radius) for t in turns)
        return tuple(combine(radius, point, 0.0, point) for point in ring)

    corners = {"heavy spot": (3, 0.0), "pin": (24, 0.0), "axis point": (24, 0.0)}
    count, start = corners.get(kind, (4, pi / 4))
    size = {"axis point": _RING_IN, "pin": _MARK_IN}.get(kind, 1.25 * _MARK_IN)
    outline = lay([start + 2 * pi * i / count for i in range(count)], size)
    path = "M" + " L".join(map(_format, outline)) + " Z" if at[2] >= 0 else ""
    shapes = [Shape(kind.replace(" ", "-") if kind in corners else "mass-mark", path, kind, outline, (kind,))]
    if kind == "axis point":
        for turn in (0.0, pi / 2):
            ends = lay([turn, turn + pi], 1.5 * _RING_IN)
            shapes.append(draw_arc("axis-cross", kind, ends))
    return shapes


def follow(start: Vector, tangent: Vector, begin: float, end: float, radius: float) -> tuple[Vector, ...]:
    """Points along a great circle from `begin` to `end` radians past a place."""
    steps = (begin + (end - begin) * i / _STEPS for i in range(_STEPS + 1))
    return tuple(combine(radius, travel(start, tangent, step), 0.0, start) for step in steps)


def draw_arc(kind: str, words: str, points: tuple[Vector, ...]) -> Shape:
    """A line on the ball; its path shows what lies on the near side, cut where it goes over the edge."""
    pieces: list[list[str]] = []
    for i, point in enumerate(points):
        before = points[i - 1] if i else None
        if before and (before[2] < 0) != (point[2] < 0):
            share = before[2] / (before[2] - point[2])
            edge = _format(combine(1 - share, before, share, point))
            if point[2] < 0:
                pieces[-1].append(edge)
            else:
                pieces.append([edge])
        if point[2] >= 0:
            if not pieces or (before is None):
                pieces.append([])
            pieces[-1].append(_format(point))
    path = " ".join("M" + " L".join(piece) for piece in pieces if len(piece) > 1)
    return Shape(kind, path, words, points, (words,))


def _format(point: Vector) -> str:
    return f"{point[0]:.5f} {-point[1]:.5f}"


# Letters --------------------------------------------------------------------------------------------------------------


def _see(point: Vector, radius: float) -> Point:
    return radius * point[0], -radius * point[1]


def _outwards(at: Point) -> Point:
    size = hypot(*at)
    return (at[0] / size, at[1] / size) if size > 1e-6 else (0.0, -1.0)


def _name_spot(kind: str, at: Vector, radius: float) -> Note:
    forms = _say(kind)
    seen = _see(at, radius)
    if at[2] >= 0:
        return Note(forms, forms, (seen,), _outwards(seen), _RING_IN, (kind,), at=at, keeps_side=True)
    far: tuple[TextLine, ...] = (("on the", "words"), ("far side", "words"))
    forms = tuple((*form, *far) for form in forms)
    edge = _outwards(seen)
    return Note(forms, forms, ((edge[0] * radius, edge[1] * radius),), edge, 0.05, (kind,), at=at)


def _say(name: str) -> tuple[tuple[TextLine, ...], ...]:
    """A mark's name in one line, or each word in a line of its own."""
    whole: TextLine = (name.capitalize(), "hole-name")
    broken: tuple[TextLine, ...] = tuple((word, "hole-name") for word in whole[0].split())
    return ((whole,), broken) if len(broken) > 1 else ((whole,),)


def _note_arcs(laid: LaidOut) -> list[Note]:
    notes = []
    for end, kind in ((laid.axis, "figure"), (laid.mark, "accent")):
        angle, tangent = arc_angle(laid.pin, end), heading(laid.pin, end)
        spots = [
            travel(laid.pin, tangent, angle * share) for share in (0.5, 0.55, 0.45, 0.6, 0.4, 0.65, 0.35, 0.7, 0.3)
        ]
        near = [spot for spot in spots if spot[2] > 0.15]
        text: tuple[tuple[TextLine, ...], ...] = (((mark_words(laid.radius_in * angle), kind),),)
        if not near:
            notes.append(Note((), text, (), (0.0, 0.0), 0.0, ("arcs",), at=spots[0]))
            continue
        a, b = _see(near[0], 1.0), _see(near[1] if len(near) > 1 else laid.pin, 1.0)
        way = _outwards((b[1] - a[1], a[0] - b[0]))
        places = tuple(_see(s, laid.radius_in) for s in near)
        notes.append(Note(text, text, places, way, 0.0, ("arcs",), at=spots[0]))
    return notes


def _note_angles(laid: LaidOut) -> list[Note]:
    notes = []
    for (words, swing), angle in zip(
        _list_swings(laid), (laid.layout.axis_line_deg, laid.layout.drilling_deg), strict=True
    ):
        corner = laid.axis if words.startswith("axis") else laid.pin
        middle = swing[len(swing) // 2]
        text: tuple[tuple[TextLine, ...], ...] = (((degree_words(angle), "accent"),),)
        if middle[2] < 0.1:
            notes.append(Note((), text, (), (0.0, 0.0), 0.0, (words,), at=middle))
            continue
        at, of = _see(middle, laid.radius_in), _see(corner, laid.radius_in)
        way = _outwards((at[0] - of[0], at[1] - of[1]))
        notes.append(Note(text, text, (at,), way, 0.02, (words,), at=middle))
    return notes


def _note_lines(laid: LaidOut, track: Sequence[Shape]) -> list[Note]:
    """The names of the lines, each at an end of it; they are left out sooner than that they cross anything."""
    _, midline, axis_line = draw_lines(laid)
    named: list[tuple[str, tuple[Vector, ...]]] = [
        ("axis line", (axis_line.points[0], axis_line.points[-1])),
        ("midline", (midline.points[0], midline.points[-1])),
        *(("track", shape.points[:: _STEPS // 4]) for shape in track),
    ]
    notes = []
    for name, ends in named:
        near = tuple((x, -y) for x, y, z in ends if z > 0.3)
        if near:
            text: tuple[tuple[TextLine, ...], ...] = (((name, "quiet"),),)
            notes.append(Note(text, text, near, _outwards(near[0]), 0.0, (name,), may_drop=True))
    grip: tuple[tuple[TextLine, ...], ...] = ((("grip centre", "quiet"),),)
    return [
        Note(grip, grip, ((0.0, 0.0),), (-0.8 * side_of(laid.hand), 0.6), 0.08, ("grip centre",), may_drop=True),
        *notes,
    ]
