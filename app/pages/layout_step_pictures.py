"""Each step of a marking list on the ball: what is drawn by then stands back, what the step adds is lit."""

from dataclasses import replace
from functools import lru_cache

from app.calculation.grip import GRIP_CENTRE
from app.calculation.layouts import SAME_PLACE, LaidOut
from app.calculation.sphere import Vector, arc_angle, heading
from app.pages.layout_pictures import draw_arc, draw_arcs, draw_lines, draw_mark, follow, list_spots
from app.pages.pictures import GripPicture, Shape


@lru_cache(maxsize=500)
def draw_step(laid: LaidOut, step: int, mark_name: str = "mass mark") -> GripPicture:
    """Draws what is on the ball after a step of the marking list (from 0), without letters; what it adds is `lit`."""
    pin_line = draw_arcs(laid, mark_name)
    centre_line, midline, axis_line = draw_lines(laid)
    spots = dict(list_spots(laid, None, mark_name))
    marks = {kind: draw_mark(kind, at, laid.radius_in) for kind, at in spots.items()}
    foot = _draw_dot(laid.foot, laid.radius_in, "midline on the axis line")
    grip = _draw_dot(GRIP_CENTRE, laid.radius_in, "grip centre")
    added: tuple[list[Shape], ...] = (
        [pin_line[0], pin_line[3], *marks["axis point"]],
        [pin_line[2], axis_line],
        [*_step_arc(laid.axis, laid.foot, laid.radius_in), foot],
        [midline, *_step_arc(laid.foot, GRIP_CENTRE, laid.radius_in), grip],
        [replace(centre_line, kind="axis-line")],
    )
    before = [pin_line[1], *marks["pin"], *marks[mark_name], *(shape for own in added[:step] for shape in own)]
    now = [replace(shape, parts=("now",)) for shape in added[step]]
    shapes = (*(replace(shape, parts=()) for shape in before), *now)
    return GripPicture(laid.radius_in, shapes, (), f"Step {step + 1} on the ball")


def _step_arc(one: Vector, other: Vector, radius: float) -> list[Shape]:
    """The arc that a step measures; none between places that are one, where its dot alone is drawn."""
    angle = arc_angle(one, other)
    if angle < SAME_PLACE:
        return []
    return [draw_arc("span", "along", follow(one, heading(one, other), 0.0, angle, radius))]


def _draw_dot(at: Vector, radius: float, words: str) -> Shape:
    return replace(draw_mark("pin", at, radius)[0], kind="dot", words=words, parts=(words,))
