"""Routes of drillings: steps, their order and their numbers. Routes are data, and a shop may edit its own.

A plan freezes its steps with their numbers, so a later edit of the route or the fit changes nothing under the
driller. A newer fit in force marks the plan as stale and shows the differences.
"""

from dataclasses import dataclass, field

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from app.closed_sets import InnerKind
from app.errors import InvalidError
from app.models import Drilling, DrillingStep, InsertSystem
from app.models.numbers import CutNumber, LengthNumber, MarkNumber, Number, Numbers
from app.models.plans import Plan
from app.schemas.systems import RouteForm
from app.services import changes, old_walls, owned_routes, systems
from app.services.step_numbers import tell_numbers
from app.services.work_outs import WorkedOut, work_out

CAUTIONS = {
    "spindle": "Ball clamped, eyes covered, no gloves, sleeves or jewellery near the bit, chuck key out.",
    "stopped": "Measure and clear chips only when the spindle has stopped.",
    "dust": "Sanding and trimming make fine dust: extraction on, a mask that fits.",
    "glue": "Adhesive: gloves, air and cure time as its maker's sheet says; keep it out of the lock.",
    "solvent": "Solvent: no flame or spark, lids on, fresh air, as its maker's sheet says.",
}


@dataclass(frozen=True)
class Step:
    """One step of a drilling, ready to be frozen; the fields are those of `DrillingStep`."""

    action: str
    hole: str
    words: str
    numbers: Numbers
    cautions: list[str]
    is_cut: bool
    reads: list[str]


@dataclass(frozen=True)
class Action:
    """A kind of step: words, hole, numbers to show, whether it cuts, cautions, and values to read."""

    words: str
    hole: str
    tells: tuple[str, ...] = ()
    is_cut: bool = False
    cautions: tuple[str, ...] = ()
    reads: tuple[str, ...] = field(default=())


# Common practice of the trade, no source: the order in which shops work, in our own words.
ACTIONS: dict[str, Action] = {
    "mark": Action("Mark grip centre, centre line and each bit's near edge", "ball", ("cut_lines",)),
    "bore_pitch": Action("Set the bore's pitch", "thumb", ("bore_pitch",), reads=("pitch",)),
    "bore_check": Action("Check the bit on its own near edge, spindle still", "thumb", ("bore_bit", "bore_line")),
    "pilot": Action("Pilot with a cheap bit", "thumb", ("pilot",), True, ("spindle", "stopped"), ("bit",)),
    "bore": Action("Bore to the collar", "thumb", ("bore_bit", "bore_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "ream": Action("Ream or sand until the sleeve slides", "thumb", ("bore_bit",), True, ("dust",)),
    "drop_in": Action("Dry drop-in: the sleeve must fall in by its own weight", "thumb", ("shim",)),
    "set_height": Action("Set the sleeve's height by hand against the slug", "thumb"),
    "seat_flange": Action("Seat the flange on the ball's surface all round", "thumb"),
    "glue": Action("Roughen, clean and glue the sleeve in", "thumb", ("shim",), False, ("glue", "solvent")),
    "glue_slug": Action("Roughen, clean and glue the slug in", "thumb", (), False, ("glue", "solvent")),
    "notch": Action("Turn the notch to its direction against the centre line, let it cure", "thumb", ("notch",)),
    "zero": Action("Back to zero pitch", "thumb", ("zero_pitch",)),
    "flush": Action("Cut the sleeve flush with the ball", "thumb", (), True, ("spindle", "dust")),
    "flush_slug": Action("Cut the slug flush with the ball", "thumb", (), True, ("spindle", "dust")),
    "bevel": Action("Bevel the sleeve's edge", "thumb", (), True, ("dust",)),
    "lock_in": Action("Lock the inner in and feel that it is home", "thumb", ("inner",)),
    "read_rim": Action("Read the inner's rim at four clock places, and trim nothing", "thumb", ("rim",), False, ("stopped",), ("rim",)),
    "thumb_pitch": Action("Set the thumb's pitch", "thumb", ("thumb_pitch",), reads=("pitch",)),
    "thumb_check": Action("Check the bit on its own near edge, spindle still", "thumb", ("thumb_bit", "thumb_line")),
    "pilot_inner": Action("Pilot the blank inner with a smaller bit, within the drill's travel", "thumb", ("window",), True, ("spindle", "stopped"), ("bit",)),
    "drill_inner": Action("Drill through the inner", "thumb", ("thumb_bit", "window"), True, ("spindle", "stopped"), ("depth", "bit")),
    "drill_thumb": Action("Drill the thumb hole", "thumb", ("thumb_bit", "thumb_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "oval": Action("Plunge the oval in order", "thumb", ("thumb_bit", "moves"), True, ("spindle",)),
    "zero_inner": Action("Back to zero pitch", "thumb", ("zero_pitch",)),
    "flush_inner": Action("Cut the inner flush with the ball", "thumb", (), True, ("spindle", "dust")),
    "bevel_thumb": Action("Bevel the thumb hole", "thumb", (), True, ("dust",)),
    "clean": Action("Clean chips out of the lock", "thumb", (), False, ("stopped",)),
    "free_turn": Action("Turn the inner out and in: it must turn freely and stop in its lock", "thumb"),
    "middle_pitch": Action("Set the middle finger's pitch", "middle", ("middle_pitch",), reads=("pitch",)),
    "middle_check": Action("Check the bit on its own near edge, spindle still", "middle", ("middle_bit", "middle_line")),
    "middle_bore": Action("Bore the middle finger", "middle", ("middle_bit", "middle_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "middle_insert": Action("Dry fit, then glue the middle insert", "middle", ("middle_insert",), False, ("glue",)),
    "ring_pitch": Action("Set the ring finger's pitch", "ring", ("ring_pitch",), reads=("pitch",)),
    "ring_check": Action("Check the bit on its own near edge, spindle still", "ring", ("ring_bit", "ring_line")),
    "ring_bore": Action("Bore the ring finger", "ring", ("ring_bit", "ring_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "ring_insert": Action("Dry fit, then glue the ring insert", "ring", ("ring_insert",), False, ("glue",)),
    "finger_bevel": Action("Bevel both finger holes", "fingers", (), True, ("dust",)),
    "measure": Action("Measure to the middle and the ring, and close", "ball", ("predicted",)),
}  # fmt: skip

_EDGE_STEPS = {"mark", "bore_check", "thumb_check", "middle_check", "ring_check", "oval"}
_OPENING = ("mark", "bore_pitch", "bore_check", "pilot", "bore", "ream", "drop_in")
_INNER = (
    "lock_in", "thumb_pitch", "thumb_check", "pilot_inner", "drill_inner", "oval", "zero_inner", "flush_inner", "bevel_thumb",
    "clean", "free_turn",
)  # fmt: skip
# Common practice, no source: a loaded inner's slug is drilled at once, a solid one is piloted, a moulded one has its hole.
_NOT_FOR: dict[InnerKind, set[str]] = {
    "loaded": {"pilot_inner"},
    "blank": set(),
    "moulded": {"pilot_inner", "thumb_pitch", "thumb_check", "drill_inner", "drill_thumb", "oval", "zero_inner"},
}
_FINGERS = (
    "middle_pitch", "middle_check", "middle_bore", "middle_insert", "ring_pitch", "ring_check", "ring_bore", "ring_insert",
    "finger_bevel",
)  # fmt: skip
ROUTES: dict[str, tuple[str, ...]] = {
    "bore_floor": (*_OPENING, "glue", "notch", "zero", "flush", "bevel", *_INNER, *_FINGERS, "measure"),
    "ball_surface": (*_OPENING, "glue", "seat_flange", "notch", "zero", *_INNER, *_FINGERS, "measure"),
    "by_hand": (*_OPENING, "glue", "set_height", "notch", "zero", "flush", "bevel", *_INNER, *_FINGERS, "measure"),
    "slug": (*_OPENING, "glue_slug", "zero", "flush_slug", "thumb_pitch", "thumb_check", "drill_thumb", "oval", "bevel_thumb", *_FINGERS, "measure"),
    "none": ("mark", "thumb_pitch", "thumb_check", "drill_thumb", "oval", "bevel_thumb", *_FINGERS, "measure"),
}  # fmt: skip


def choose_kind(system: InsertSystem | None) -> str:
    """Returns the kind of route for a drilling whose system has no own route."""
    return system.height_set_by if system else "none"


def get_route(system: InsertSystem | None) -> list[tuple[str, str]]:
    """Returns (action, words) in order: the system's own route, else the usual one of its kind."""
    if system and system.route:
        return [(step["action"], step.get("words") or ACTIONS[step["action"]].words) for step in system.route]
    return [(action, ACTIONS[action].words) for action in ROUTES[choose_kind(system)]]


def edit(session: Session, system_id: int, form: RouteForm) -> InsertSystem:
    """Sets a system's own route, or the usual one if no step is kept; raises InvalidError for an unknown step."""
    system = systems.get_system(session, system_id)
    changes.require_version(session, system, form.version)
    unknown = [step.action for step in form.steps if step.action not in ACTIONS]
    if unknown:
        raise InvalidError.at("", f"There is no step called {unknown[0]}.")
    usual = list(ROUTES[choose_kind(system)])
    kept = [{"action": s.action, "words": s.words} for s in form.steps]
    is_usual = [s["action"] for s in kept] == usual and not any(s["words"] for s in kept)
    changes.revise(session, form.who, system, {"route": [] if is_usual else kept})
    return system


def freeze_steps(plan: Plan, worked: WorkedOut, route: list[tuple[str, str]]) -> list[Step]:
    """Returns the steps of a drilling to be frozen: those of the route that this fit and hardware need."""
    grip = worked.solved.grip
    skipped = {"oval"} if not (grip.thumb and grip.thumb.oval_in) else set()
    skipped |= _NOT_FOR[plan.inner_kind if plan.inner else "loaded"]
    skipped |= {f"{name}_insert" for name, finger in grip.fingers.items() if finger.hole_in >= finger.cut_in}
    absent = {"thumb", "middle", "ring"} - set(worked.solved.holes)
    skipped |= {action for action, kind in ACTIONS.items() if kind.hole in absent}
    plugs, made = old_walls.list_plugs_cut(worked.old_walls), []
    for action, words in owned_routes.adapt_route(route, bool(plan.owned.unknown)) if plan.owned else route:
        if action in skipped:
            continue
        kind = ACTIONS[action]
        numbers = tell_numbers(kind.tells, kind.hole, plan, worked)
        cautions = [CAUTIONS[name] for name in kind.cautions]
        cautions += old_walls.list_cautions(plugs.get(kind.hole, [])) if kind.is_cut else []
        made.append(
            Step(action, kind.hole, _say_for(action, words, worked), numbers, cautions, kind.is_cut, list(kind.reads))
        )
    return made


def _say_for(action: str, words: str, worked: WorkedOut) -> str:
    """The words of a step, the usual ones put for the holes of this grip; a shop's own stay."""
    fingers, is_thumbless = worked.fingers, worked.solved.thumb is None
    if words != ACTIONS[action].words:
        return words
    if action == "mark" and is_thumbless:
        return "Mark the palm's plus, the grip centre; then the centre line and each bit's near edge"
    if action == "finger_bevel" and len(fingers) == 1:
        return f"Bevel the {fingers[0]} finger hole"
    if action == "measure" and is_thumbless:
        return "Measure the reach of the middle and the ring from the plus, and the bridge, and close"
    if action == "measure" and len(fingers) == 1:
        return f"Measure to the {fingers[0]}, and close"
    return words


def update_frozen_edges(of: Drilling) -> None:
    """Recalculates, for display only, the numbers of unticked steps frozen before each bit had its own near edge.

    Those steps gave the finished oval's edge for a smaller bit, and the thumb's edge for a bore without a known sleeve.
    Steps frozen before marks were told as a driller lays them out get those beside their edges. Ticked steps do not
    change.
    """
    open_steps = [step for step in of.steps if step.ticked_at is None and step.action in _EDGE_STEPS]
    stale = [step for step in open_steps if not any(number.kind == "cut" for number in step.numbers)]
    unmarked = [s for s in open_steps if s.action != "oval" and not any(n.kind == "mark" for n in s.numbers)]
    if of.plan is None or of.current_plan is None or not stale + unmarked:
        return
    worked, current = work_out(of.plan), work_out(of.current_plan)
    for step in stale:
        told = tell_numbers(ACTIONS[step.action].tells, step.hole, of.plan, worked)
        set_committed_value(step, "numbers", told)
    for step in (step for step in unmarked if step not in stale):
        told = tell_numbers(ACTIONS[step.action].tells, step.hole, of.current_plan, current)
        set_committed_value(step, "numbers", _keep_marks(step.numbers, told))


def renumber_steps(of: Drilling, plan: Plan) -> list[DrillingStep]:
    """Puts the numbers of all open steps anew from a plan, and returns the steps whose numbers changed.

    Ticked and skipped steps do not change. A near edge that is marked on the ball stays where it is marked, unless the
    step has another bit: the marks do not move with what was met after them. The caller's session stores the numbers.
    """
    worked = work_out(plan)
    changed = []
    for step in of.steps:
        if step.ticked_at is not None or step.action not in ACTIONS:
            continue
        told = tell_numbers(ACTIONS[step.action].tells, step.hole, plan, worked)
        told = _keep_marks(step.numbers, told)
        if list(map(_list_values, told)) != list(map(_list_values, step.numbers)):
            step.numbers = told
            changed.append(step)
    return changed


def _keep_marks(marked: Numbers, told: Numbers) -> Numbers:
    """Returns the numbers told, with the marks of a step whose bit is the same as they were."""
    bits, new_bits = (
        [n for n in numbers if isinstance(n, LengthNumber) and n.what == "bit"] for numbers in (marked, told)
    )
    marks = {(n.kind, n.what, _find_side(n)): n for n in marked if isinstance(n, CutNumber | MarkNumber)}
    if not bits or bits != new_bits:
        return told
    return tuple(
        marks.get((n.kind, n.what, _find_side(n)), n) if isinstance(n, CutNumber | MarkNumber) else n for n in told
    )


def _find_side(mark: CutNumber | MarkNumber) -> str:
    """What tells two marks of one name apart: where each is measured from."""
    return mark.words if isinstance(mark, MarkNumber) else ""


def _list_values(number: Number) -> list[object]:
    """Returns what a number says to a millionth of an inch; a hole that is placed anew where it was differs by less."""
    return [round(value, 6) if isinstance(value, float) else value for value in vars(number).values()]
