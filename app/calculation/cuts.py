"""Cuts: one plunge of one bit each, where it meets the ball and where its own near edge has to stand.

The finished oval's edge belongs to no bit, and the bore's edge is not the sleeve's. Plan, sheet, bench and API
therefore take every bit's place from here.
"""

import math
from dataclasses import dataclass
from typing import Literal

from app.calculation.errors import CannotBuildError
from app.calculation.grip import GRIP_CENTRE, SolvedGrip, Thumb
from app.calculation.holes import THUMB, Axis, edge_angle, pitched_axis, shift_axis
from app.calculation.ovals import OvalPlan
from app.calculation.sphere import Vector, along_across_in, heading, travel

CutHole = Literal["bore", "thumb", "middle", "ring"]


@dataclass(frozen=True)
class SleeveBore:
    """The bore an outer sleeve stands in: diameter, pitch as set (thumb signs) and depth, inches."""

    bore_in: float
    forward_in: float
    right_in: float
    depth_in: float


@dataclass(frozen=True)
class Cut:
    """One plunge of one bit. Places are (along, across), inches of arc from the grip centre.

    `axis` holds where the bit's own axis meets the ball and its direction inwards; `near_edge_in` is this bit's edge,
    never that of a finished oval; `move_in` is the table's move from the hole's first plunge, (towards the fingers, to
    the right) square to the bit; `forward_in` and `right_in` are the pitch as set at the hole's own centre, to which
    every plunge runs parallel.
    """

    hole: CutHole
    bit_in: float
    axis: Axis
    near_edge_in: tuple[float, float]
    move_in: tuple[float, float]
    forward_in: float
    right_in: float
    depth_in: float

    @property
    def centre_in(self) -> tuple[float, float]:
        return along_across_in(self.axis.centre, self.axis.radius_in)


def grip_cuts(solved: SolvedGrip, bore: SleeveBore | None, oval: OvalPlan) -> tuple[Cut, ...]:
    """Every cut of a grip in drilling order: the bore, the thumb's plunges, middle, ring; their union is the holes.

    `oval` is the plan of the thumb hole's plunges. Bore and thumb hole share their surface place, also where the bore
    runs straight and the hole is tilted in the inner. A near edge lies where the great circle from the cut's own
    centre leaves the bit: towards the grip centre for bore and thumb, towards the thumb hole's centre for a finger, or
    towards the grip centre where there is no thumb hole. `bore` and `oval` are those of the thumb, if there is one.

    Raises CannotBuildError naming the field of a bit that has no edge on the ball.
    Source: derived; checked against pyproj with scipy root finding, and against solids.
    """
    grip, thumb = solved.grip, solved.thumb
    cuts = _cut_thumb(thumb, grip.thumb, bore, oval) if thumb and grip.thumb else []
    towards = solved.anchor
    if solved.middle and (m := grip.middle):
        cuts.append(_cut("middle", solved.middle, towards, (m.cut_in, m.forward_in, m.right_in, m.depth_in)))
    if solved.ring and (r := grip.ring):
        cuts.append(_cut("ring", solved.ring, towards, (r.cut_in, r.forward_in, r.right_in, r.depth_in)))
    return tuple(cuts)


def _cut_thumb(thumb: Axis, t: Thumb, bore: SleeveBore | None, oval: OvalPlan) -> list[Cut]:
    """The bore, if there is one, and the thumb's plunges."""
    cuts = []
    if bore:
        axis = pitched_axis(thumb.centre, bore.forward_in, bore.right_in, THUMB, thumb.radius_in)
        cuts.append(_cut("bore", axis, GRIP_CENTRE, (bore.bore_in, bore.forward_in, bore.right_in, bore.depth_in)))
    first = oval.plunges[0]
    for plunge in oval.plunges:
        axis = _plunge_oval(thumb, plunge.along_in, plunge.across_in, t.oval_deg)
        move = (plunge.along_in - first.along_in, plunge.across_in - first.across_in)
        cuts.append(_cut("thumb", axis, GRIP_CENTRE, (t.hole_in, t.forward_in, t.right_in, t.depth_in), move))
    return cuts


def _cut(
    hole: CutHole,
    axis: Axis,
    towards: Vector,
    bit: tuple[float, float, float, float],
    move_in: tuple[float, float] = (0.0, 0.0),
) -> Cut:
    """A cut of `bit` (diameter, forward, right, depth) about `axis`, its near edge towards a point of the ball."""
    size_in, forward_in, right_in, depth_in = bit
    tangent = heading(axis.centre, towards)
    try:
        angle = edge_angle(axis, tangent, size_in)
    except CannotBuildError as error:
        field = {"bore": "bore.bore_in", "thumb": "thumb.hole_in"}.get(hole, f"{hole}.cut_in")
        raise CannotBuildError(field, error.message) from None
    edge = along_across_in(travel(axis.centre, tangent, angle), axis.radius_in)
    return Cut(hole, size_in, axis, edge, move_in, forward_in, right_in, depth_in)


def _plunge_oval(hole: Axis, along_in: float, across_in: float, oval_deg: float) -> Axis:
    """The axis of a plunge: parallel to the hole's, a table move away from it along the oval's clock direction."""
    turn = math.radians(oval_deg)
    return shift_axis(hole, along_in * math.cos(turn) + across_in * math.sin(turn), oval_deg)
