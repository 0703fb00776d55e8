"""Checks before the first cut, each with its number, limit, reason, what to change, and a fix that was tried.

A plan with a failing check goes on only with a reason, wherever it is kept, confirmed or finished (`require_reason`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.errors import InvalidError
from app.measures.wording import inches
from app.models.plans import Plan, PlannedLimit, PlannedLimits, PlannedSystem
from app.services.finger_depths import find_deepest_in
from app.services.old_holes import UNRECORDED
from app.services.old_walls import find_problems
from app.services.unsettled import OUTSIDE
from app.services.work_outs import WorkedOut, calculate_wall, work_out

_FINGERS_CHANGE = "Drill the fingers less deep, or aim them apart."
_THUMB_CHANGE = "Bore less deep."

# What of a plan may be unknown and unsettles everything that is worked out from it.
UNSETTLING = {
    "circumference": "the ball's circumference is unknown",
    "bore pitch": "the pitch that the bore came out at is unknown",
    "thumb pitch": "the pitch that the thumb hole came out at is unknown",
    "middle pitch": "the pitch that the middle hole came out at is unknown",
    "ring pitch": "the pitch that the ring hole came out at is unknown",
    "oval": "whether the thumb hole has its oval is unknown",
}
FIXED_FIELDS = {"inner", "point", "finger_depth"}


@dataclass(frozen=True)
class Fix:
    """A change of one field of the plan with which the check holds."""

    field: str
    value: str
    words: str


@dataclass(frozen=True)
class Check:
    """One check: `holds` is None where a number is unknown. Values are inches."""

    what: str
    value_in: float | None
    limit_in: float | None
    limit_words: str
    holds: bool | None
    reason: str
    change: str = ""
    fix: Fix | None = None


def require_reason(plan: Plan, worked: WorkedOut, reason: str, conflicts: Sequence[str] = ()) -> None:
    """Raises InvalidError at `reason` if a check fails, or a hole is in conflict with the layout, and none is given."""
    failing = [check.what.lower() for check in pick_failing(run_checks(plan, worked))]
    if (failing or conflicts) and not reason:
        names = ", ".join([*failing, *conflicts])
        raise InvalidError.at("reason", f"A check fails ({names}). Mend the plan, or give a reason to go on with it.")


def run_checks(plan: Plan, worked: WorkedOut) -> list[Check]:
    """Returns every check that applies to a plan, from its frozen numbers; none for a plan without limits."""
    limits = plan.limits
    if limits is None:
        return []
    found = [
        *_check_ball(plan),
        *_check_owned(plan),
        *_check_inner(plan, worked, limits.least_wall),
        *_check_window(plan, worked),
        *_check_walls(plan, worked, limits.least_web),
    ]
    found += _check_old_holes(plan, worked, limits.least_web)
    found += [*_check_surface(plan, worked, limits), *_check_depth(plan, limits.safe_depth)]
    for why in describe_unsettling(plan):
        found = [_unsettle(check, why) for check in found]
    return [*found, *_check_stock(plan)]


def describe_unsettling(plan: Plan | None) -> list[str]:
    """Returns in words what is unknown of a plan and unsettles everything worked out from it."""
    return [why for unknown, why in UNSETTLING.items() if plan and unknown in plan.unknown]


def _unsettle(check: Check, why: str) -> Check:
    """Returns a check that does not hold over an unknown; one that fails keeps failing."""
    return replace(check, holds=None, reason=f"{check.reason}; {why}") if check.holds else check


def _check_ball(plan: Plan) -> list[Check]:
    found = []
    if "circumference" in plan.unknown:
        reason = f"counted as {inches(plan.grip.circumference_in)}, ASSUMED"
        found.append(
            Check("The ball's circumference is known", None, None, "", None, reason, "Measure it and plan again.")
        )
    if UNRECORDED in plan.unknown:
        reason = "it was drilled elsewhere, or nobody knows whether it was, and no hole is recorded"
        change = "Record its holes on the ball's page, or say there that it has none, and plan again."
        found.append(Check("The ball's old holes are known", None, None, "", None, reason, change))
    return found


def pick_failing(found: list[Check]) -> list[Check]:
    return [check for check in found if check.holds is False]


def _check_at_least(what: str, value: float, limit: PlannedLimit, reason: str, change: str) -> Check:
    least = limit.value_in
    assumed = ", ASSUMED" if limit.is_assumed else ""
    return Check(what, value, least, f"at least {inches(least)}{assumed}", value >= least - 1e-9, reason, change)


def _check_owned(plan: Plan) -> list[Check]:
    """Checks that an owned inner's height follows from what is known; over an unknown the answer is unknown."""
    unknown = plan.owned.unknown if plan.owned else ()
    if plan.inner and OUTSIDE in plan.unknown:
        unknown += (f"its outside, counted as {inches(plan.inner.outside_in)}, ASSUMED",)
    if not unknown:
        return []
    reason = "not known: " + "; ".join(unknown)
    return [
        Check("The bowler's own inner is known", None, None, "", None, reason, "Measure it before anything is cut.")
    ]


def _check_inner(plan: Plan, worked: WorkedOut, least: PlannedLimit) -> list[Check]:
    """Checks the inner's least wall, with oval and pitch difference, and names a variant that would pass."""
    if worked.wall is None or plan.inner is None:
        return []
    wall, limit = worked.wall.least_wall_in, least.value_in
    walls = {od: calculate_wall(plan, od) for od in (plan.system.inner_ods if plan.system else ())}
    fits = [od for od, left in walls.items() if left and left.least_wall_in >= limit - 1e-9]
    wider = Fix("inner", inches(fits[0]), f"Use the {inches(fits[0])} inner") if fits else None
    change = f"{wider.words}." if wider else "No inner on offer leaves it: use a blank, or a smaller hole."
    if plan.bore and plan.bore.forward_in != worked.solved.grip.require_thumb().forward_in:
        change += " Or bore at the thumb's pitch, so that the hole runs parallel."
    reason = f"thinnest at {worked.wall.at_depth_in:.2f} in deep, oval and pitch difference counted"
    thumb = worked.solved.grip.require_thumb()
    room = plan.inner.outside_in - thumb.hole_in - thumb.oval_in
    variant = Check(
        "Inner wider than the thumb hole",
        room,
        2 * limit,
        f"at least {inches(2 * limit)} across",
        room >= 2 * limit - 1e-9,
        f"a {inches(plan.inner.outside_in)} inner about a hole {inches(thumb.hole_in + thumb.oval_in)} wide",
        change,
        wider,
    )
    thinnest = replace(_check_at_least("Least wall of the inner", wall, least, reason, change), fix=wider)
    if _is_length_assumed(plan, worked):
        why = f"the inner's length is not known, counted as {inches(plan.inner.length_in)}, ASSUMED"
        thinnest = _unsettle(thinnest, why)
    return [thinnest, variant]


def _is_length_assumed(plan: Plan, worked: WorkedOut) -> bool:
    """Whether the inner's wall hangs on a length that the hardware does not tell: its hole leans against its bore."""
    thumb, bore = worked.solved.grip.thumb, plan.bore
    if plan.system is None or plan.system.inner_length_in or bore is None or thumb is None:
        return False
    return (bore.forward_in, bore.right_in) != (thumb.forward_in, thumb.right_in)


def _check_window(plan: Plan, worked: WorkedOut) -> list[Check]:
    if plan.inner is None or not plan.is_thumb_drilled:
        return []
    window = worked.window
    if window is None:
        unknown = "the system's lock depth or its inner's length is not known"
        return [
            Check(
                "Drill clears the slug and spares the lock", None, None, "", None, unknown, "Measure both and add them."
            )
        ]
    room = window.most_in - window.least_in
    flat = work_out(replace(plan, point_deg=180.0)).window if not window.is_open else None
    return [
        Check(
            "Drill clears the slug and spares the lock",
            room,
            0.0,
            f"travel at least {inches(window.least_in)}, at most {inches(window.most_in)}",
            window.is_open,
            f"the point of the bit is {inches(window.point_in)} long"
            if window.point_in
            else "the bit is flat-bottomed",
            "Use a flat-bottomed bit, or a shorter slug." if flat and flat.is_open else "Use a shorter slug.",
            Fix("point", "180", "Use a flat-bottomed bit") if flat and flat.is_open else None,
        )
    ]


def _check_walls(plan: Plan, worked: WorkedOut, limit: PlannedLimit) -> list[Check]:
    """Checks the wall between each two holes, as solids; fingers first."""
    bored = "the bore" if plan.bore else "the thumb hole"
    pairs = (
        ("Wall between the finger holes", "middle", "ring", "at the closest place inside the ball", _FINGERS_CHANGE),
        ("Wall, thumb to middle", "thumb", "middle", f"{bored} and the middle hole", _THUMB_CHANGE),
        ("Wall, thumb to ring", "thumb", "ring", f"{bored} and the ring hole", _THUMB_CHANGE),
    )
    found = []
    fix = _fix_finger_depth(plan, worked, limit)
    for what, one, other, closest, change in pairs:
        wall = worked.walls.get(f"{one}_{other}")
        if wall is None:  # one of the two is not in this grip
            continue
        meets = wall.meets_from_in
        reason = closest if meets is None else f"they break into each other from {meets:.2f} in down"
        drilled = ("bore" if plan.bore and one == "thumb" else one, other)
        assumed = [name for name in drilled if name in worked.assumed_depths]
        if assumed:
            reason += f"; depth of the {' and the '.join(assumed)} ASSUMED"
        found.append(replace(_check_at_least(what, wall.least_in, limit, reason, change), fix=fix))
    return found


def _check_old_holes(plan: Plan, worked: WorkedOut, limit: PlannedLimit) -> list[Check]:
    words = f"at least {inches(limit.value_in)}{', ASSUMED' if limit.is_assumed else ''}"
    found = find_problems(worked.old_walls, plan, limit.value_in, words)
    return [Check(f.what, f.value_in, limit.value_in, f.limit_words, f.holds, f.reason, f.change) for f in found]


def _fix_finger_depth(plan: Plan, worked: WorkedOut, limit: PlannedLimit) -> Fix | None:
    """Returns the deepest finger holes that keep every wall, if a wall is too thin now."""
    if all(wall.least_in >= limit.value_in - 1e-9 for wall in worked.walls.values()):
        return None
    depth = find_deepest_in(plan, max(finger.depth_in for finger in plan.grip.fingers.values()))
    return (
        Fix("finger_depth", inches(depth), f"Drill the {_name_fingers(plan)} {inches(depth)} deep") if depth else None
    )


def _check_surface(plan: Plan, worked: WorkedOut, limits: PlannedLimits) -> list[Check]:
    bridge, found = worked.solved.bridge_cut_in, []
    if bridge is not None:
        thin = "a thin bridge chips and cracks"
        found.append(_check_at_least("Bridge as cut", bridge, limits.least_bridge, thin, "Widen the bridge."))
    if worked.solved.thumb is None:
        return found
    spans = {f: worked.predicted_in(f) for f in worked.fingers}
    nearest = min(spans, key=spans.__getitem__)
    far = "fingers" if len(spans) > 1 else f"{nearest} finger"
    what = f"Surface left between {'sleeve' if worked.has_sleeve else 'thumb'} and {far}"
    surface = _check_at_least(
        what, spans[nearest], limits.least_surface, f"to the {nearest} finger", "Use a narrower sleeve."
    )
    if "sleeve" in plan.unknown:
        surface = replace(_unsettle(surface, "the outside of the sleeve is unknown"), change="Measure the sleeve.")
    return [*found, surface]


def _name_fingers(plan: Plan) -> str:
    return "fingers" if len(plan.grip.fingers) > 1 else f"{next(iter(plan.grip.fingers))} finger"


def _check_depth(plan: Plan, ours: PlannedLimit) -> list[Check]:
    if plan.bore is None:
        return []
    own = plan.safe_depth_in
    limit, depth = own or ours.value_in, plan.bore.depth_in
    assumed = "" if own or not ours.is_assumed else ", ASSUMED"
    whose = "this ball's safe depth" if own else "the shop's safe depth"
    words = f"at most {inches(limit)}{assumed}"
    change = "Shorten the sleeve or choose another ball."
    found = Check("Bore within the ball's safe depth", depth, limit, words, depth <= limit + 1e-9, whose, change)
    if "safe depth" not in plan.unknown:
        return [found]
    change = "Find out how deep this ball may be bored."
    return [replace(_unsettle(found, "this ball's own is unknown"), change=change)]


def _check_stock(plan: Plan) -> list[Check]:
    """Checks the stock of inners, if the shop counts them."""
    system = plan.system
    if not system or not system.stock or not plan.inner or plan.owned:
        return []
    size = inches(plan.inner.outside_in)
    count = system.stock.get(size)
    reason = f"{count or 0} of the {size} inner in stock"
    change = "Order it, or take another size."
    return [
        Check(
            "In stock at this size", None, None, "at least one", bool(count), reason, change, _fix_stock(plan, system)
        )
    ]


def _fix_stock(plan: Plan, system: PlannedSystem) -> Fix | None:
    """Returns the smallest inner in stock that leaves the least wall."""
    least = plan.limits.least_wall.value_in - 1e-9 if plan.limits else 0.0
    for outside_in in system.inner_ods:
        left = calculate_wall(plan, outside_in)
        if system.stock.get(inches(outside_in)) and left and left.least_wall_in >= least:
            return Fix("inner", inches(outside_in), f"Use the {inches(outside_in)} inner")
    return None
