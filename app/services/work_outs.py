"""A frozen plan worked out: everything the driller needs of one grip in one ball."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from app.calculation.cuts import Cut, SleeveBore, grip_cuts
from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb, place_in, remeasured, solve_grip
from app.calculation.inners import InnerWall, inner_wall
from app.calculation.ovals import OvalPlan, oval_plan
from app.calculation.sections import DepthWindow, depth_window

# the same grips are shown again and again: on the record, the ball, the drilling, the bench
solve_once = lru_cache(maxsize=1_000)(solve_grip)
remeasure_once = lru_cache(maxsize=1_000)(remeasured)


@dataclass(frozen=True)
class WorkedOut:
    """Everything the driller needs of one grip in one ball, from the frozen inputs of a plan."""

    solved: SolvedGrip
    cuts: tuple[Cut, ...]
    oval: OvalPlan
    wall: InnerWall | None
    window: DepthWindow | None
    has_sleeve: bool

    @property
    def edges(self) -> str:
        """Which spans are measured at the end: to the sleeve's edge, or cut spans where there is none."""
        return "sleeve" if self.has_sleeve else "cut"

    def predicted_in(self, finger: str) -> float:
        """The span that will be measured to this finger after everything is cut flush."""
        spans = self.solved.middle_spans if finger == "middle" else self.solved.ring_spans
        return spans.cut_in if spans.sleeve_to_cut_in is None else spans.sleeve_to_cut_in

    def cuts_of(self, hole: str) -> list[Cut]:
        """The cuts of `bore`, `thumb`, `middle` or `ring` in drilling order; more than one for an oval thumb."""
        return [cut for cut in self.cuts if cut.hole == hole]

    @property
    def places(self) -> dict[str, tuple[float, float]]:
        return {d: place_in(getattr(self.solved, d)) for d in ("thumb", "middle", "ring")}


def work_out(plan: dict[str, Any]) -> WorkedOut:
    """Works a frozen plan out again: the same numbers as on the day it was made."""
    grip = _grip(plan["grip"])
    solved = solve_once(grip)
    wall = wall_of(plan, grip, plan["inner_od_in"]) if plan.get("inner_od_in") else None
    window = None
    system = plan.get("system")
    if plan.get("inner_od_in") and system and system["lock_depth_in"] and system["inner_length_in"]:
        window = depth_window(
            system["inner_length_in"], system["lock_depth_in"], grip.thumb.hole_in, float(plan["point_deg"])
        )
    oval = oval_plan(grip.thumb.hole_in, grip.thumb.oval_in, grip.thumb.oval_deg, plan["cusp_limit_in"])
    cuts = grip_cuts(solved, _bore(plan), oval)
    return WorkedOut(solved, cuts, oval, wall, window, grip.sleeve_od_in is not None)


def wall_of(plan: dict[str, Any], grip: Grip, inner_od_in: float) -> InnerWall:
    """Least wall that an inner of this outside diameter would leave around a plan's thumb hole."""
    thumb, bore = grip.thumb, plan["bore"]
    return inner_wall(
        grip.circumference_in,
        inner_od_in,
        thumb.hole_in,
        plan["inner_length_in"],
        thumb.oval_in,
        thumb.oval_deg,
        thumb.forward_in - bore["forward_in"],
        thumb.right_in - bore["right_in"],
    )


def _bore(plan: dict[str, Any]) -> SleeveBore | None:
    bore = plan["bore"]
    return SleeveBore(bore["bore_in"], bore["forward_in"], bore["right_in"], bore["depth_in"]) if bore else None


def _grip(frozen: dict[str, Any]) -> Grip:
    holes = {
        "thumb": Thumb(**frozen["thumb"]),
        "middle": Finger(**frozen["middle"]),
        "ring": Finger(**frozen["ring"]),
    }
    sleeve_pitch = frozen["sleeve_pitch_in"]
    return Grip(**{**frozen, **holes, "sleeve_pitch_in": tuple(sleeve_pitch) if sleeve_pitch else None})
