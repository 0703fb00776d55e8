"""Marking strips of a layout: the arcs between pin, mass mark, axis point and grip centre, laid out flat.

They are of the kind in `strips`: each lies along one great circle, and lengths are inches of arc on the ball. A tick at
each whole inch shows how true the print is, and is where a strip that is longer than the page may be parted.
"""

import math

from app.calculation.grip import GRIP_CENTRE
from app.calculation.layouts import SAME_PLACE, LaidOut
from app.calculation.sphere import Vector, arc_angle, dot, frame, heading
from app.calculation.strips import Strip, Tick

_MIDLINE: Vector = (0.0, 1.0, 0.0)
_CENTRE_LINE: Vector = (1.0, 0.0, 0.0)
_APART_IN = 0.125  # a whole inch nearer to another tick than this is left out


def lay_layout_strips(laid: LaidOut, mark_name: str = "mass mark") -> tuple[Strip, ...]:
    """Returns the strips of a layout in the order in which its marking list uses them, then the two of its check arcs.

    Pin to axis point; midline to axis point along the axis line; grip centre to axis line along the midline; pin to
    mass mark; grip centre to pin and to mass mark, which a ball may have another mark for: `mark_name`. Zero is at the
    start, and the ticks are the two ends, the lines that are crossed and whole inches. A strip between places that are
    one, or opposite, is left out. Source: derived; checked by walking pyproj's geodesics.
    """
    foot = laid.foot
    ends = (
        ("pin", laid.pin, "axis point", laid.axis),
        ("midline", foot, "axis point", laid.axis),
        ("grip centre", GRIP_CENTRE, "axis line", foot),
        ("pin", laid.pin, mark_name, laid.mark),
        ("grip centre", GRIP_CENTRE, "pin", laid.pin),
        ("grip centre", GRIP_CENTRE, mark_name, laid.mark),
    )
    return tuple(
        _lay_strip(laid, start, one, end, other)
        for start, one, end, other in ends
        if SAME_PLACE < arc_angle(one, other) < math.pi - SAME_PLACE
    )


def _lay_strip(laid: LaidOut, start: str, one: Vector, end: str, other: Vector) -> Strip:
    tangent, whole = heading(one, other), arc_angle(one, other)
    lines = {"midline": _MIDLINE, "centre line": _CENTRE_LINE, "axis line": frame(laid.axis)[1]}
    ticks = [_tick_end(start, 0.0), _tick_end(end, laid.radius_in * whole)]
    for name, pole in lines.items():
        rise, height = dot(tangent, pole), dot(one, pole)
        if max(abs(rise), abs(height)) < SAME_PLACE:
            continue  # the strip lies along it
        angle = math.atan2(-height, rise) % math.pi
        if SAME_PLACE < angle < whole - SAME_PLACE:
            ticks.append(Tick(name, laid.radius_in * angle, "line"))
    taken = [tick.at_in for tick in ticks]
    inches = (i for i in range(1, math.ceil(taken[1])) if min(abs(i - at_in) for at_in in taken) >= _APART_IN)
    ticks += [Tick(f"{i} in", float(i), "line") for i in inches]
    return Strip(start, end, tuple(sorted(ticks, key=lambda tick: tick.at_in)))


def _tick_end(name: str, at_in: float) -> Tick:
    return Tick(name, at_in, "line" if name in ("midline", "axis line") else "centre")
