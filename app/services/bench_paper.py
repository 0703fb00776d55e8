"""A drilling whose last steps were written down on paper, as on a day without power."""

from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.measures.amounts import read_depth
from app.models import Drilling, DrillingStep, now
from app.schemas.drillings import DrilledForm
from app.services import bench, bench_stops, changes, checks, depths, drillings, layout_choices, owned_rims, shop_limits
from app.services.work_outs import work_out


def finish_on_paper(session: Session, drilling_id: int, form: DrilledForm) -> Drilling:
    """Marks a drilling as drilled from a form filled in on paper: every open step was done, but not ticked here.

    Raises ConflictError at an open stop, InvalidError for a depth that the bench read otherwise, or one beyond the
    shop's limit without a reason.
    """
    of = bench.get_drilling(session, drilling_id)
    bench_stops.require_no_stop(of)
    changes.require_version(session, of, form.version)
    depth = form.depth.value
    bore = next((s for s in of.steps if s.action == "bore"), None)
    _tick_on_paper(session, form.who, of)
    if depth is None and bore and bore.met_depth_in is not None and bore.typed.get("depth"):
        form = form.model_copy(update={"depth": read_depth(bore.typed["depth"]), "datum": bore.met_datum})
    elif depth and bore and bore.is_done:
        datum = depths.reconcile_datum(depth.datum, form.datum)
        if bore.met_depth_in is not None and (bore.met_depth_in, bore.met_datum) != (depth.depth_in, datum):
            read = bore.typed.get("depth", "")
            raise InvalidError.at("depth", f"At the bench it was read as {read}. Write that, or take back its tick.")
        if bore.met_depth_in is None:
            bore.met_depth_in, bore.met_datum = depth.depth_in, datum
            bore.typed = bore.typed | {"depth": form.depth.text}
            bench.note_step(session, form.who, of, bore, "", f"{form.depth.text}, written down on paper")
            _require_reason_for_depth(session, of, bore, form)
    bench_stops.follow_met(session, form.who, of)
    if of.confirmed_at is None:
        conflicts = layout_choices.list_conflicts(session, of)
        plan, reason = drillings.get_current_plan(of), form.reason or drillings.find_reason(session, of)
        checks.require_reason(plan, work_out(plan), reason, conflicts)
        layout_choices.take_up(session, form.who, of)
    session.flush()
    return owned_rims.mark_drilled(session, drilling_id, form.model_copy(update={"version": of.version}))


def _tick_on_paper(session: Session, who: int, of: Drilling) -> None:
    """Ticks every open step but measuring, with one line of history for all of them."""
    due = [step for step in of.steps if step.ticked_at is None and step.action != "measure"]
    for step in due:
        step.ticked_at, step.staff_id, step.note = now(), who, "done, and written down on paper"
    if due:
        words = ", ".join(f"{step.position}" for step in due)
        entry = changes.Entry("open steps", "", f"steps {words}: done, and written down on paper")
        changes.note(session, who, of, entry, of.ball.bowler_id)


def _require_reason_for_depth(session: Session, of: Drilling, bore: DrillingStep, form: DrilledForm) -> None:
    told = bench_stops.answer(of, bore, shop_limits.load_limits(session))
    if told and told.is_beyond and not form.reason:
        lines = "; ".join(bench_stops.describe_terms(told))
        raise InvalidError.at("reason", f"It is not as planned ({lines}). Give a reason to finish it so.")
