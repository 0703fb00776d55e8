"""New holes of a plan against the holes that are in its ball already: walls, plugs that are cut into, and checks."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from app.calculation.old_holes import share_of_wall
from app.calculation.walls import Solid, Wall, wall
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan

wall_once = lru_cache(maxsize=1_000)(wall)
share_once = lru_cache(maxsize=1_000)(share_of_wall)


@dataclass(frozen=True)
class OldWall:
    """An old hole of a plan with the wall to each new hole, by its name, and the share of each one's side within it.

    The side is that of the widest bit, all round and down to its floor: a bore's where there is one.
    """

    hole: PlannedOldHole
    walls: dict[str, Wall]
    shares: dict[str, float]

    @property
    def cut(self) -> list[str]:
        """The new holes that break into it."""
        return [name for name, left in self.walls.items() if not left.least_in]

    @property
    def nearest(self) -> list[str]:
        """The new holes that break into it, else the one that comes nearest."""
        return self.cut or [min(self.walls, key=lambda name: self.walls[name].least_in)]

    def describe(self, name: str) -> str:
        """Returns the wall to a new hole in words: `0.513 in`, or from where on, and how far, that goes into it.

        Over what is not known of the old hole it says ASSUMED.
        """
        left, assumed = self.walls[name], ", ASSUMED" if self.hole.unknown else ""
        if left.meets_from_in is None:
            return f"{left.least_in:.3f} in{assumed}"
        what = "goes into the plug" if self.hole.is_filled else "breaks into it"
        return f"{what} from {left.meets_from_in:.2f} in down, with {self.shares[name]:.0%} of its wall{assumed}"

    @property
    def is_wait_over(self) -> bool | None:
        """Whether its filling may be drilled today; None where nobody knows."""
        return None if self.hole.drill_from is None else self.hole.drill_from <= date.today()


@dataclass(frozen=True)
class OldFinding:
    """A check of one old hole, before it is a line of the checks: inches, and `holds` None where unknown."""

    what: str
    value_in: float | None
    limit_words: str
    holds: bool | None
    reason: str
    change: str


def build_old_solid(hole: PlannedOldHole, radius_in: float) -> Solid:
    """Returns the cylinder of an old hole, flat at its floor."""
    return Solid(hole.shape.find_axis(radius_in), hole.shape.cut_in, hole.shape.depth_in)


def list_old_walls(old_holes: Sequence[PlannedOldHole], new: Mapping[str, tuple[Solid, ...]]) -> tuple[OldWall, ...]:
    """Returns every old hole with its walls to the new holes, by their names."""
    found = []
    for hole in old_holes:
        old = build_old_solid(hole, next(iter(new.values()))[0].axis.radius_in)
        walls = {name: wall_once(solids, (old,)) for name, solids in new.items()}
        shares = {name: share_once(new[name][0], old) for name, left in walls.items() if not left.least_in}
        found.append(OldWall(hole, walls, shares))
    return tuple(found)


def list_plugs_cut(old_walls: Sequence[OldWall]) -> dict[str, list[PlannedOldHole]]:
    """Returns the filled holes that each new hole is drilled into, by its name."""
    plugs = [told for told in old_walls if told.hole.is_filled]
    names = [name for told in plugs for name in told.cut]
    return {name: [told.hole for told in plugs if name in told.cut] for name in names}


def list_cautions(plugs: list[PlannedOldHole]) -> list[str]:
    """Returns the cautions of a cut into plugs: common practice, no source; the makers' instructions decide."""
    lines = []
    for hole in plugs:
        what = f"the plug of the old {hole.name}" + (f" ({hole.filling})" if hole.filling else "")
        day = f"not before {hole.drill_from.isoformat()}" if hole.drill_from else "nobody said when it is cured"
        lines.append(
            f"This cut goes into {what}, {day}. Fine dust of resin: extraction on, a mask that fits. Adhesive and "
            "uncured resin off the skin; solvents in fresh air, no flame or spark. The maker's instructions decide."
        )
    return lines


def find_problems(old_walls: Sequence[OldWall], plan: Plan, least_in: float, limit_words: str) -> list[OldFinding]:
    """Returns the checks of the old holes: walls that are too thin, else the nearest, and whether a plug is cured."""
    found: list[OldFinding] = []
    for told in old_walls:
        thin = [name for name, left in told.walls.items() if left.least_in < least_in - 1e-9]
        nearest = min(told.walls, key=lambda name: told.walls[name].least_in)
        found += [_check_wall(told, name, least_in, limit_words, plan) for name in thin or [nearest]]
        if told.hole.is_filled and thin:
            found.append(_check_cure(told))
    return found


def _check_wall(told: OldWall, name: str, least_in: float, limit_words: str, plan: Plan) -> OldFinding:
    hole, left = told.hole, told.walls[name]
    new = "bore" if name == "thumb" and plan.bore else f"{name} hole" if name == "thumb" else name
    holds: bool | None = left.least_in >= least_in - 1e-9
    reason, change = ", ".join(_describe_wall(told, name, new)), "Place the grip elsewhere on the ball."
    if hole.unknown:
        holds = None if holds else False
        reason += f"; not known of the old hole: {', '.join(hole.unknown)}"
        change += " Or measure the old hole."
    elif hole.is_filled:
        change += " Or say with a reason that it is drilled so knowingly."
    kind = "plug of the old" if hole.is_filled else "open old"
    return OldFinding(f"Wall, {new} to the {kind} {hole.name}", left.least_in, limit_words, holds, reason, change)


def _describe_wall(told: OldWall, name: str, new: str) -> Iterator[str]:
    hole, left = told.hole, told.walls[name]
    if left.meets_from_in is None:
        yield "beside the plug" if hole.is_filled else "at the closest place inside the ball"
    else:
        into = (
            f"drilled into the plug{f' of {hole.filling}' if hole.filling else ''}"
            if hole.is_filled
            else "they break into each other"
        )
        yield f"{into} from {left.meets_from_in:.2f} in down"
        yield f"{told.shares[name]:.0%} of the wall of the {new} is {'plug' if hole.is_filled else 'missing'}"


def _check_cure(told: OldWall) -> OldFinding:
    day = told.hole.drill_from
    if day is None:
        what = "nobody said from which day its maker lets it be drilled"
        return OldFinding(
            f"Cure of the plug of the old {told.hole.name}", None, "", None, what, "Ask, and write it down."
        )
    reason = f"it may be drilled from {day.isoformat()}, as typed from its maker's instructions, which decide"
    limit = f"from {day.isoformat()}"
    return OldFinding(f"Cure of the plug of the old {told.hole.name}", None, limit, told.is_wait_over, reason, "Wait.")
