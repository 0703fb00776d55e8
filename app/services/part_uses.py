"""What a drilling takes off the shelf, and what the plans of a promised week will take.

A shop counts only what it has put on its shelf: a part that is not there is not missed. Of several lots the oldest with
a piece left is used; which one it really was may be set right on the part's page.
"""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, joinedload

from app.closed_sets import DRILLS
from app.measures.wording import decimal, inches
from app.models import Drilling, FitHole, InsertSystem, Part, PartMovement, Ticket
from app.models.plans import Plan
from app.services import shelf

NEEDED_FOR = timedelta(days=7)
GLUED = ("sleeve", "slug")
_OPEN = ("taken in", "ready", "on the bench")
Inserts = dict[tuple[int, str], int]  # the hardware of a fit's finger


@dataclass(frozen=True)
class Use:
    """One part that a drilling uses; size None: any of that hardware."""

    kind: str
    system_id: int
    size_in: Fraction | None
    why: str

    def fits(self, part: Part) -> bool:
        is_same = (part.kind, part.system_id) == (self.kind, self.system_id)
        is_size = self.size_in is None or part.size_in is None or inches(part.size_in) == inches(self.size_in)
        return is_same and is_size


@dataclass(frozen=True)
class Week:
    """What planned work that is promised within the week will use; `unplanned` tickets have no plan to tell by."""

    needs: shelf.Needs
    unplanned: int


def list_uses(of: Drilling, plan: Plan, skipped: Collection[str], inserts: Inserts) -> list[Use]:
    """Returns the parts that a drilling uses by its plan, without those of the steps that were skipped."""
    found = _list_thumb_uses(of.system, plan, skipped) if of.system and plan.bore else []
    for finger in sorted(plan.inserts):
        system_id = inserts.get((of.fit_id or 0, finger))
        if system_id and f"{finger}_insert" not in skipped and finger in plan.grip.fingers:
            inside = Fraction(plan.grip.fingers[finger].hole_in).limit_denominator(10**6)
            found.append(Use("insert", system_id, inside, f"glued into the {finger} finger"))
    return found


def _list_thumb_uses(system: InsertSystem, plan: Plan, skipped: Collection[str]) -> list[Use]:
    if system.height_set_by == "slug":
        return [] if "glue_slug" in skipped else [Use("slug", system.id, None, "glued in for the thumb")]
    found = [] if "glue" in skipped else [Use("sleeve", system.id, None, "glued in for the thumb")]
    if plan.inner and not plan.owned and not {"lock_in", "drill_inner"} & set(skipped):
        outside = Fraction(plan.inner.outside_in).limit_denominator(10**6)
        found.append(Use("inner", system.id, outside, "a thumb was drilled in it"))
    return found


def use_for(session: Session, who: int, of: Drilling, plan: Plan, skipped: Collection[str]) -> list[PartMovement]:
    """Counts down what a drilling used, below zero too; returns the movements."""
    uses = list_uses(of, plan, skipped, _find_inserts(session, [of]))
    wanted = {use.system_id for use in uses}
    kept = shelf.list_counts(session, Part.system_id.in_(wanted), Part.retired_at.is_(None)) if uses else []
    left = {part.id: count for part, count in kept}
    made = []
    for use in uses:
        part = _pick(use, [part for part, _ in kept], left)
        if part:
            movement = PartMovement(count=-1, cause="use", why=use.why, drilling_id=of.id)
            made.append(shelf.post(session, who, part, movement))
            left[part.id] -= 1
    return made


def _pick(use: Use, parts: Iterable[Part], left: dict[int, int]) -> Part | None:
    """Returns the oldest part that fits and has a piece left, else the newest; None where the shop counts none."""
    fitting = [part for part in parts if use.fits(part)]
    return next((part for part in fitting if left[part.id] > 0), fitting[-1] if fitting else None)


def warn_outside(session: Session, of: Drilling) -> str:
    """Returns what is wrong with the outside measured over the lot that is due to be glued in; empty if nothing is.

    A piece wider than the bore does not fall in. Finishing measures run from the outside of the sleeve, so half of what
    it is off its hardware's size goes into them: told from half of the drilling's tolerance on.
    """
    plan = of.current_plan
    uses = list_uses(of, plan, (), {}) if plan else []
    use = next((use for use in uses if use.kind in GLUED), None)
    kept = shelf.list_counts(session, Part.system_id == of.system_id, Part.retired_at.is_(None)) if use else []
    part = _pick(use, [part for part, _ in kept], {part.id: count for part, count in kept}) if use else None
    if part is None or part.outside_low_in is None or part.outside_high_in is None or not plan or not plan.bore:
        return ""
    measured = f"{shelf.name_part(part)}: measured {decimal(part.outside_low_in)} to {decimal(part.outside_high_in)}"
    if part.outside_high_in > Fraction(plan.bore.bore_in):
        bored = inches(plan.bore.bore_in)
        return f"{measured} outside, wider than the bore of {bored}. Try each piece dry before any glue."
    said = of.system.sleeve_od_in if of.system else None
    off = max(abs(measure - said) for measure in (part.outside_low_in, part.outside_high_in)) if said else Fraction(0)
    if said and off >= of.tolerance_in:
        return f"{measured} outside, not {inches(said)}: measures from it come out up to {decimal(off / 2)} off."
    return ""


def _find_inserts(session: Session, drilled: Iterable[Drilling]) -> Inserts:
    fit_ids = {of.fit_id for of in drilled if of.fit_id}
    query = select(FitHole.fit_id, FitHole.digit, FitHole.system_id)
    query = query.where(FitHole.fit_id.in_(fit_ids), FitHole.system_id.is_not(None))
    found = session.execute(query) if fit_ids else ()
    return {(fit_id, digit): system_id for fit_id, digit, system_id in found if system_id}


def find_week(session: Session, at: datetime) -> Week:
    """Returns what the tickets promised until a week from then will use, in three queries."""
    due = (Ticket.state.in_(_OPEN), Ticket.promised_at <= at + NEEDED_FOR)
    query = select(Drilling).join(Ticket, Ticket.drilling_id == Drilling.id).options(joinedload(Drilling.system))
    planned = session.scalars(query.where(*due, Drilling.state == "planned")).unique().all()
    inserts = _find_inserts(session, planned)
    needs: Counter[tuple[str, int | None, str]] = Counter()
    for of in planned:
        plan = of.current_plan
        for use in list_uses(of, plan, (), inserts) if plan else ():
            needs[use.kind, use.system_id, "" if use.size_in is None else inches(use.size_in)] += 1
    ended = Drilling.state.in_(("plugged", "not drilled"))
    unplanned = (
        select(func.count(Ticket.id))
        .outerjoin(Drilling, Drilling.id == Ticket.drilling_id)
        .where(*due, Ticket.what.in_(DRILLS), or_(Ticket.drilling_id.is_(None), ended))
    )
    return Week(needs, session.scalar(unplanned) or 0)
