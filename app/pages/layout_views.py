"""A worked layout as its page and its print tell it: the one answer, arcs, marking steps, what an error does."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calculation.marking_lists import Change, MarkingStep
from app.errors import InvalidError
from app.measures.axis_points import write_point
from app.measures.pairs import AxisPoint as PointText
from app.measures.wording import decimal, degree_words
from app.models import AxisPoint, Drilling, Layout
from app.pages.layout_pictures import ERRORS, draw_layout
from app.pages.layout_step_pictures import draw_step
from app.pages.pictures import GripPicture
from app.pages.render import Shown
from app.services import layout_choices, layouts
from app.services.layout_choices import ReadBack
from app.services.layout_standings import pick_of, pick_since
from app.services.layout_work_outs import OnBall, WorkedLayout, describe_clearance, work_out_layout

_HERE_IN = 1e-6
_AT = {"pin": "At the pin", "axis": "At the axis point", "foot": "Where they cross", "grip": "At the grip centre"}
_OFF = {"pin": "the line back to the pin", "upper half": "the axis line"}
_FINDS = {
    "axis": "axis point", "axis line": "axis line", "foot": "midline crossing", "grip": "grip centre",
    "centre line": "centre line",
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """The one answer of a layout: its kind of verdict (empty is none), what it says, and more."""

    kind: str
    says: str
    more: str


def answer_layout(worked: WorkedLayout, on: OnBall) -> Answer:
    """Which holes come too near, or that none does; no verdict where there is no grip to judge.

    Over something that nobody knows it is never green.
    """
    if on.solved is None:
        return Answer("", "Laid out", f"no grip of the {on.hand} hand is known here, so no hole is judged")
    conflicts = worked.conflicts
    if conflicts:
        return Answer(
            "bad",
            list_conflicts(worked)[0].capitalize(),
            f"{len(conflicts)} in all" if len(conflicts) > 1 else "",
        )
    nearest = describe_clearance(min(worked.clearances, key=lambda c: c.gap_in - c.limit_in), worked.mark_name)
    doubts = [*worked.doubts, *on.doubts]
    if worked.track_in is None:
        doubts.insert(0, "the track is not known")
    if worked.misfit_in:
        told = [tell_misfit(worked.misfit_in, worked.mark_name), *doubts, f"nearest: {nearest}"]
        return Answer("doubt", "Places and marks contradict each other", "; ".join(told))
    if on.stale:
        return Answer("doubt", "It stands on what no longer holds", "; ".join([*doubts, f"nearest: {nearest}"]))
    if doubts:
        return Answer("doubt", "Clear as far as is known", "; ".join([*doubts, f"nearest: {nearest}"]))
    return Answer("good", "Clear of every hole", f"nearest: {nearest}")


def note_reading(read: ReadBack, mark_name: str) -> str:
    """The note of a layout that was read back: what contradicts the ball's marks is kept with it."""
    return f"read back from the ball{f', {tell_misfit(read.misfit_in, mark_name)}' if read.is_beyond_doubt else ''}"


def tell_misfit(misfit_in: float, mark_name: str, is_arc_assumed: bool = False) -> str:
    """`pin to mass mark 0.250 in longer than measured`."""
    way = "longer" if misfit_in > 0 else "shorter"
    than = "the quarter of the ball that is ASSUMED" if is_arc_assumed else "measured between the marks"
    return f"pin to {mark_name} {decimal(abs(misfit_in))} in {way} than {than}"


def list_conflicts(worked: WorkedLayout) -> list[str]:
    """What comes too near, the nearest first, in words."""
    return [describe_clearance(one, worked.mark_name) for one in worked.conflicts]


@dataclass(frozen=True)
class Arc:
    """One arc that a tape can check."""

    words: str
    value_in: float
    more: str = ""


def list_arcs(worked: WorkedLayout) -> list[Arc]:
    """The arcs of a layout between its places."""
    laid, arcs, mark = worked.laid, worked.laid.arcs, worked.mark_name
    off_in = arcs["pin_axis_line_in"]
    beyond = "" if off_in >= 0 else "on the far side of it, seen from the grip"
    quarter = "" if worked.is_mark_arc_measured else "a quarter of the ball ASSUMED, its own was not measured"
    return [
        Arc("Pin to axis point", laid.layout.pin_axis_in),
        Arc(f"Pin to {mark}", laid.pin_mark_in, quarter),
        Arc("Pin to axis line, square", abs(off_in), beyond),
        Arc(f"{mark.capitalize()} to axis point", arcs["mark_axis_in"]),
        Arc("Grip centre to axis point", arcs["grip_axis_in"]),
        Arc("Grip centre to pin", arcs["grip_pin_in"]),
        Arc(f"Grip centre to {mark}", arcs["grip_mark_in"]),
    ]


@dataclass(frozen=True)
class Step:
    """One step of the marking list: what it finds, what to do, and what an error at it does to the two check arcs."""

    finds: str
    do: str
    arc_in: float | None
    swing: str
    picture: GripPicture
    arc_error: Change | None
    swing_error: Change | None


def list_steps(worked: WorkedLayout) -> list[Step]:
    """The marking list in words, each step with its drawing."""
    marking = worked.marking
    return [
        Step(
            _FINDS[step.finds],
            _describe_step(step, worked),
            step.arc_in,
            _describe_swing(step),
            draw_step(worked.laid, i, worked.mark_name),
            error.arc,
            error.swing,
        )
        for i, (step, error) in enumerate(zip(marking.steps, marking.errors, strict=True))
    ]


def _describe_swing(step: MarkingStep) -> str:
    """`40° anticlockwise`, `square`; empty where nothing is swung."""
    if step.swing_deg is None or abs(step.swing_deg) < _HERE_IN:
        return ""
    if abs(step.swing_deg) == 90 and step.at in {"foot", "grip"}:
        return "square"
    return f"{degree_words(abs(step.swing_deg))} {'clockwise' if step.swing_deg > 0 else 'anticlockwise'}"


def _describe_step(step: MarkingStep, worked: WorkedLayout) -> str:
    swing, laid = _describe_swing(step), worked.laid
    if step.finds == "foot":
        way = "down" if step.line == "lower half" else "up"
        if not step.arc_in or step.arc_in < _HERE_IN:
            return "The axis point lies on the midline: it and the midline crossing are the same point."
        return f"Along the axis line, {way} from the axis point."
    if step.finds == "grip":
        side = "left" if (laid.axis_point.over_in > 0) == (laid.hand == "right") else "right"
        return f"Where they cross, square off the axis line, to the {side}."
    if step.finds == "centre line":
        return "At the grip centre, square off the line back, through it both ways: the fingers go up."
    off = _OFF.get(step.line, f"the line to the {worked.mark_name}")
    along = "on it" if not swing else "swing it and draw" if step.arc_in is None else "swing, and along that"
    ends = ", its upper half that way and the lower straight on" if step.finds == "axis line" else ""
    return f"{_AT[step.at]}, from {off}: {along}{ends}."


@dataclass(frozen=True)
class LaidDrilling:
    """The layout of a drilling, None without one, as its pages show it; without words where it cannot be built.

    `since` is the layout chosen since, which it is not on; `stale`, in words, is what no longer holds of its own.
    """

    layout: Layout | None = None
    since: Layout | None = None
    conflicts: tuple[str, ...] = ()
    stale: tuple[str, ...] = ()
    picture: GripPicture | None = None


def show_in_drilling(session: Session, drilling: Drilling, is_drawn: bool = True) -> LaidDrilling:
    saved = layouts.list_of_ball(session, drilling.ball_id)
    layout = pick_of(session, saved, drilling)
    since = pick_since(saved, drilling, layout)
    if layout is None:
        return LaidDrilling(since=since)
    on = layout_choices.stand_in(session, drilling, layout)
    try:
        worked = work_out_layout(layout, on)
    except InvalidError:
        return LaidDrilling(layout, since, stale=on.stale)
    picture = draw_worked(worked, on) if is_drawn else None
    return LaidDrilling(layout, since, tuple(list_conflicts(worked)), on.stale, picture)


def draw_worked(worked: WorkedLayout, on: OnBall) -> GripPicture:
    return draw_layout(worked.laid, on.solved, worked.heavy.at, worked.track_in, worked.mark_name)


def name_errors(steps: Sequence[Step]) -> list[tuple[str, Change]]:
    """Every error that a hand makes at a step, and what it does: (error in words, change)."""
    arc, swing = ERRORS
    found: list[tuple[str, Change]] = []
    for step in steps:
        if step.arc_error:
            found.append((f"{arc} along, to the {step.finds}", step.arc_error))
        if step.swing_error:
            found.append((f"{swing} in the swing, for the {step.finds}", step.swing_error))
    return found


def list_point_options(points: Sequence[AxisPoint]) -> list[tuple[int, str]]:
    """Axis points as choices, each with its hand and the day it was found."""
    days = {p.id: p.found_on.isoformat() if p.found_on else "day unknown" for p in points}
    told = {p.id: f"{p.hand} hand, {write_point(PointText(p.over_in, p.up_in))}, {days[p.id]}" for p in points}
    return [(p.id, f"taken back: {told[p.id]}" if p.taken_back_at else told[p.id]) for p in points]


def show_worked(worked: WorkedLayout, on: OnBall) -> Shown:
    """Everything that a page or a print shows of a worked layout."""
    steps = list_steps(worked)
    return {
        "worked": worked,
        "stale": on.stale,
        "grip_words": on.grip_words,
        "picture": draw_worked(worked, on),
        "answer": answer_layout(worked, on),
        "conflicts": list_conflicts(worked),
        "arcs": list_arcs(worked),
        "steps": steps,
        "errors_by_step": name_errors(steps),
    }
