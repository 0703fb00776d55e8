"""What the drawing of a ball says in letters, and beside what each of it would like to stand; inches, y down."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sin

from app.calculation.grip import FingerName, SolvedGrip
from app.calculation.holes import Axis, edge_angle, facing, surface_point
from app.calculation.sphere import Vector, arc_angle, combine, dot, frame, heading, travel, unit
from app.measures.wording import clock_words, mark_words
from app.models.old_holes import PlannedOldHole
from app.pages.ground import Point

TextLine = tuple[str, str]  # text, and its kind: hole-name, figure, pitch, lateral, words, accent, quiet
Form = tuple[TextLine, ...]
_STRAIGHT_IN = 0.00005
_CUT_LINE_HALF_IN = 0.8
_CLEAR_IN = 0.1


@dataclass(frozen=True)
class Note:
    """One label before it is set in a size: ways to break it into lines, and those of a small or a far drawing.

    It would like to stand `reach` off one of `places` in the direction `way`; `parts` name what it tells of. `at` is
    the unit vector of what it names, where its places do not tell: they are of the near side. Without forms it is told
    only when the ball is turned, or by what is small. One that `keeps_side` stands only on the side of its `way`.
    """

    forms: tuple[Form, ...]
    short: tuple[Form, ...]
    places: tuple[Point, ...]
    way: Point
    reach: float = 0.0
    parts: tuple[str, ...] = ()
    may_drop: bool = False
    at: Vector | None = None
    keeps_side: bool = False


def note_grip(
    solved: SolvedGrip,
    notch_deg: float | None,
    old: Sequence[tuple[PlannedOldHole, Axis]],
    is_from_sleeve: bool = False,
) -> list[Note]:
    """Lists the notes of a grip, those that can stand in the fewest places first; `draw_grip` has the parameters."""
    notes = [_note_finger(solved, name) for name in solved.fingers]
    notes += [_note_span(solved, name, is_from_sleeve) for name in solved.fingers]
    if solved.bridge_cut_in is not None:
        notes.append(_note_bridge(solved))
    side = _find_thumb_side(solved)
    if solved.thumb:
        notes += [_note_thumb(solved, side), _note_cut_line(solved, -side), *_note_notch(solved, notch_deg)]
        notes += [*_note_oval(solved, side), *_note_sleeve(solved, -side)]
    else:
        palm = _say("palm’s plus", "quiet")
        notes.append(Note(palm, palm, ((0.3, 0.0),), (0.8, 0.6), 0.0, ("plus", "grip centre", "lines")))
    notes += [_note_old_hole(hole, axis) for hole, axis in old]
    if solved.thumb:
        notes.append(
            Note((), _say("grip", "words", "centre"), ((0.0, 0.0),), (0.8, -0.6), 0.08, ("grip centre", "lines"))
        )
    return notes


def note_old_holes(
    old: Sequence[tuple[PlannedOldHole, Axis]], arcs: Sequence[tuple[Sequence[Vector], float]]
) -> list[Note]:
    """Lists the notes of a ball's old holes about its mark, with the lengths of these arcs."""
    notes = [_note_old_hole(hole, axis) for hole, axis in old]
    for points, length in arcs:
        text = _say(mark_words(length), "figure")
        places = tuple(_see(points[i]) for i in (8, 6, 10, 4, 12, 2, 14))
        (ax, ay), (bx, by) = _see(points[0]), _see(points[-1])
        size = hypot(bx - ax, by - ay)
        notes.append(Note(text, text, places, (-abs(by - ay) / size, -abs(bx - ax) / size), 0.0, ("spans",)))
    mark = _say("mark", "quiet")
    return [*notes, Note(mark, mark, ((-0.2, 0.0),), (-0.8, 0.6), 0.0, ("mark",))]


def _say(words: str, kind: str, figure: str = "") -> tuple[Form, ...]:
    """Words and their figure in one line, or one below the other."""
    if not figure:
        return (((words, kind),),)
    return (((f"{words} {figure}", kind),), ((words, kind), (figure, kind)))


def _see(point: Vector) -> Point:
    return point[0], -point[1]


def _find_thumb_side(solved: SolvedGrip) -> int:
    """On which side of the thumb hole its name stands: away from the palm, so that the two hands are mirrored."""
    return -1 if solved.grip.hand == "right" else 1


def _say_pitch(forward_in: float, right_in: float) -> tuple[TextLine, ...]:
    lines: list[TextLine] = []
    if abs(forward_in) >= _STRAIGHT_IN:
        lines.append((f"{mark_words(abs(forward_in))} {'forward' if forward_in > 0 else 'reverse'}", "pitch"))
    if abs(right_in) >= _STRAIGHT_IN:
        lines.append((f"{mark_words(abs(right_in))} {'right' if right_in > 0 else 'left'}", "lateral"))
    return tuple(lines) or (("straight", "lateral"),)


def _note_finger(solved: SolvedGrip, name: FingerName) -> Note:
    finger, axis = solved.grip.fingers[name], solved.fingers[name]
    outwards = -1 if axis.centre[0] < -1e-9 else 1
    sizes = _say(mark_words(finger.hole_in), "words")
    if finger.hole_in < finger.cut_in:
        sizes = _say(mark_words(finger.hole_in), "words", f"in {mark_words(finger.cut_in)}")
    named, pitch = (name.capitalize(), "hole-name"), _say_pitch(finger.forward_in, finger.right_in)
    forms = tuple((named, *size, *pitch) for size in sizes)
    at = _see(axis.point(0.0))
    parts = (name, f"{name} bore", f"{name} hole", f"{name} pitch", "inserts", "pitches")
    return Note(forms, ((named, *pitch),), (at,), (outwards, 0.0), finger.cut_in / 2, parts)


def _note_thumb(solved: SolvedGrip, side: int) -> Note:
    thumb = solved.grip.require_thumb()
    named, pitch, size = (
        ("Thumb", "hole-name"),
        _say_pitch(thumb.forward_in, thumb.right_in),
        mark_words(thumb.hole_in),
    )
    forms = ((named, (size, "words"), *pitch), ((f"Thumb {size}", "hole-name"), *pitch))
    parts = ("thumb", "thumb hole", "thumb bore", "bore", "thumb pitch", "pitches")
    at, reach = _find_thumb(solved)
    return Note(forms, ((named, *pitch),), (at,), (side, 0.0), reach, parts)


def _note_oval(solved: SolvedGrip, side: int) -> list[Note]:
    thumb = solved.grip.require_thumb()
    if not thumb.oval_in:
        return []
    at, reach = _find_thumb(solved)
    oval = _say(f"oval + {mark_words(thumb.oval_in)}", "words", f"at {_say_clock(thumb.oval_deg)}")
    return [Note(oval, oval, (at,), (side * 0.6, 0.8), reach, ("thumb", "thumb hole", "oval"))]


def _find_thumb(solved: SolvedGrip) -> tuple[Point, float]:
    """The middle of the thumb hole as it is seen, and how far it or its sleeve reaches from there."""
    thumb = solved.grip.require_thumb()
    reach = max(solved.grip.sleeve_od_in or 0.0, thumb.hole_in + thumb.oval_in) / 2
    return _see(solved.require_thumb().point(0.0)), reach


def _say_clock(degrees: float) -> str:
    return clock_words(degrees).partition(" (")[0]


def _note_span(solved: SolvedGrip, name: FingerName, is_from_sleeve: bool) -> Note:
    """The span beside its arc, on the outer side; of one finger on the right."""
    axis, anchor = solved.fingers[name], solved.anchor
    outwards = -1 if axis.centre[0] < -1e-9 else 1
    tangent, whole = heading(anchor, axis.centre), arc_angle(anchor, axis.centre)
    shares = (0.53, 0.5, 0.47, 0.56, 0.44, 0.59, 0.41, 0.62, 0.38, 0.65, 0.35, 0.31)
    places = tuple(_see(combine(axis.radius_in, travel(anchor, tangent, whole * t), 0.0, anchor)) for t in shares)
    text = _say(mark_words(solved.spans[name].tell(is_from_sleeve)), "figure")
    return Note(text, text, places, (outwards, 0.0), 0.0, ("spans", f"{name} span"))


def follow_bridge(solved: SolvedGrip) -> tuple[Vector, Vector]:
    """The middle of the bridge, and the place straight ahead of it that both fingers leave free; inches."""
    (a, ra), (b, rb) = ((solved.fingers[n], solved.grip.fingers[n].cut_in) for n in solved.fingers)
    there, back = facing(a.centre, b.centre)
    edges = travel(a.centre, there, edge_angle(a, there, ra)), travel(b.centre, back, edge_angle(b, back, rb))
    middle, radius = unit(combine(1.0, edges[0], 1.0, edges[1])), a.radius_in
    ahead, _ = frame(middle)
    clear = max(radius * dot(axis.centre, ahead) + cut / 2 for axis, cut in ((a, ra), (b, rb))) + _CLEAR_IN
    return combine(radius, middle, 0.0, middle), combine(radius, travel(middle, ahead, clear / radius), 0.0, middle)


def _note_bridge(solved: SolvedGrip) -> Note:
    """The bridge, at the end of the line that leads out of it between the two fingers."""
    text = _say(mark_words(solved.bridge_cut_in or 0.0), "accent", "bridge")
    return Note(text, text, (_see(follow_bridge(solved)[1]),), (0.0, -1.0), 0.0, ("bridge",))


def _note_cut_line(solved: SolvedGrip, side: int) -> Note:
    thumb, half = solved.require_thumb(), solved.half_span_in or 0.0
    x, y = thumb.radius_in * thumb.centre[0], thumb.radius_in * sin(half / thumb.radius_in)
    places = ((x + side * _CUT_LINE_HALF_IN, y), (x - side * _CUT_LINE_HALF_IN, y))
    text = _say("cut line", "accent", mark_words(half))
    return Note(text, text, places, (side, 0.0), 0.0, ("cut line", "lines"))


def _note_notch(solved: SolvedGrip, notch_deg: float | None) -> list[Note]:
    outside = solved.grip.sleeve_od_in
    if not outside or not solved.sleeve or notch_deg is None:
        return []
    at, tip = _see(solved.sleeve.point(0.0)), _see(surface_point(solved.sleeve, outside / 2, notch_deg))
    size = hypot(tip[0] - at[0], tip[1] - at[1]) or 1.0
    text = _say("notch", "words", _say_clock(notch_deg))
    return [Note(text, text, (tip,), ((tip[0] - at[0]) / size, (tip[1] - at[1]) / size), 0.0, ("notch",))]


def _note_sleeve(solved: SolvedGrip, side: int) -> list[Note]:
    outside = solved.grip.sleeve_od_in
    if not outside or not solved.sleeve:
        return []
    text, at = _say("sleeve", "quiet", mark_words(outside)), _see(solved.sleeve.point(0.0))
    return [Note(text, text, (at,), (side * 0.8, 0.6), outside / 2, ("sleeve", "thumb bore", "bore"))]


def _note_old_hole(hole: PlannedOldHole, axis: Axis) -> Note:
    text = _say("old", "quiet", hole.name)
    outwards = -1 if axis.centre[0] < 0 else 1
    return Note(text, text, (_see(axis.point(0.0)),), (outwards, 0.0), hole.shape.cut_in / 2, ("old holes",), True)
