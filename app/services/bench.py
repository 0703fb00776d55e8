"""Works through a drilling's steps: the pause before the first cut, ticks, and the values met at the bench.

A tick is idempotent: a ticked step does not change and keeps who ticked it first. Steps are ticked in their order only,
those of one screen (`bench_screens`) in one post. The pause is a record: person, hand, ball, hole and direction are
read back before the first cut. A tick that waits for the network carries a pass for one person, shop and drilling,
never the PIN.
"""

from collections.abc import Mapping, Sequence

from sqlalchemy.orm import Session, joinedload, selectinload
from sqlalchemy.orm.attributes import flag_modified
from sqlalchemy.sql.base import ExecutableOption

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import BenchStop, Drilling, DrillingStep, now
from app.schemas.drillings import ConfirmationForm, DecisionForm, DrilledForm, PluggingForm, SkipForm, TickForm
from app.schemas.forms import typed_texts
from app.services import (
    bench_screens,
    bench_stops,
    changes,
    checks,
    drillings,
    layout_choices,
    owned_rims,
    part_uses,
    routes,
    shop_limits,
    ticket_scans,
)
from app.services.work_outs import work_out

_STOPS = selectinload(Drilling.stops)
_AT_THE_BENCH = (
    joinedload(Drilling.confirmed_by),
    selectinload(Drilling.steps).joinedload(DrillingStep.staff),  # joined, each step would repeat the plans
    _STOPS.joinedload(BenchStop.raised_by),
    _STOPS.joinedload(BenchStop.decided_by),
)


def get_drilling(session: Session, drilling_id: int, *more: ExecutableOption) -> Drilling:
    """Returns a drilling with its steps, who ticked them, its stops, and `more`; raises NotFoundError."""
    found = drillings.load(session, drilling_id, *_AT_THE_BENCH, *more)
    if found.state == "planned":
        routes.update_frozen_edges(found)
        owned_rims.update_rim_step(session, found)
    return found


def find_next_step(of: Drilling) -> DrillingStep | None:
    """Returns the first step that is not ticked, or None; measuring ends a route, wherever a shop's own has it."""
    due = [step for step in of.steps if step.ticked_at is None]
    return min(due, key=lambda step: (step.action == "measure", step.position), default=None)


def needs_pause(of: Drilling, step: DrillingStep | None) -> bool:
    """Whether the pause before the first cut that cannot be undone is still due at this step."""
    return step is not None and step.is_cut and of.confirmed_at is None


def confirm(session: Session, drilling_id: int, form: ConfirmationForm) -> Drilling:
    """Records the pause before the first cut; raises InvalidError where a failing check or layout has no reason.

    Raises ConflictError for a page that was shown before a step was taken back: what was read back may be set anew.
    """
    of = get_drilling(session, drilling_id)
    if of.confirmed_at:
        return of
    if form.version:
        changes.require_version(session, of, form.version)
    plan = drillings.get_current_plan(of)
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: nothing is left to read back.")
    drillings.require_cured(session, of)
    ticket_scans.require_at_bench(session, drilling_id)
    checks.require_reason(plan, work_out(plan), form.reason, layout_choices.list_conflicts(session, of))
    values = {"confirmed_at": now(), "confirmed_by_id": form.who, "confirmed_reason": form.reason}
    layout_choices.take_up(session, form.who, of)
    changes.revise(session, form.who, of, values, "read back before the first cut", of.ball.bowler_id)
    return of


def tick_together(session: Session, drilling_id: int, forms: Mapping[int, TickForm]) -> None:
    """Ticks the steps of one screen in their order, each with what was met at it.

    They were done before they were sent, so a stop that one raises does not hold back the others: each reading is kept,
    and whoever decides the stop sees them all. Raises what `tick` raises, and then ticks none.
    """
    of = None
    for position in sorted(forms):
        of = of or get_drilling(session, drilling_id)
        step = _tick(session, of, position, forms[position], frozenset(forms))
        of = None if step.reads else of  # what was met may change other steps


def tick(session: Session, drilling_id: int, position: int, form: TickForm) -> DrillingStep:
    """Ticks a step with the values met and returns it; a ticked step does not change, and history keeps other values.

    What was met beyond a limit of the shop stops the bench. Raises ConflictError, or InvalidError for a depth that is
    neither met nor said to be not read.
    """
    return _tick(session, get_drilling(session, drilling_id), position, form, frozenset())


def _tick(session: Session, of: Drilling, position: int, form: TickForm, together: frozenset[int]) -> DrillingStep:
    """Ticks a step; a stop at a step done `together` with this one does not hold it back."""
    step = _get_step(of, position)
    if step.ticked_at is not None:
        _keep_uncounted(session, of, step, form)
        return step
    _require_due(of, step, together)
    ticket_scans.require_at_bench(session, of.id)
    if needs_pause(of, step):
        raise ConflictError("Read back person, hand, ball, hole and direction before the first cut.")
    bench_stops.fill_met(step, form)
    step.ticked_at, step.staff_id, step.typed = now(), form.who, typed_texts(form)
    if "rim" in step.reads:
        owned_rims.add_rim(session, of, form, form.who, form.note)
    told = part_uses.put_in(session, of, step, form)
    note_step(session, form.who, of, step, "", f"{form.met_words} {told}".strip() or "done")
    _answer(session, form.who, of, step)
    session.flush()
    _finish(session, form.who, of)
    return step


def _keep_uncounted(session: Session, of: Drilling, step: DrillingStep, form: TickForm) -> None:
    """Writes what another bench met at a step that is ticked already into the history, where it is not the same."""
    texts = {text for text in (*typed_texts(form).values(), form.bit) if text}
    if texts - {*step.typed.values(), step.met_bit, "unknown"}:
        entry = changes.Entry(f"step {step.position}: {step.words}", "", f"{form.met_words}: came late, not counted")
        changes.note(session, form.who, of, entry, of.ball.bowler_id, is_addition=True)


def skip(session: Session, drilling_id: int, position: int, form: SkipForm) -> DrillingStep:
    """Skips the step that is due, with the reason: it counts as not done. Raises ConflictError."""
    of = get_drilling(session, drilling_id)
    step = _get_step(of, position)
    if step.ticked_at is not None:
        return step
    _require_due(of, step)
    if step.action == "measure":
        raise ConflictError("Measuring ends the drilling: it cannot be skipped.")
    step.ticked_at, step.staff_id, step.skip_reason = now(), form.who, form.reason
    note_step(session, form.who, of, step, "", "skipped", form.reason)
    bench_stops.follow_met(session, form.who, of)
    session.flush()
    _finish(session, form.who, of)
    return step


def untick(session: Session, drilling_id: int, position: int, who: int, version: int | None = None) -> DrillingStep:
    """Takes back the last tick or skip; raises ConflictError for an earlier one or once the ball is drilled.

    `version` is that of the page with the tick to be taken back, which may have been taken back and made anew since.
    """
    of = get_drilling(session, drilling_id)
    step = _get_step(of, position)
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: its steps can no longer be changed.")
    later = max((s.position for s in of.steps if s.ticked_at and s.position > position), default=None)
    if step.ticked_at is not None:
        if later:
            raise ConflictError(f"Step {later} is ticked: take that one back first. Steps are done in their order.")
        if version is not None:
            changes.require_version(session, of, version)
        met = bench_stops.describe_met(step)
        bench_stops.clear_met(step)
        note_step(session, who, of, step, met or "done", "taken back")
        bench_stops.take_back_stops(session, who, of, position)
        bench_stops.follow_met(session, who, of)
        flag_modified(of, "state")  # a form that shows this tick is of an older version now
    return step


def untick_together(
    session: Session, drilling_id: int, positions: Sequence[int], who: int, version: int | None = None
) -> None:
    """Takes back the ticks of one screen, the last first; raises what `untick` raises."""
    for position in sorted(positions, reverse=True):
        untick(session, drilling_id, position, who, version)
        version = None  # what follows is of the same page


def decide(session: Session, drilling_id: int, form: DecisionForm) -> Drilling:
    """Decides how to go on where the bench stopped; raises ConflictError if it did not, or InvalidError."""
    of = get_drilling(session, drilling_id)
    changes.require_version(session, of, form.version)
    stop = bench_stops.find_open_stop(of)
    if stop is None or of.state != "planned":
        raise ConflictError("Nothing stops this bench any more. Look at it again.")
    if form.decision == "take_back":
        untick_together(session, drilling_id, bench_screens.list_ticked_with(of, stop.position), form.who)
    elif form.decision == "hand_over":
        bench_stops.hand_over(session, form.who, of, stop, form.reason)
    elif form.decision == "plug":
        if not form.reason:
            raise InvalidError.at("reason", "Why was it plugged?")
        plug(session, drilling_id, PluggingForm.read(form.model_dump(include={"who", "version", "reason"})))
    else:
        bench_stops.settle(session, of, stop, form)
        session.flush()
        _finish(session, form.who, of)
    return of


def plug(session: Session, drilling_id: int, form: PluggingForm) -> Drilling:
    """Marks a drilling as plugged; a stop that is open at its bench ends with it."""
    of = get_drilling(session, drilling_id)
    changes.require_version(session, of, form.version)
    bench_stops.close_as_plugged(session, form.who, of, form.reason)
    session.flush()
    return drillings.plug(session, drilling_id, form.model_copy(update={"version": of.version}))


def _answer(session: Session, who: int, of: Drilling, step: DrillingStep) -> None:
    """Compares what a step met with its plan, and lets every later number follow."""
    if not bench_stops.has_met(step) and not step.leaves_pitch_unknown:
        return
    told = bench_stops.answer(of, step, shop_limits.load_limits(session))
    bench_stops.follow_met(session, who, of)
    if told and told.is_beyond:
        bench_stops.raise_stop(session, who, of, step, told)


def _require_due(of: Drilling, step: DrillingStep, together: frozenset[int] = frozenset()) -> None:
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: its steps can no longer be changed.")
    if (stop := bench_stops.find_open_stop(of)) and stop.position not in together:
        bench_stops.require_no_stop(of)
    due = find_next_step(of)
    if due is not None and due.position < step.position:
        raise ConflictError(f"Step {due.position} is still open: “{due.words}”. Steps are done in their order.")


def _get_step(of: Drilling, position: int) -> DrillingStep:
    step = next((s for s in of.steps if s.position == position), None)
    if step is None:
        raise NotFoundError("There is no such step.")
    return step


def note_step(session: Session, who: int, of: Drilling, step: DrillingStep, *told: str) -> None:
    """Adds a line of history about a step: old, new, and why."""
    entry = changes.Entry(f"step {step.position}: {step.words}", *told)
    changes.note(session, who, of, entry, of.ball.bowler_id)


def _finish(session: Session, who: int, of: Drilling) -> None:
    """Records the bore as built from the values met, once every step but measuring is done or skipped.

    Where no cut was done the drilling stays planned: nothing was drilled. A failing check without a reason stops it.
    """
    is_over = all(s.ticked_at or s.action == "measure" for s in of.steps)
    if not is_over or bench_stops.find_open_stop(of) or not any(s.is_done for s in of.steps if s.is_cut):
        return
    if bench_stops.raise_failing_stop(session, who, of):
        return
    met = next((s for s in of.steps if s.action == "bore" and s.met_depth_in is not None), None)
    form = {"who": str(who), "version": str(of.version), "depth": "unknown", "datum": "unknown"}
    if met:
        form |= {"depth": met.typed.get("depth", "unknown"), "datum": met.met_datum or "unknown"}
    drillings.mark_drilled(session, of.id, DrilledForm.read(form))
