"""The numbers that a step tells the driller, by name, from a plan that is worked out."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction

from app.calculation.cuts import Cut
from app.calculation.grip import Finger
from app.measures.wording import clock_words, inches
from app.models.numbers import (
    ClockNumber,
    CutNumber,
    LengthNumber,
    Number,
    Numbers,
    PitchNumber,
    TextNumber,
)
from app.models.plans import Plan
from app.services import mark_numbers, owned_routes
from app.services.grips import FINGERS
from app.services.unsettled import OUTSIDE
from app.services.work_outs import WorkedOut


def tell_numbers(names: Iterable[str], hole: str, plan: Plan, worked: WorkedOut) -> Numbers:
    """Returns what a step at a hole tells by these names; a depth that was not given is marked ASSUMED."""
    return tuple(_mark_assumed(number, hole, worked) for name in names for number in _TELLS[name](plan, worked))


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
        marks = () if before else mark_numbers.tell_marks_of(hole, worked)
        return (*marks, *_cut(made[0], ", ".join(filter(None, words)))) if made else ()

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
                return _insert(finger)

    return tell


def _insert(finger: Finger) -> Numbers:
    """The insert's finished hole, and where it goes if it is not in the middle or not round."""
    told = _length("inside", finger.hole_in, "the insert's finished hole")
    if finger.lift_in:
        lift = inches(Fraction(finger.lift_in))
        told += (TextNumber("turn", f"its inside stands {lift} off the axis, {_towards(finger.lift_deg)}"),)
    if finger.oval_in:
        wider = inches(Fraction(finger.oval_in))
        told += (TextNumber("turn", f"its inside is {wider} wider, {_towards(finger.oval_deg)}"),)
    return told


def _towards(deg: float) -> str:
    return f"towards {clock_words(Fraction(deg))}"


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
    if worked.solved.thumb is None:
        told = [LengthNumber(f"to {f}", worked.predicted_in(f), "cut reach, from the plus") for f in worked.fingers]
        return (*told, LengthNumber("bridge", worked.predictions_in["bridge"], "between the cut edges"))
    words = "sleeve to cut" if worked.has_sleeve else "cut span"
    return tuple(LengthNumber(f"to {f}", worked.predicted_in(f), words) for f in worked.fingers)


def _cut_lines(plan: Plan, worked: WorkedOut) -> Numbers:
    lines = (*mark_numbers.tell_marks(worked), *_near_edges(plan, worked))
    if worked.solved.thumb:
        return lines
    reaches = (
        LengthNumber(f"reach of {f}", worked.predicted_in(f), "from the plus to its near edge") for f in worked.fingers
    )
    return (*reaches, *lines)


def _near_edges(plan: Plan, worked: WorkedOut) -> Numbers:
    named = (("bore", "sleeve bore"), ("thumb", "thumb"), ("middle", "middle"), ("ring", "ring"))
    return tuple(number for hole, words in named for number in _line(hole, words)(plan, worked))


def _shim(plan: Plan, _worked: WorkedOut) -> Numbers:
    bore = plan.bore
    return _length("shim", bore.shim_in, "under the sleeve") if bore and bore.shim_in else ()


def _inner(plan: Plan, _worked: WorkedOut) -> Numbers:
    inner = plan.inner
    words = owned_routes.describe_inner(plan) + (", its outside unknown: ASSUMED" if OUTSIDE in plan.unknown else "")
    return _length("inner, outside", inner.outside_in, words) if inner else ()


def _bore(part: str) -> Callable[[Plan, WorkedOut], Numbers]:
    def tell(plan: Plan, _worked: WorkedOut) -> Numbers:
        bore = plan.bore
        assert bore is not None  # only routes of hardware have bore steps
        match part:
            case "pitch":
                return _pitch(bore.forward_in, bore.right_in, "thumb")
            case "bit":
                return _length("bit", bore.bore_in)
            case "pilot":
                return _length("depth", bore.depth_in, "to the point, no deeper; any bit smaller than the bore")
            case _:
                return _length("depth", bore.depth_in, f"collar setting, {bore.depth_words}")

    return tell


def _thumb(part: str) -> Callable[[Plan, WorkedOut], Numbers]:
    def tell(_plan: Plan, worked: WorkedOut) -> Numbers:
        thumb = worked.solved.grip.require_thumb()
        match part:
            case "pitch":
                return _pitch(thumb.forward_in, thumb.right_in, "thumb")
            case "bit":
                return _length("bit", thumb.hole_in)
            case _:
                return _length("depth", thumb.depth_in, "from the surface")

    return tell


_TELLS: dict[str, Callable[[Plan, WorkedOut], Numbers]] = {
    "cut_lines": _cut_lines,
    **{f"bore_{part}": _bore(part) for part in ("pitch", "bit", "depth")},
    "bore_line": _line("bore"),
    "pilot": _bore("pilot"),
    "shim": _shim,
    "notch": lambda plan, worked: (ClockNumber("notch", plan.notch_deg),),
    "zero_pitch": lambda plan, worked: _pitch(0.0, 0.0, "thumb"),
    "inner": _inner,
    "rim": lambda plan, worked: owned_routes.tell_rim(plan),
    **{f"thumb_{part}": _thumb(part) for part in ("pitch", "bit", "depth")},
    "thumb_line": _line("thumb"),
    "window": _window,
    "moves": _moves,
    "predicted": _predicted,
    **{f"{name}_{part}": _finger(name, part) for name in FINGERS for part in ("pitch", "bit", "depth", "insert")},
    **{f"{name}_line": _line(name) for name in FINGERS},
}
