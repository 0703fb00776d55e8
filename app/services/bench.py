"""Works through a drilling's steps: the pause before the first cut, ticks, and the values met at the bench.

A tick is idempotent: a ticked step does not change and keeps who ticked it first. Steps are ticked in their order only.
The pause is a record: person, hand, ball, hole and direction are read back before the first cut. A tick that waits for
the network carries a pass for one person, shop and drilling, never the PIN.
"""

from dataclasses import dataclass

from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, NotFoundError
from app.models import Drilling, DrillingStep, now
from app.schemas.drillings import ConfirmationForm, DrilledForm, TickForm
from app.schemas.forms import typed_texts
from app.services import changes, checks, depths, differences, drillings, fits, owned_rims, routes
from app.services.work_outs import work_out


def get_drilling(session: Session, drilling_id: int) -> Drilling:
    """Returns a drilling with its steps and who ticked them; raises NotFoundError."""
    steps = joinedload(Drilling.steps).joinedload(DrillingStep.staff)
    found = drillings.load(session, drilling_id, joinedload(Drilling.confirmed_by), steps)
    if found.state == "planned":
        routes.update_frozen_edges(found)
        owned_rims.update_rim_step(session, found)
    return found


def find_next_step(of: Drilling) -> DrillingStep | None:
    """Returns the first step that is not ticked, or None."""
    return next((step for step in of.steps if step.ticked_at is None), None)


def needs_pause(of: Drilling, step: DrillingStep | None) -> bool:
    """Whether the pause before the first cut that cannot be undone is still due at this step."""
    return step is not None and step.is_cut and of.confirmed_at is None


def confirm(session: Session, drilling_id: int, form: ConfirmationForm) -> Drilling:
    """Records the pause before the first cut; raises InvalidError if a check fails and no reason is given."""
    of = get_drilling(session, drilling_id)
    if of.confirmed_at:
        return of
    plan = drillings.get_plan(of)
    checks.require_reason(plan, work_out(plan), form.reason)
    values = {"confirmed_at": now(), "confirmed_by_id": form.who, "confirmed_reason": form.reason}
    changes.revise(session, form.who, of, values, "read back before the first cut", of.ball.bowler_id)
    return of


def tick(session: Session, drilling_id: int, position: int, form: TickForm) -> DrillingStep:
    """Ticks a step with the values met and returns it; a ticked step does not change. Raises ConflictError."""
    of = get_drilling(session, drilling_id)
    step = _step(of, position)
    if step.ticked_at is not None:
        return step
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: its steps can no longer be changed.")
    due = find_next_step(of)
    if due is not None and due.position < step.position:
        raise ConflictError(f"Step {due.position} is still open: “{due.words}”. Steps are done in their order.")
    if needs_pause(of, step):
        raise ConflictError("Read back person, hand, ball, hole and direction before the first cut.")
    depth = form.depth.value
    if "depth" in step.reads and depth:
        step.met_depth_in, step.met_datum = depth.depth_in, depths.reconcile_datum(depth.datum, "unknown")
    step.met_bit, step.note = form.bit, form.note
    step.ticked_at, step.staff_id, step.typed = now(), form.who, typed_texts(form)
    if "rim" in step.reads:
        owned_rims.add_rim(session, of, form, form.who, form.note)
    told = " ".join(filter(None, (form.depth.text, form.rim_words, form.bit, form.note)))
    changes.note(
        session,
        form.who,
        of,
        changes.Entry(f"step {position}: {step.words}", "", told or "done", ""),
        of.ball.bowler_id,
    )
    session.flush()
    if all(s.ticked_at or s.action == "measure" for s in of.steps):
        _become_drilled(session, form.who, of)
    return step


def untick(session: Session, drilling_id: int, position: int, who: int) -> DrillingStep:
    """Takes back the last tick; raises ConflictError for an earlier one or once the ball is drilled."""
    of = get_drilling(session, drilling_id)
    step = _step(of, position)
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: its steps can no longer be changed.")
    later = max((s.position for s in of.steps if s.ticked_at and s.position > position), default=None)
    if step.ticked_at is not None:
        if later:
            raise ConflictError(f"Step {later} is ticked: take that one back first. Steps are done in their order.")
        step.ticked_at = step.staff_id = step.met_depth_in = None
        step.met_datum = step.met_bit = step.note = ""
        changes.note(
            session,
            who,
            of,
            changes.Entry(f"step {position}: {step.words}", "done", "taken back", ""),
            of.ball.bowler_id,
        )
    return step


def _step(of: Drilling, position: int) -> DrillingStep:
    step = next((s for s in of.steps if s.position == position), None)
    if step is None:
        raise NotFoundError("There is no such step.")
    return step


def _become_drilled(session: Session, who: int, of: Drilling) -> None:
    """Records the bore as built from the values met, once every step but measuring is ticked."""
    met = next((s for s in of.steps if s.action == "bore" and s.met_depth_in is not None), None)
    form = {"who": str(who), "version": str(of.version), "depth": "unknown", "datum": "unknown"}
    if met:
        form |= {"depth": met.typed.get("depth", "unknown"), "datum": met.met_datum or "unknown"}
    drillings.mark_drilled(session, of.id, DrilledForm.read(form))


@dataclass(frozen=True)
class Staleness:
    """A plan whose fit was revised later: the fit in force now, and the differences."""

    fit_id: int
    letter: str
    lines: list[differences.Difference]


def find_staleness(session: Session, of: Drilling) -> Staleness | None:
    """Returns how a newer fit in force differs from an undrilled plan's, or None."""
    if of.state != "planned" or of.fit is None or of.fit.state == "in force":
        return None
    newer = next(
        (f for f in fits.list_of_bowler(session, of.fit.bowler_id) if f.hand == of.fit.hand and f.state == "in force"),
        None,
    )
    if newer is None:
        return None
    lines = differences.compare_fits(fits.get_fit(session, of.fit.id), newer)
    return Staleness(newer.id, newer.letter, [line for line in lines if line.words])
