"""The holes of a plan as the balance counts them: what each bit takes out of the ball, and what is put back in.

A sleeve, inner or slug stands on the floor of its bore and is trimmed at the ball's surface. Neglected, as far below
the doubt of the densities: the tilt of a thumb hole in its bore (at most MOST_BY_TILT_OZ each way), play and glue
between the parts, a shim, the sides of an oval below an inner's end, and how far the inside of a finger insert stands
off its axis. Two holes that break into each other count twice where they overlap.
"""

from dataclasses import dataclass

from app.calculation.bores import Bore, collar_depth_in
from app.calculation.removed import BalanceHole, Fill
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan, PlannedBore
from app.services.work_outs import WorkedOut

SLEEVE_OZ_IN3 = 0.68  # ASSUMED: sleeve, inner and slug, no source
INSERT_OZ_IN3 = 0.60  # ASSUMED: finger inserts, no source
MOST_BY_TILT_OZ = 0.04  # what a thumb hole pitched up to 3/8 in otherwise than its bore is counted wrong by, each way
_SAME_IN = 1e-6


@dataclass(frozen=True)
class NamedHole:
    """A hole of a plan by its name: `thumb bore`, `thumb hole`, `middle`, `ring`, or what an old hole is called."""

    name: str
    hole: BalanceHole


def list_holes(plan: Plan, worked: WorkedOut, density_oz_in3: float, has_old: bool = True) -> list[NamedHole]:
    """Returns what is drilled into the ball, thumb first; without `has_old` the ball was weighed with its old holes."""
    found = [_build_thumb(plan, worked, density_oz_in3)] if plan.grip.thumb else []
    for name, finger in plan.grip.fingers.items():
        fills = _fill_finger(finger.cut_in, finger.hole_in, finger.oval_in, finger.oval_deg)
        along, across = worked.places[name]
        hole = BalanceHole(
            along, across, finger.forward_in, finger.right_in, "finger", finger.cut_in, finger.depth_in, density_oz_in3,
            fills,
        )  # fmt: skip
        found.append(NamedHole(name, hole))
    return found + list_old_holes(plan, density_oz_in3) if has_old else found


def list_old_holes(plan: Plan, density_oz_in3: float) -> list[NamedHole]:
    """Returns what was drilled into the ball before."""
    return [_build_old(old, plan.grip.circumference_in, density_oz_in3) for old in plan.old_holes]


def _build_thumb(plan: Plan, worked: WorkedOut, density_oz_in3: float) -> NamedHole:
    thumb, bore = plan.grip.require_thumb(), plan.bore
    along, across = worked.places["thumb"]
    if bore is None:
        hole = BalanceHole(
            along, across, thumb.forward_in, thumb.right_in, "thumb", thumb.hole_in, thumb.depth_in, density_oz_in3,
            (), thumb.oval_in, thumb.oval_deg,
        )  # fmt: skip
        return NamedHole("thumb hole", hole)
    hole = BalanceHole(
        along, across, bore.forward_in, bore.right_in, "thumb", bore.bore_in, bore.depth_in, density_oz_in3,
        _fill_bore(plan, bore),
    )  # fmt: skip
    return NamedHole("thumb bore", hole)


def _fill_bore(plan: Plan, bore: PlannedBore) -> tuple[Fill, ...]:
    """The sleeve round an inner, the inner or slug with the thumb hole in it, and what is left under that hole."""
    thumb = plan.grip.require_thumb()
    outside_in = min(plan.grip.sleeve_od_in or bore.bore_in, bore.bore_in)
    fills, hole_depth_in = [], thumb.depth_in
    if plan.inner:
        hole_depth_in = plan.inner.length_in
        if plan.inner.outside_in < outside_in - _SAME_IN:
            fills.append(Fill(outside_in, SLEEVE_OZ_IN3, plan.inner.outside_in))
            outside_in = plan.inner.outside_in
    fills.append(Fill(outside_in, SLEEVE_OZ_IN3, thumb.hole_in, None, thumb.oval_in, thumb.oval_deg))
    if (under_in := bore.depth_in - hole_depth_in) > _SAME_IN:
        fills.append(Fill(thumb.hole_in, SLEEVE_OZ_IN3, 0.0, under_in))
    return tuple(fills)


def _fill_finger(cut_in: float, inside_in: float, oval_in: float, oval_deg: float) -> tuple[Fill, ...]:
    """The insert of a finger hole; none where the hole is drilled to its size."""
    has_insert = inside_in + oval_in < cut_in - _SAME_IN
    return (Fill(cut_in, INSERT_OZ_IN3, inside_in, None, oval_in, oval_deg),) if has_insert else ()


def _build_old(old: PlannedOldHole, circumference_in: float, density_oz_in3: float) -> NamedHole:
    """An old hole, its depth down the axis taken to the collar setting; a plug counts as dense as the ball."""
    of = old.shape
    depth_in = collar_depth_in(Bore(circumference_in, of.cut_in, of.depth_in, of.forward_in, of.right_in), "crown")
    fills = (Fill(of.cut_in, density_oz_in3),) if old.is_filled else ()
    hole = BalanceHole(
        of.along_in, of.across_in, of.forward_in, of.right_in, of.digit, of.cut_in, depth_in, density_oz_in3, fills
    )
    return NamedHole(f"old {old.name}", hole)
