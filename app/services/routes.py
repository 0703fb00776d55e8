"""Routes of drillings: steps, their order and their numbers. Routes are data, and a shop may edit its own.

A plan freezes its steps with their numbers, so a later edit of the route or the fit changes nothing under the
driller. A newer fit in force marks the plan as stale and shows the differences.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from app.calculation.cuts import Cut
from app.closed_sets import InnerKind
from app.errors import InvalidError
from app.models import Drilling, InsertSystem
from app.models.numbers import (
    ClockNumber,
    CutNumber,
    LengthNumber,
    Number,
    Numbers,
    PitchNumber,
    TextNumber,
)
from app.models.plans import Plan, PlannedBore
from app.schemas.systems import RouteForm
from app.services import changes, owned_routes, systems
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
    "bore_pitch": Action("Set the bore's pitch", "thumb", ("bore_pitch",)),
    "bore_check": Action("Check the bit on its own near edge, spindle still", "thumb", ("bore_bit", "bore_line")),
    "pilot": Action("Pilot with a cheap bit", "thumb", ("pilot",), True, ("spindle", "stopped"), ("bit",)),
    "bore": Action("Bore to the collar", "thumb", ("bore_bit", "bore_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "ream": Action("Ream or sand until the sleeve slides", "thumb", ("bore_bit",), True, ("dust",)),
    "drop_in": Action("Dry drop-in: the sleeve must fall in by its own weight", "thumb"),
    "set_height": Action("Set the sleeve's height by hand against the slug", "thumb"),
    "seat_flange": Action("Seat the flange on the ball's surface all round", "thumb"),
    "glue": Action("Roughen, clean and glue the sleeve in", "thumb", (), False, ("glue", "solvent")),
    "glue_slug": Action("Roughen, clean and glue the slug in", "thumb", (), False, ("glue", "solvent")),
    "notch": Action("Turn the notch to its direction against the centre line, let it cure", "thumb", ("notch",)),
    "zero": Action("Back to zero pitch", "thumb", ("zero_pitch",)),
    "flush": Action("Cut the sleeve flush with the ball", "thumb", (), True, ("spindle", "dust")),
    "flush_slug": Action("Cut the slug flush with the ball", "thumb", (), True, ("spindle", "dust")),
    "bevel": Action("Bevel the sleeve's edge", "thumb", (), True, ("dust",)),
    "lock_in": Action("Lock the inner in and feel that it is home", "thumb", ("inner",)),
    "read_rim": Action("Read the inner's rim at four clock places, and trim nothing", "thumb", ("rim",), False, ("stopped",), ("rim",)),
    "thumb_pitch": Action("Set the thumb's pitch", "thumb", ("thumb_pitch",)),
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
    "middle_pitch": Action("Set the middle finger's pitch", "middle", ("middle_pitch",)),
    "middle_check": Action("Check the bit on its own near edge, spindle still", "middle", ("middle_bit", "middle_line")),
    "middle_bore": Action("Bore the middle finger", "middle", ("middle_bit", "middle_depth"), True, ("spindle", "stopped"), ("depth", "bit")),
    "middle_insert": Action("Dry fit, then glue the middle insert", "middle", ("middle_insert",), False, ("glue",)),
    "ring_pitch": Action("Set the ring finger's pitch", "ring", ("ring_pitch",)),
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
    skipped = {"oval"} if not grip.thumb.oval_in else set()
    skipped |= _NOT_FOR[plan.inner_kind if plan.inner else "loaded"]
    skipped |= {f"{d}_insert" for d in ("middle", "ring") if getattr(grip, d).hole_in >= getattr(grip, d).cut_in}
    made = []
    for action, words in owned_routes.adapt_route(route, bool(plan.owned.unknown)) if plan.owned else route:
        if action in skipped:
            continue
        kind = ACTIONS[action]
        numbers = tuple(_mark_assumed(n, kind.hole, worked) for name in kind.tells for n in _TELLS[name](plan, worked))
        cautions = [CAUTIONS[name] for name in kind.cautions]
        made.append(Step(action, kind.hole, words, numbers, cautions, kind.is_cut, list(kind.reads)))
    return made


def update_frozen_edges(of: Drilling) -> None:
    """Recalculates, for display only, the numbers of unticked steps frozen before each bit had its own near edge.

    Those steps gave the finished oval's edge for a smaller bit, and the thumb's edge for a bore without a known sleeve.
    Ticked steps do not change.
    """
    stale = [
        step
        for step in of.steps
        if step.ticked_at is None
        and step.action in _EDGE_STEPS
        and not any(number.kind == "cut" for number in step.numbers)
    ]
    if not stale or of.plan is None:
        return
    worked = work_out(of.plan)
    for step in stale:
        told = tuple(number for name in ACTIONS[step.action].tells for number in _TELLS[name](of.plan, worked))
        set_committed_value(step, "numbers", told)  # for display only


def _mark_assumed(number: Number, hole: str, worked: WorkedOut) -> Number:
    """Marks a depth that was not given as ASSUMED."""
    drilled = "bore" if hole == "thumb" and "bore" in worked.assumed_depths else hole
    if not isinstance(number, LengthNumber) or number.what != "depth" or drilled not in worked.assumed_depths:
        return number
    return replace(number, words=f"{number.words}; ASSUMED")


def _length(what: str, value_in: float, words: str = "") -> Numbers:
    return (LengthNumber(what, value_in, words),)


def _pitch(forward_in: float, right_in: float, hole: str) -> Numbers:
    return (PitchNumber(forward_in, right_in, hole),)


def _cut(cut: Cut, what: str, move_in: tuple[float, float] | None = None) -> Numbers:
    """Returns a bit's own near edge and centre, and for every plunge but the first the table's move from it."""
    return (CutNumber(what, cut.near_edge_in, cut.centre_in, move_in),)


def _line(hole: str, before: str = "") -> Callable[[Plan, WorkedOut], Numbers]:
    """Returns a function that gives the near edge of a hole's first cut; plunge 0 of an oval is named so."""

    def tell(_plan: Plan, worked: WorkedOut) -> Numbers:
        made = worked.cuts_of(hole)
        words = [before, "plunge 0" if len(made) > 1 else "", "near edge"]
        return _cut(made[0], ", ".join(filter(None, words))) if made else ()

    return tell


def _finger(name: str, part: str) -> Callable[[Plan, WorkedOut], Numbers]:
    def tell(_plan: Plan, worked: WorkedOut) -> Numbers:
        finger = getattr(worked.solved.grip, name)
        match part:
            case "pitch":
                return _pitch(finger.forward_in, finger.right_in, "finger")
            case "bit":
                return _length("bit", finger.cut_in)
            case "depth":
                return _length("depth", finger.depth_in, "from the surface, to full diameter")
            case _:
                return _length("inside", finger.hole_in, "the insert's finished hole")

    return tell


def _window(plan: Plan, worked: WorkedOut) -> Numbers:
    window = worked.window
    if window is None:
        return (TextNumber("travel", "unknown: the system has no lock depth or inner length"),)
    if not window.is_open:
        return (TextNumber("travel", "no travel clears the slug and spares the lock: take a flat bit"),)
    return (
        LengthNumber("travel at least", window.least_in, "full diameter clear of the slug"),
        LengthNumber("travel at most", window.most_in, "the point stays off the lock"),
    )


def _moves(_plan: Plan, worked: WorkedOut) -> Numbers:
    first, *others = worked.cuts_of("thumb")
    later = [n for i, cut in enumerate(others, 1) for n in _cut(cut, f"plunge {i}", cut.move_in)]
    return (*_cut(first, "plunge 0, near edge"), *later)


def _predicted(_plan: Plan, worked: WorkedOut) -> Numbers:
    words = "sleeve to cut" if worked.has_sleeve else "cut span"
    return tuple(LengthNumber(f"to {f}", worked.predicted_in(f), words) for f in ("middle", "ring"))


def _cut_lines(plan: Plan, worked: WorkedOut) -> Numbers:
    named = (("bore", "sleeve bore"), ("thumb", "thumb"), ("middle", "middle"), ("ring", "ring"))
    return tuple(number for hole, words in named for number in _line(hole, words)(plan, worked))


def _bore(plan: Plan) -> PlannedBore:
    assert plan.bore is not None  # only routes of hardware have bore steps
    return plan.bore


_TELLS: dict[str, Callable[[Plan, WorkedOut], Numbers]] = {
    "cut_lines": _cut_lines,
    "bore_pitch": lambda plan, worked: _pitch(_bore(plan).forward_in, _bore(plan).right_in, "thumb"),
    "bore_bit": lambda plan, worked: _length("bit", _bore(plan).bore_in),
    "bore_line": _line("bore"),
    "bore_depth": lambda plan, worked: _length("depth", _bore(plan).depth_in, f"collar setting, {_bore(plan).depth_words}"),
    "pilot": lambda plan, worked: _length("depth", _bore(plan).depth_in, "to the point, no deeper; any bit smaller than the bore"),
    "notch": lambda plan, worked: (ClockNumber("notch", plan.notch_deg),),
    "zero_pitch": lambda plan, worked: _pitch(0.0, 0.0, "thumb"),
    "inner": lambda plan, worked: _length("inner, outside", plan.inner.outside_in, owned_routes.describe_inner(plan)) if plan.inner else (),
    "rim": lambda plan, worked: owned_routes.tell_rim(plan),
    "thumb_pitch": lambda plan, worked: _pitch(worked.solved.grip.thumb.forward_in, worked.solved.grip.thumb.right_in, "thumb"),
    "thumb_bit": lambda plan, worked: _length("bit", worked.solved.grip.thumb.hole_in),
    "thumb_line": _line("thumb"),
    "thumb_depth": lambda plan, worked: _length("depth", worked.solved.grip.thumb.depth_in, "from the surface"),
    "window": _window,
    "moves": _moves,
    "predicted": _predicted,
    **{f"{name}_{part}": _finger(name, part) for name in ("middle", "ring") for part in ("pitch", "bit", "depth", "insert")},
    **{f"{name}_line": _line(name) for name in ("middle", "ring")},
}  # fmt: skip
