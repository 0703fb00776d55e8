"""The plan as met: what was met at done steps in the place of what was planned.

Holes stay where they were laid out, each bit by its own near edge (`calculation/as_cut.py`). A value with which the
plan could not be worked out is left out, so that a stored plan always works out.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Literal

from app.calculation.as_cut import hold_places
from app.calculation.bores import DATUMS, Bore, check_bore, collar_depth_in, height_in
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Grip
from app.calculation.inners import felt_pitch
from app.calculation.owned_inners import collar_depth
from app.models import DrillingStep
from app.models.plans import Plan, PlannedBore, PlannedOwned
from app.services import owned_routes
from app.services.work_outs import solve_once, work_out

MetKind = Literal["pitch", "bit", "depth"]
HoleName = Literal["bore", "thumb", "middle", "ring"]
HOLES: dict[str, HoleName] = {
    "bore_pitch": "bore",
    "bore": "bore",
    "thumb_pitch": "thumb",
    "drill_inner": "thumb",
    "drill_thumb": "thumb",
    "middle_pitch": "middle",
    "middle_bore": "middle",
    "ring_pitch": "ring",
    "ring_bore": "ring",
}


def put_in_met(plan: Plan, steps: Iterable[DrillingStep], shim_in: float = 0.0) -> Plan:
    """The plan with what was met at done steps (not skipped ones) in the place of what was planned.

    Depths are put in last: a depth's datum is converted at the pitch and bit that were met.
    """
    done = sorted((step for step in steps if step.is_done), key=lambda step: step.position)
    kinds: tuple[tuple[MetKind, ...], ...] = (("pitch", "bit"), ("depth",))
    met = plan
    for group in kinds:
        for step in done:
            for kind in group:
                met, _ = try_put(met, step, kind)
    if met.bore and shim_in and shim_in < met.bore.depth_in:
        met = replace(met, bore=replace(met.bore, shim_in=shim_in))
    return _sink_sleeve(met, plan, done)


def _sink_sleeve(met: Plan, planned: Plan, done: Iterable[DrillingStep]) -> Plan:
    """`met` with by how much its sleeve sits lower than planned, where it stands on the floor of its bore."""
    bored = next((s for s in done if HOLES.get(s.action) == "bore" and s.met_depth_in is not None), None)
    if met.bore is None or planned.bore is None or bored is None or met.owned:
        return met
    floors = read_depths_in(met, bored, "bore")
    is_put = floors is not None and abs(floors[1] - met.bore.depth_in) < 1e-9  # else it could not be worked out
    if floors is None or not is_put or met.system is None or met.system.kind != "bore_floor":
        return met
    seat_in = planned.bore.depth_in + met.bore.shim_in
    return replace(met, bore=replace(met.bore, sunk_in=(floors[0] - seat_in, floors[1] - seat_in)))


def try_put(plan: Plan, step: DrillingStep, kind: MetKind) -> tuple[Plan, str]:
    """The plan with one value met at a step; as it was, with the reason, where that cannot be worked out."""
    hole = HOLES.get(step.action)
    if hole not in list_holes(plan):
        return plan, ""
    try:
        met = _PUTS[kind](plan, step, hole)
        if met is not plan:
            _require_works(met)
    except CannotBuildError as error:
        return plan, error.message
    return met, ""


def list_holes(plan: Plan) -> list[HoleName]:
    """The holes of a plan, its bore first."""
    bored: list[HoleName] = ["bore"] if plan.bore else []
    thumbed: list[HoleName] = ["thumb"] if plan.grip.thumb else []
    return [*bored, *thumbed, *plan.grip.fingers]


def _require_works(plan: Plan) -> None:
    """Raises CannotBuildError where something of a plan cannot be worked out, or a hole does not lie in the ball."""
    work_out(plan)
    for hole in list_holes(plan):
        check_bore(Bore(plan.grip.circumference_in, get_bit_in(plan, hole), 1.0, *get_pitch(plan, hole)))
    owned_routes.calculate_rim(plan)
    owned_routes.calculate_rim_range(plan)


# Pitch ----------------------------------------------------------------------------------------------------------------


def get_pitch(plan: Plan, hole: HoleName) -> tuple[float, float]:
    """The (forward, right) pitch of a hole of a plan, inches."""
    cut = _get_bore(plan) if hole == "bore" else getattr(plan.grip, hole)
    return cut.forward_in, cut.right_in


def read_pitch(step: DrillingStep, planned: tuple[float, float]) -> tuple[float, float] | None:
    """The pitch met at a step, as planned where one part was not read; None where none was."""
    if step.met_forward_in is None and step.met_right_in is None:
        return None
    forward, right = planned
    return (
        forward if step.met_forward_in is None else float(step.met_forward_in),
        right if step.met_right_in is None else float(step.met_right_in),
    )


def _put_pitch(plan: Plan, step: DrillingStep, hole: HoleName) -> Plan:
    planned = get_pitch(plan, hole)
    pitch = read_pitch(step, planned)
    if pitch is None or pitch == planned:
        return plan
    forward, right = pitch
    if hole == "bore":
        return _pitch_bore(plan, forward, right)
    grip = plan.grip
    if hole == "thumb" and plan.bore and grip.sleeve_pitch_in is None:  # its sleeve ran like the thumb that was planned
        grip = replace(grip, sleeve_pitch_in=get_pitch(plan, "bore"))
    aimed = replace(getattr(grip, hole), forward_in=forward, right_in=right)
    return _hold(plan, replace(grip, **{hole: aimed}))


def _pitch_bore(plan: Plan, forward: float, right: float) -> Plan:
    """The plan with another pitch of its bore, along which the sleeve runs.

    An owned inner is felt otherwise in it, and needs the depth that has the smallest lips at that pitch.
    """
    grip, owned = plan.grip, plan.owned
    bore = replace(_get_bore(plan), forward_in=forward, right_in=right)
    if owned:
        felt = felt_pitch(grip.circumference_in, forward, right, *owned.tilt_in, owned.chosen.turn_deg)
        grip = replace(grip, thumb=replace(grip.require_thumb(), forward_in=felt.forward_in, right_in=felt.right_in))
        bored = _bore_deep_enough(replace(plan, grip=grip), bore)
        grip, bore = bored.grip, _get_bore(bored)
    if grip.sleeve_od_in is not None or grip.sleeve_pitch_in is not None:
        grip = replace(grip, sleeve_pitch_in=(forward, right))
    return replace(_hold(plan, grip), bore=bore)


def _bore_deep_enough(plan: Plan, bore: PlannedBore) -> Plan:
    """The plan with another bore, as deep as an owned inner needs it: its collar rests on another place of the rim."""
    if plan.owned is None:
        return replace(plan, bore=bore)
    depth_in = _find_owned_depth_in(plan, plan.owned, bore)
    grip = replace(plan.grip, thumb=replace(plan.grip.require_thumb(), depth_in=depth_in))
    return replace(plan, grip=grip, bore=replace(bore, depth_in=depth_in))


def _find_owned_depth_in(plan: Plan, owned: PlannedOwned, bore: PlannedBore) -> float:
    """The collar setting for an owned inner in this bore, inches; as planned over an unknown or under a flange."""
    if owned.made_in is None or owned.unknown or (plan.system and plan.system.kind == "ball_surface"):
        return bore.depth_in
    fitted = Bore(plan.grip.circumference_in, bore.bore_in, bore.depth_in, bore.forward_in, bore.right_in)
    return round(collar_depth(owned.outside_in, owned.made_in, fitted, owned.chosen.turn_deg).depth_in, 6)


def _hold(plan: Plan, cut: Grip) -> Plan:
    return replace(plan, grip=hold_places(solve_once(plan.grip), cut, is_thumb_held=plan.bore is not None))


# Bit ------------------------------------------------------------------------------------------------------------------


def get_bit_in(plan: Plan, hole: HoleName) -> float:
    """The diameter in inches of the bit that a plan asks for."""
    if hole == "bore":
        return _get_bore(plan).bore_in
    return plan.grip.require_thumb().hole_in if hole == "thumb" else plan.grip.fingers[hole].cut_in


def _put_bit(plan: Plan, step: DrillingStep, hole: HoleName) -> Plan:
    if step.met_bit_in is None or float(step.met_bit_in) == get_bit_in(plan, hole):
        return plan
    bit = float(step.met_bit_in)
    if hole == "bore":
        return _bore_deep_enough(plan, replace(_get_bore(plan), bore_in=bit))
    size = "hole_in" if hole == "thumb" else "cut_in"
    return _hold(plan, replace(plan.grip, **{hole: replace(getattr(plan.grip, hole), **{size: bit})}))


# Depth ----------------------------------------------------------------------------------------------------------------


def get_depth_in(plan: Plan, hole: HoleName) -> float:
    """The depth of a hole of a plan, inches: a bore's is its collar setting, another's runs down its axis."""
    depth: float = _get_bore(plan).depth_in if hole == "bore" else getattr(plan.grip, hole).depth_in
    return depth


def find_wanted_depth_in(before: Plan, step: DrillingStep, hole: HoleName) -> float:
    """The depth that a plan asks for at the pitch and with the bit that were met at this step, inches."""
    for kind in ("pitch", "bit"):
        before, _ = try_put(before, step, kind)
    return get_depth_in(before, hole)


def read_depths_in(plan: Plan, step: DrillingStep, hole: HoleName) -> tuple[float, float] | None:
    """(least, greatest) depth met at a step, as `get_depth_in`; they differ where nobody knows its datum."""
    if step.met_depth_in is None:
        return None
    forward, right = get_pitch(plan, hole)
    shape = Bore(plan.grip.circumference_in, get_bit_in(plan, hole), float(step.met_depth_in), forward, right)
    to_axis = 0.0 if hole == "bore" else height_in(shape, "crown") - height_in(shape, "collar")
    datums = [datum for datum in DATUMS if datum == step.met_datum] or DATUMS
    depths = [collar_depth_in(shape, datum) + to_axis for datum in datums]
    return min(depths), max(depths)


def _put_depth(plan: Plan, step: DrillingStep, hole: HoleName) -> Plan:
    if step.action == "drill_inner":  # the travel of the drill, which leaves the inner's length as it is
        return plan
    depths = read_depths_in(plan, step, hole)
    if depths is None:
        return plan
    deepest = depths[1]  # what may break into another hole counts where the datum is unknown
    if deepest <= 0:
        raise CannotBuildError("depth_in", "a hole has a depth")
    grip = plan.grip
    if hole != "bore":
        deep = replace(plan, grip=replace(grip, **{hole: replace(getattr(grip, hole), depth_in=deepest)}))
        return replace(deep, assumed_depths=tuple(name for name in plan.assumed_depths if name != hole))
    words = "as met" if step.met_datum in DATUMS else "as met, its datum unknown, at its deepest"
    bore = replace(_get_bore(plan), depth_in=deepest, depth_words=words, is_depth_assumed=False)
    if plan.inner:
        grip = replace(grip, thumb=replace(grip.require_thumb(), depth_in=deepest))
    return replace(plan, grip=grip, bore=bore)


def _get_bore(plan: Plan) -> PlannedBore:
    assert plan.bore is not None  # a plan without one meets nothing of it
    return plan.bore


_PUTS: Mapping[MetKind, Callable[[Plan, DrillingStep, HoleName], Plan]] = {
    "pitch": _put_pitch,
    "bit": _put_bit,
    "depth": _put_depth,
}
