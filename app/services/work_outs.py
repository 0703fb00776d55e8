"""Works out frozen plans: everything that the driller needs of one grip in one ball."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from app.calculation.bores import Bore, axis_depth_in
from app.calculation.cuts import Cut, SleeveBore, grip_cuts
from app.calculation.grip import FingerName, SolvedGrip, place_in
from app.calculation.grip_solver import remeasure, solve_grip
from app.calculation.holes import THUMB, pitched_axis, tilt_between
from app.calculation.inners import InnerWall, inner_wall
from app.calculation.ovals import FINEST_CUSP_IN, OvalPlan, oval_plan
from app.calculation.sections import DepthWindow, depth_window
from app.calculation.walls import Solid, Wall, wall
from app.models.plans import Plan, PlannedBore
from app.services.old_walls import OldWall, list_old_walls

# record, ball, drilling and bench pages show the same grips
solve_once = lru_cache(maxsize=1_000)(solve_grip)
remeasure_once = lru_cache(maxsize=1_000)(remeasure)
wall_once = lru_cache(maxsize=3_000)(wall)

ASSUMED_THUMB_DEPTH_IN = 2.75  # ASSUMED until a bore is planned; common practice, no source
ASSUMED_FINGER_DEPTH_IN = 1.0  # ASSUMED if the fit has no finger depth


@dataclass(frozen=True)
class WorkedOut:
    """Everything that the driller needs of one grip in one ball, from the inputs of a plan."""

    solved: SolvedGrip
    cuts: tuple[Cut, ...]
    oval: OvalPlan
    wall: InnerWall | None
    window: DepthWindow | None
    has_sleeve: bool
    walls: dict[str, Wall]  # between two holes, such as thumb_middle
    bore_floor_in: float | None  # down the bore's axis from the surface there
    assumed_depths: tuple[str, ...]  # those of bore, thumb, middle, ring that were not given
    old_walls: tuple[OldWall, ...]  # of the holes that are in the ball already

    @property
    def edges(self) -> str:
        """Which spans are measured at the end: to the sleeve's edge, or cut spans (or reaches) without a sleeve."""
        return "sleeve" if self.has_sleeve else "cut"

    def predicted_in(self, finger: str) -> float:
        """Returns what will be measured to this finger after everything is cut flush, inches: its span or reach."""
        spans = self.solved.spans["middle" if finger == "middle" else "ring"]
        return spans.cut_in if spans.sleeve_to_cut_in is None else spans.sleeve_to_cut_in

    @property
    def fingers(self) -> tuple[FingerName, ...]:
        return tuple(self.solved.fingers)

    @property
    def predictions_in(self) -> dict[str, float]:
        """What will be measured at the end, inches: to each finger, and without a thumb hole the cut bridge too."""
        told = {str(finger): self.predicted_in(finger) for finger in self.fingers}
        if self.solved.thumb is None and self.solved.bridge_cut_in is not None:
            told["bridge"] = self.solved.bridge_cut_in
        return told

    def cuts_of(self, hole: str) -> list[Cut]:
        """Returns the cuts of `bore`, `thumb`, `middle` or `ring` in drilling order; several for an oval thumb."""
        return [cut for cut in self.cuts if cut.hole == hole]

    @property
    def depths_nobody_gave(self) -> list[tuple[str, float]]:
        """The assumed depths by hole, inches; a bore's is its collar setting, which is also the thumb's depth."""
        grip = self.solved.grip
        depths: dict[str, float] = {name: finger.depth_in for name, finger in grip.fingers.items()}
        if grip.thumb:
            depths |= {"bore": grip.thumb.depth_in, "thumb": grip.thumb.depth_in}
        return [(name, depths[name]) for name in self.assumed_depths]

    @property
    def places(self) -> dict[str, tuple[float, float]]:
        return {name: place_in(axis) for name, axis in self.solved.holes.items()}


def work_out(plan: Plan) -> WorkedOut:
    """Works out a plan, always to the same numbers; raises CannotBuildError, which no stored plan does."""
    grip = plan.grip
    solved = solve_once(grip)
    oval = _plan_oval(plan)
    return WorkedOut(
        solved=solved,
        cuts=tuple(
            c for c in grip_cuts(solved, _to_sleeve_bore(plan), oval) if c.hole != "thumb" or plan.is_thumb_drilled
        ),
        oval=oval,
        wall=calculate_wall(plan, plan.inner.outside_in) if plan.inner and not plan.owned else None,
        window=_calculate_window(plan, solved),
        has_sleeve=grip.sleeve_od_in is not None,
        walls=calculate_walls(plan, solved),
        bore_floor_in=build_solids(plan, solved)["thumb"][0].depth_in if plan.bore else None,
        assumed_depths=_list_assumed_depths(plan),
        old_walls=list_old_walls(plan.old_holes, build_solids(plan, solved)),
    )


def _plan_oval(plan: Plan) -> OvalPlan:
    """The plunges of the thumb hole; those of a round hole where there is none."""
    thumb = plan.grip.thumb
    if thumb is None:
        return oval_plan(1.0, 0.0, 0.0, FINEST_CUSP_IN)
    cusp = min(max(plan.cusp_limit_in, FINEST_CUSP_IN), thumb.hole_in / 2)  # whatever cusp an old plan holds
    return oval_plan(thumb.hole_in, thumb.oval_in, thumb.oval_deg, cusp)


def calculate_walls(plan: Plan, solved: SolvedGrip) -> dict[str, Wall]:
    """Returns the wall between each two holes of a plan, by their names, such as `thumb_middle`."""
    solids = build_solids(plan, solved)
    return {f"{a}_{b}": wall_once(solids[a], solids[b]) for a, b in combinations(solids, 2)}


def build_solids(plan: Plan, solved: SolvedGrip) -> dict[str, tuple[Solid, ...]]:
    """Returns the solids that each hole of a plan removes; the bore of a sleeve or slug precedes the thumb hole.

    Floors are flat, except of a thumb hole drilled without an inner, where the drill's point goes deeper.
    """
    grip, bore, inner = solved.grip, plan.bore, plan.inner
    solids: dict[str, tuple[Solid, ...]] = {}
    if solved.thumb and (thumb := grip.thumb):
        depth, point = thumb.depth_in, plan.point_deg
        if bore and inner:  # the drill stays off the lock, so within the bore
            depth, point = min(inner.length_in, bore.depth_in), 180.0
        hole = Solid(solved.thumb, thumb.hole_in, depth, thumb.oval_in, thumb.oval_deg, point)
        solids["thumb"] = (*((_build_bore_solid(bore, solved),) if bore else ()), hole)
    for name, axis in solved.fingers.items():
        solids[name] = (Solid(axis, grip.fingers[name].cut_in, grip.fingers[name].depth_in),)
    return solids


def _build_bore_solid(bore: PlannedBore, solved: SolvedGrip) -> Solid:
    """Returns the bore of a plan: its floor lies a collar setting below the highest point left of the surface."""
    thumb = solved.require_thumb()
    pitch = (bore.forward_in, bore.right_in)
    shape = Bore(solved.grip.circumference_in, bore.bore_in, bore.depth_in, *pitch)
    axis = pitched_axis(thumb.centre, *pitch, THUMB, thumb.radius_in)
    return Solid(axis, bore.bore_in, axis_depth_in(shape))


def _calculate_window(plan: Plan, solved: SolvedGrip) -> DepthWindow | None:
    """Returns the travel of the through-drill; None with no inner to drill, or if lock depth or length is unknown.

    Both are those of a sleeve as high as planned: slug and lock lie as much lower as it came to sit.
    """
    system, bore = plan.system, plan.bore
    if not (
        plan.is_thumb_drilled and plan.inner and bore and system and system.lock_depth_in and system.inner_length_in
    ):
        return None
    thumb = solved.grip.require_thumb()
    tilt = tilt_between(solved.require_thumb(), _build_bore_solid(bore, solved).axis, thumb.oval_deg)
    least_sunk, most_sunk = bore.sunk_in
    return depth_window(
        system.inner_length_in + most_sunk,
        system.lock_depth_in + least_sunk,
        thumb.hole_in,
        plan.point_deg,
        tilt.deg,
        thumb.oval_in * tilt.share_along,
    )


def _list_assumed_depths(plan: Plan) -> tuple[str, ...]:
    """Returns the holes whose depths were not given."""
    bore = plan.bore
    if plan.grip.thumb is None:
        return plan.assumed_depths
    assumed = ["thumb"] if not bore else ["bore"] if bore.is_depth_assumed else []
    return (*assumed, *plan.assumed_depths)


def calculate_wall(plan: Plan, outside_in: float) -> InnerWall | None:
    """Returns the least wall of an inner of this outside diameter around a plan's thumb hole; None without inners."""
    grip, bore, inner = plan.grip, plan.bore, plan.inner
    if bore is None or inner is None:
        return None
    thumb = grip.require_thumb()
    return inner_wall(
        grip.circumference_in,
        outside_in,
        thumb.hole_in,
        inner.length_in,
        thumb.oval_in,
        thumb.oval_deg,
        thumb.forward_in - bore.forward_in,
        thumb.right_in - bore.right_in,
    )


def _to_sleeve_bore(plan: Plan) -> SleeveBore | None:
    bore = plan.bore
    return SleeveBore(bore.bore_in, bore.forward_in, bore.right_in, bore.depth_in) if bore else None
