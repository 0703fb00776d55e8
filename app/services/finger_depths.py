"""Finger depths of a plan: the deepest that keeps the wall between every two holes.

A deeper hole never leaves a thicker wall, so the deepest is found by bisection in 64ths.
"""

from collections.abc import Collection
from dataclasses import replace
from fractions import Fraction

from app.models.plans import Plan
from app.services.grips import FINGERS
from app.services.work_outs import calculate_walls, solve_once

SHALLOWEST_IN = 0.5  # ASSUMED: a finger hole less deep holds no finger; common practice, no source


def set_depth(plan: Plan, fingers: Collection[str], depth_in: float) -> Plan:
    """Returns the plan with these fingers, of those that it has, drilled so deep, inches."""
    own = plan.grip.fingers
    deeper = {name: replace(f, depth_in=depth_in) if name in fingers else f for name, f in own.items()}
    return replace(plan, grip=replace(plan.grip, middle=deeper.get("middle"), ring=deeper.get("ring")))


def find_deepest_in(plan: Plan, most_in: float, fingers: Collection[str] = FINGERS) -> float | None:
    """Returns the deepest these fingers may be, to a 64th and up to `most_in`; None if no depth keeps every wall."""
    if plan.limits is None:
        return None
    least = plan.limits.least_web.value_in - 1e-9

    def keeps(count: int) -> bool:
        deeper = set_depth(plan, fingers, count / 64)
        return all(wall.least_in >= least for wall in calculate_walls(deeper, solve_once(deeper.grip)).values())

    low, high = int(SHALLOWEST_IN * 64), int(most_in * 64 + 1e-6)
    if high < low or not keeps(low):
        return None
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if keeps(middle) else (low, middle - 1)
    return low / 64


def choose_finger_depth(plan: Plan, asked: Fraction | None, usual_in: float) -> Plan:
    """Returns the plan with the depth that was asked, else, where the fit has none, the deepest up to the usual."""
    if asked is not None:
        return replace(set_depth(plan, FINGERS, float(asked)), assumed_depths=())
    if not plan.assumed_depths:
        return plan
    found = find_deepest_in(plan, usual_in, plan.assumed_depths)
    return set_depth(plan, plan.assumed_depths, usual_in if found is None else found)
