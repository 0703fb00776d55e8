"""A depth that nobody read at the bench, read later: a dated reading beside what is recorded, never in its place."""

from datetime import UTC, date, datetime, time

from sqlalchemy.orm import Session

from app.closed_sets import BORED_HOLE_WORDS, BoredHole
from app.errors import ConflictError, InvalidError
from app.models import Bore, Drilling, Measurement, now
from app.schemas.drillings import DepthReadingForm
from app.services import bench, bench_stops, changes, depths, drillings, shop_limits

_CUTS: dict[BoredHole, set[str]] = {
    "bore": {"bore"},
    "thumb": {"drill_thumb", "drill_inner"},
    "middle": {"middle_bore"},
    "ring": {"ring_bore"},
}


def list_unread(of: Drilling, bore: Bore | None) -> list[BoredHole]:
    """Returns the holes of a drilling whose depth was not read: `of` has its steps."""
    unread = {step.action for step in of.steps if step.is_depth_unread}
    holes: list[BoredHole] = [hole for hole, actions in _CUTS.items() if actions & unread]
    return ["bore", *holes] if bore and bore.depth_in is None and "bore" not in holes else holes


def add_depth(session: Session, drilling_id: int, form: DepthReadingForm) -> Drilling:
    """Adds a depth read later, and lets what follows from it follow; raises ConflictError where one is known.

    On a ball not yet drilled it may stop the bench, as if it had been read there.
    """
    of = bench.get_drilling(session, drilling_id)
    changes.require_may_edit(session, of)
    bore = session.get(Bore, of.bore_id) if of.bore_id else None
    if of.state == "plugged":
        raise ConflictError("This drilling is plugged: its holes are filled.")
    if form.hole not in list_unread(of, bore):
        raise InvalidError.at(
            "hole", f"The depth of the {BORED_HOLE_WORDS[form.hole]} is known, or it was not drilled."
        )
    depth = form.depth.given
    datum = depths.reconcile_datum(depth.datum, form.datum)
    _record(session, of, form, datum)
    step = next((s for s in of.steps if s.action in _CUTS[form.hole] and s.is_depth_unread), None)
    if step:
        step.met_depth_in, step.met_datum = depth.depth_in, datum
        step.typed = step.typed | {"depth": form.depth.text}
        bench_stops.follow_met(session, form.who, of)
        told = bench_stops.answer(of, step, shop_limits.load_limits(session))
        if told and told.is_beyond and of.state == "planned":
            bench_stops.raise_stop(session, form.who, of, step, told)
    if form.hole == "bore" and bore:
        _complete_bore(session, of, bore, form, datum)
    return of


def _record(session: Session, of: Drilling, form: DepthReadingForm, datum: str) -> None:
    session.add(
        Measurement(
            drilling_id=of.id,
            stage="built",
            what=f"depth_{form.hole}",
            value_in=form.depth.given.depth_in,
            typed=form.depth.text,
            reference=datum,
            note=form.note,
            staff_id=form.who,
            taken_at=now() if form.day == date.today() else datetime.combine(form.day, time(12)).astimezone(UTC),
        )
    )
    entry = changes.Entry(
        f"depth of the {BORED_HOLE_WORDS[form.hole]}", "not read", f"{form.depth.text}, read {form.day}"
    )
    changes.note(session, form.who, of, entry, of.ball.bowler_id)


def _complete_bore(session: Session, of: Drilling, bore: Bore, form: DepthReadingForm, datum: str) -> None:
    plan = drillings.get_current_plan(of)
    assert plan.bore is not None  # a bore is recorded only where one was planned
    read = Bore()
    drillings.set_depth(read, form.depth.given.depth_in, datum, plan.bore)
    values = {"depth_in": read.depth_in, "datum": datum, "shim_in": read.shim_in}
    bore.typed = bore.typed | {"depth": form.depth.text}
    changes.revise(session, form.who, bore, values, f"read {form.day}", of.ball.bowler_id)
