"""What a drilling takes off the shelf, and what the plans of a promised week will take.

A shop counts only what it has put on its shelf: a part that is not there is not missed. Of several lots the driller
chooses one at the step that puts it in; it is counted down when the ball is drilled, or plugged before that. Where
nobody chose, it is the lot used last; which one it really was may be set right on the part's page. Glue is counted by
the pack, when one is opened: how many balls a pack does, nobody knows beforehand.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, joinedload

from app.closed_sets import DRILLS, PartKind
from app.errors import InvalidError
from app.measures.wording import decimal, inches
from app.models import Drilling, DrillingStep, FitHole, InsertSystem, Part, PartMovement, Ticket
from app.models.plans import Plan
from app.schemas.drillings import TickForm
from app.services import shelf

NEEDED_FOR = timedelta(days=7)
GLUED = ("sleeve", "slug")
GLUES = ("glue", "glue_slug", "middle_insert", "ring_insert")  # actions at which glue is used
_LONGEST_NOTE = 400
PUTS_IN = (*GLUES, "lock_in")  # actions at which a part goes into the ball
_OPEN = ("taken in", "ready", "on the bench")
Inserts = dict[tuple[int, str], int]  # the hardware of a fit's finger


@dataclass(frozen=True)
class Use:
    """One part that a drilling uses, put in at the step of an action; size None: any of that hardware."""

    action: str
    kind: PartKind
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
            found.append(Use(f"{finger}_insert", "insert", system_id, inside, f"glued into the {finger} finger"))
    return found


def _list_thumb_uses(system: InsertSystem, plan: Plan, skipped: Collection[str]) -> list[Use]:
    if system.height_set_by == "slug":
        return [] if "glue_slug" in skipped else [Use("glue_slug", "slug", system.id, None, "glued in for the thumb")]
    found = [] if "glue" in skipped else [Use("glue", "sleeve", system.id, None, "glued in for the thumb")]
    if plan.inner and not plan.owned and not {"lock_in", "drill_inner"} & set(skipped):
        outside = Fraction(plan.inner.outside_in).limit_denominator(10**6)
        found.append(Use("lock_in", "inner", system.id, outside, "a thumb was drilled in it"))
    return found


def use_for(session: Session, who: int, of: Drilling, plan: Plan, skipped: Collection[str]) -> list[PartMovement]:
    """Counts down what a drilling used, below zero too; returns the movements."""
    uses = list_uses(of, plan, skipped, _find_inserts(session, [of]))
    kept = _list_kept(session, uses)
    left = {part.id: count for part, count in kept}
    last = _find_last_used(session, left)
    chosen = _find_chosen(session, of)
    made = []
    for use in uses:
        fitting = [part for part, _ in kept if use.fits(part)]
        put_in = chosen.get(use.action)
        part = put_in if put_in and use.fits(put_in) else _propose(fitting, left, last)
        if part:
            movement = PartMovement(count=-1, cause="use", why=use.why, drilling_id=of.id)
            made.append(shelf.post(session, who, part, movement))
            left[part.id] = left.get(part.id, 0) - 1
            last[part.id] = movement.id
    return made


def use_until_plugged(session: Session, who: int, of: Drilling) -> list[PartMovement]:
    """Counts down what was put into a ball for good before it is plugged half drilled; returns the movements."""
    steps = session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == of.id)).all()
    if of.current_plan is None or not any(step.is_done for step in steps):
        return []
    return use_for(session, who, of, of.current_plan, {step.action for step in steps if not step.is_done})


def _list_kept(session: Session, uses: Iterable[Use]) -> list[tuple[Part, int]]:
    """Returns the parts of these hardwares that are kept, each with its count, the oldest first."""
    wanted = {use.system_id for use in uses}
    return shelf.list_counts(session, Part.system_id.in_(wanted), Part.retired_at.is_(None)) if wanted else []


def _find_last_used(session: Session, part_ids: Collection[int]) -> dict[int, int]:
    """Returns the number of each part's last use that was not taken back: the greater, the later."""
    undone = select(PartMovement.undoes_id).where(PartMovement.undoes_id.is_not(None))
    own = (PartMovement.cause == "use", PartMovement.id.not_in(undone))
    last = select(PartMovement.part_id, func.max(PartMovement.id)).where(*own)
    found = session.execute(last.where(PartMovement.part_id.in_(part_ids)).group_by(PartMovement.part_id))
    return {part_id: movement_id for part_id, movement_id in found} if part_ids else {}


def _find_chosen(session: Session, of: Drilling) -> dict[str, Part]:
    """Returns the part that was chosen at the bench, by the action of its step; one that is no longer kept too."""
    query = select(DrillingStep.action, Part).join(Part, Part.id == DrillingStep.part_id)
    return {action: part for action, part in session.execute(query.where(DrillingStep.drilling_id == of.id))}


def _propose(fitting: Sequence[Part], left: Mapping[int, int], last: Mapping[int, int]) -> Part | None:
    """Returns the lot used last while a piece of it is left, else the oldest with one, else the newest."""
    there = [part for part in fitting if left[part.id] > 0]
    if not there:
        return fitting[-1] if fitting else None
    used = max(there, key=lambda part: last.get(part.id, 0))
    return used if used.id in last else there[0]


# At the bench ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Offer:
    """Lots of a part, each with its count, of which one is put in at a step; the one proposed."""

    step: DrillingStep
    kind: PartKind
    lots: Sequence[tuple[Part, int]]
    proposed_id: int


def list_offers(session: Session, of: Drilling, steps: Iterable[DrillingStep]) -> list[Offer]:
    """Returns what is to be chosen at these steps: a part that lies there in several lots."""
    at = {step.action: step for step in steps if step.action in PUTS_IN}
    plan = of.current_plan
    uses = list_uses(of, plan, (), _find_inserts(session, [of])) if plan and at else []
    due = [use for use in uses if use.action in at]
    kept = _list_kept(session, due)
    last = _find_last_used(session, {part.id for part, _ in kept})
    offers = []
    for use in due:
        lots = [(part, count) for part, count in kept if use.fits(part)]
        proposed = _propose([part for part, _ in lots], {part.id: count for part, count in lots}, last)
        if proposed and len(lots) > 1:
            offers.append(Offer(at[use.action], use.kind, lots, proposed.id))
    return offers


def list_glues(session: Session) -> list[Part]:
    """Returns the adhesives that are kept, each counted by the pack that nobody has opened yet."""
    kept = select(Part).where(Part.kind == "glue", Part.retired_at.is_(None))
    return list(session.scalars(kept.order_by(Part.id)))


def put_in(session: Session, of: Drilling, step: DrillingStep, form: TickForm) -> str:
    """Keeps the lot that was put in at a step, and counts down a pack of glue that was opened; returns words of both.

    The words go into the step's note. A pack stays open when the tick is taken back. Raises InvalidError for a lot that
    does not fit, or no glue of ours.
    """
    words = []
    if form.lot:
        lots = next((offer.lots for offer in list_offers(session, of, [step])), ())
        chosen = next((part for part, _ in lots if part.id == form.lot), None)
        if chosen is None:
            raise InvalidError.at("lot", "Choose a lot that lies on the shelf for this hardware.")
        step.part_id = chosen.id
        words.append(shelf.name_part(chosen))
    if form.opened:
        glue = next((part for part in list_glues(session) if part.id == form.opened), None)
        if glue is None or step.action not in GLUES:
            raise InvalidError.at("opened", "Choose a glue that lies on the shelf.")
        movement = PartMovement(count=-1, cause="use", why="a pack was opened", drilling_id=of.id)
        shelf.post(session, form.who, glue, movement)
        words.append(f"opened {shelf.name_part(glue)}")
    step.note = ", ".join(filter(None, (step.note, *words)))[:_LONGEST_NOTE]
    return ", ".join(words)


def warn_outside(session: Session, of: Drilling) -> str:
    """Returns what is wrong with the outside measured over lots that may be glued in; empty if nothing is.

    A piece wider than the bore does not fall in. Finishing measures run from the outside of the sleeve, so half of what
    it is off its hardware's size goes into them: told from half of the drilling's tolerance on.
    """
    plan = of.current_plan
    uses = list_uses(of, plan, (), {}) if plan else []
    use = next((use for use in uses if use.kind in GLUED), None)
    if use is None or plan is None or plan.bore is None:
        return ""
    fitting = [(part, count) for part, count in _list_kept(session, [use]) if use.fits(part)]
    there = [part for part, count in fitting if count > 0] or [part for part, _ in fitting[-1:]]
    told = (_describe_outside(part, of, Fraction(plan.bore.bore_in)) for part in there)
    return " ".join(filter(None, told))


def _describe_outside(part: Part, of: Drilling, bored_in: Fraction) -> str:
    if part.outside_low_in is None or part.outside_high_in is None:
        return ""
    measured = f"{shelf.name_part(part)}: measured {decimal(part.outside_low_in)} to {decimal(part.outside_high_in)}"
    if part.outside_high_in > bored_in:
        return f"{measured} outside, wider than the bore of {inches(bored_in)}. Try each piece dry before any glue."
    said = of.system.sleeve_od_in if of.system else None
    off = max(abs(measure - said) for measure in (part.outside_low_in, part.outside_high_in)) if said else Fraction(0)
    if said and off >= of.tolerance_in:
        return f"{measured} outside, not {inches(said)}: measures from it come out up to {decimal(off / 2)} off."
    return ""


# The promised week ----------------------------------------------------------------------------------------------------


def _find_inserts(session: Session, drilled: Iterable[Drilling]) -> Inserts:
    fit_ids = {of.fit_id for of in drilled if of.fit_id}
    query = select(FitHole.fit_id, FitHole.digit, FitHole.system_id)
    query = query.where(FitHole.fit_id.in_(fit_ids), FitHole.system_id.is_not(None))
    found = session.execute(query) if fit_ids else ()
    return {(fit_id, digit): system_id for fit_id, digit, system_id in found if system_id}


def _find_skipped(session: Session, planned: Iterable[Drilling]) -> dict[int, set[str]]:
    """Returns the actions of the steps that were skipped, by drilling."""
    ids = {of.id for of in planned}
    own = (DrillingStep.drilling_id.in_(ids), DrillingStep.skip_reason != "")
    skipped: dict[int, set[str]] = {}
    for drilling_id, action in session.execute(select(DrillingStep.drilling_id, DrillingStep.action).where(*own)):
        skipped.setdefault(drilling_id, set()).add(action)
    return skipped


def find_week(session: Session, at: datetime) -> Week:
    """Returns what the tickets promised until a week from then will use, in four queries."""
    due = (Ticket.state.in_(_OPEN), Ticket.promised_at <= at + NEEDED_FOR)
    query = select(Drilling).join(Ticket, Ticket.drilling_id == Drilling.id).options(joinedload(Drilling.system))
    planned = session.scalars(query.where(*due, Drilling.state == "planned")).unique().all()
    inserts, skipped = _find_inserts(session, planned), _find_skipped(session, planned)
    needs: Counter[tuple[str, int | None, str]] = Counter()
    for of in planned:
        plan = of.current_plan
        for use in list_uses(of, plan, skipped.get(of.id, ()), inserts) if plan else ():
            needs[use.kind, use.system_id, "" if use.size_in is None else inches(use.size_in)] += 1
    ended = Drilling.state.in_(("plugged", "not drilled"))
    unplanned = (
        select(func.count(Ticket.id))
        .outerjoin(Drilling, Drilling.id == Ticket.drilling_id)
        .where(*due, Ticket.what.in_(DRILLS), or_(Ticket.drilling_id.is_(None), ended))
    )
    return Week(needs, session.scalar(unplanned) or 0)
