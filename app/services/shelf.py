"""The shelf: parts, and every movement of their counts. How many there are is the sum of the movements, nothing else.

`InsertSystem.stock`, which plans freeze, is written here alone: the sums of the system's inners by their size. A count
below zero is kept and told, because a ball that was drilled needed its part whatever the shelf says.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session, joinedload
from sqlalchemy.orm.attributes import flag_modified

from app.closed_sets import MOVEMENT_CAUSE_WORDS, PART_KIND_WORDS
from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.measures.wording import inches
from app.models import Ball, Drilling, InsertSystem, Part, PartMovement, Staff
from app.schemas.parts import CountForm, DeliveryForm, UndoingForm
from app.services import changes

Needs = Mapping[tuple[str, int | None, str], int]  # how many of (kind, system, size in words) are needed
_COUNT = func.coalesce(func.sum(PartMovement.count), 0)


@dataclass(frozen=True)
class Shelved:
    """A part with its count; `alike` are how many there are of every lot of it, `needed` of those this week."""

    part: Part
    count: int
    alike: int
    needed: int

    @property
    def hardware(self) -> str:
        """The label of its hardware; the last of all for a part without."""
        return self.part.system.label if self.part.system else ""

    @property
    def name(self) -> str:
        return name_part(self.part)

    @property
    def is_low(self) -> bool:
        return max(0, self.alike) < self.part.least

    @property
    def short(self) -> int:
        """How many are lacking for what is needed, of all its lots together."""
        return max(0, self.needed - max(0, self.alike))


@dataclass(frozen=True)
class MovementLine:
    """A movement with the count after it; `ball` is the label of the ball that used it."""

    movement: PartMovement
    after: int
    initials: str
    ball: str
    is_undone: bool

    @property
    def may_be_undone(self) -> bool:
        return self.movement.cause != "undo" and not self.is_undone


def name_part(part: Part) -> str:
    """Returns what a part is called in words: label, size, lot and colour."""
    size = "" if part.size_in is None else f" {inches(part.size_in)}"
    more = (f"lot {part.lot}" if part.lot else "", part.colour)
    return ", ".join((part.label + size, *filter(None, more)))


def name_lot(part: Part) -> str:
    """Returns what tells one lot of a part from another in words: size, lot and colour, else its label."""
    size = "" if part.size_in is None else inches(part.size_in)
    return ", ".join(filter(None, (size, f"lot {part.lot}" if part.lot else "", part.colour))) or part.label


def key_of(part: Part) -> tuple[str, int | None, str]:
    """Returns what drillings ask for a part by: kind, hardware and size in words."""
    return part.kind, part.system_id, "" if part.size_in is None else inches(part.size_in)


# Reading --------------------------------------------------------------------------------------------------------------


def _with_counts() -> Select[Part, int]:
    sums = select(PartMovement.part_id, _COUNT.label("counted")).group_by(PartMovement.part_id).subquery()
    counted = func.coalesce(sums.c.counted, 0)
    return select(Part, counted).outerjoin(sums, sums.c.part_id == Part.id).options(joinedload(Part.system))


def list_counts(session: Session, *own: ColumnElement[bool]) -> list[tuple[Part, int]]:
    """Returns the parts that fulfil the conditions, each with its count, the oldest first, in one query."""
    return [(part, int(count)) for part, count in session.execute(_with_counts().where(*own).order_by(Part.id))]


def list_shelf(session: Session, needs: Needs) -> list[Shelved]:
    """Returns every part in use, by hardware, kind and size."""
    found = list_counts(session, Part.retired_at.is_(None))
    alike: dict[tuple[object, ...], int] = {}
    for part, count in found:
        group = _group(part)
        alike[group] = alike.get(group, 0) + count
    shelved = [Shelved(part, count, alike[_group(part)], _find_need(needs, part)) for part, count in found]
    kinds: list[str] = list(PART_KIND_WORDS)
    return sorted(
        shelved,
        key=lambda s: (
            s.part.system is None,
            s.part.system.label if s.part.system else "",
            kinds.index(s.part.kind),
            s.part.size_in or Fraction(0),
            s.part.label,
            s.part.id,
        ),
    )


def _find_need(needs: Needs, part: Part) -> int:
    """Returns how many of a part are needed: of its size, and of its hardware whatever the size."""
    kind, system_id, size = key_of(part)
    return sum(needs.get(key, 0) for key in {(kind, system_id, size), (kind, system_id, "")})


def _group(part: Part) -> tuple[object, ...]:
    """Returns what the lots of one part have in common."""
    return (*key_of(part), part.colour, part.label if part.system_id is None else "")


def list_retired(session: Session) -> Sequence[Part]:
    """Returns the parts that are no longer kept."""
    return session.scalars(select(Part).where(Part.retired_at.is_not(None)).order_by(Part.label, Part.id)).all()


def get_part(session: Session, part_id: int) -> Part:
    """Returns a part with its hardware; raises NotFoundError."""
    found = load_one(session, Part, part_id, joinedload(Part.system))
    if found is None:
        raise NotFoundError("There is no such part.")
    return found


def count_part(session: Session, part_id: int) -> int:
    """Returns how many there are: the sum of the movements."""
    return int(session.scalar(select(_COUNT).where(PartMovement.part_id == part_id)) or 0)


def list_movements(session: Session, of: Part, limit: int = 200) -> list[MovementLine]:
    """Returns the movements of a part, newest first, each with the count after it."""
    query = (
        select(PartMovement, Staff.initials, Ball.label)
        .join(Staff, Staff.id == PartMovement.staff_id)
        .outerjoin(Drilling, Drilling.id == PartMovement.drilling_id)
        .outerjoin(Ball, Ball.id == Drilling.ball_id)
        .where(PartMovement.part_id == of.id)
        .order_by(PartMovement.id.desc())
    )
    after, lines = count_part(session, of.id), []
    undone: set[int | None] = set()  # what undoes comes after what it undoes
    for movement, initials, ball in session.execute(query.limit(limit)):
        undone.add(movement.undoes_id)
        lines.append(MovementLine(movement, after, initials, ball or "", movement.id in undone))
        after -= movement.count
    return lines


def get_movement(session: Session, movement_id: int) -> PartMovement:
    """Returns a movement; raises NotFoundError."""
    found = session.get(PartMovement, movement_id)
    if found is None:
        raise NotFoundError("There is no such movement.")
    return found


def list_others(session: Session, of: Part) -> list[Part]:
    """Returns the other parts that a drilling could have used in the place of this one: lots, colours."""
    own = (Part.kind == of.kind, Part.system_id == of.system_id, Part.id != of.id, Part.retired_at.is_(None))
    found = session.scalars(select(Part).where(*own).order_by(Part.id)) if of.system_id else ()
    return [part for part in found if key_of(part) == key_of(of)]


# Movements ------------------------------------------------------------------------------------------------------------


def _get_own_part(session: Session, part_id: int) -> Part:
    """Returns a part that somebody counts by hand; raises NotAllowedError for another shop's, if that is the rule."""
    part = get_part(session, part_id)
    changes.require_may_edit(session, part)
    return part


def deliver(session: Session, part_id: int, form: DeliveryForm) -> PartMovement:
    """Counts what came in."""
    part = _get_own_part(session, part_id)
    return post(session, form.who, part, PartMovement(count=form.count, cause="delivery", why=form.why))


def count(session: Session, part_id: int, form: CountForm) -> PartMovement | None:
    """Posts what is missing to the counted number, or nothing; raises ConflictError if it moved since it was shown."""
    part = _get_own_part(session, part_id)
    changes.require_version(session, part, form.version)
    difference = form.counted - count_part(session, part.id)
    if not difference:
        return None
    return post(session, form.who, part, PartMovement(count=difference, cause="count", why=form.why))


def undo(session: Session, movement_id: int, form: UndoingForm) -> PartMovement:
    """Takes a movement back by its contrary; what a drilling used may be counted down at another lot instead.

    Raises ConflictError for a movement that is undone already, or is such a contrary itself.
    """
    undone = get_movement(session, movement_id)
    if undone.cause == "undo":
        raise ConflictError("This took a movement back: deliver or count instead.")
    if session.scalar(select(PartMovement.id).where(PartMovement.undoes_id == undone.id)):
        raise ConflictError("This movement is taken back already.")
    part = _get_own_part(session, undone.part_id)
    other = next((p for p in list_others(session, part) if p.id == form.instead_id), None)
    if form.instead_id and (other is None or undone.cause != "use"):
        raise InvalidError.at("instead_id", "Choose another lot of the same size that the drilling used.")
    contrary = PartMovement(count=-undone.count, cause="undo", why=form.why, undoes_id=undone.id)
    contrary.drilling_id = undone.drilling_id
    owner_id = _find_owner(session, undone.drilling_id)
    post(session, form.who, part, contrary, owner_id)
    if other:
        used = PartMovement(count=undone.count, cause="use", why=form.why, drilling_id=undone.drilling_id)
        post(session, form.who, other, used, owner_id)
    return contrary


def _find_owner(session: Session, drilling_id: int | None) -> int | None:
    """Returns whose ball a part was used for, None for a movement without a drilling."""
    owner = select(Ball.bowler_id).join(Drilling, Drilling.ball_id == Ball.id)
    return session.scalar(owner.where(Drilling.id == drilling_id)) if drilling_id else None


def post(session: Session, who: int, part: Part, movement: PartMovement, bowler_id: int | None = None) -> PartMovement:
    """Adds a movement of a part, with its line of history, and lets the stock of its hardware follow.

    A reason that somebody typed about a bowler's ball may name the bowler: `bowler_id` ties its line to them, so that
    erasing finds it, and the hardware's history does not repeat it.
    """
    add_movement(session, who, part, movement, bowler_id)
    is_ours = movement.cause == "use" and bowler_id is None
    why = movement.why if is_ours else MOVEMENT_CAUSE_WORDS[movement.cause]  # type: ignore[index]
    carry_to_system(session, who, find_stocked(part), why)
    return movement


def add_movement(session: Session, who: int, part: Part, movement: PartMovement, bowler_id: int | None = None) -> None:
    """Adds a movement with its line of history; the drillings of any shop of ours take from the shelf."""
    before = count_part(session, part.id)
    movement.part_id, movement.staff_id = part.id, who
    session.add(movement)
    flag_modified(part, "least")  # a form that shows the count is of an older version now
    session.flush()
    cause = MOVEMENT_CAUSE_WORDS[movement.cause]  # type: ignore[index]
    why = f"{cause}: {movement.why}" if movement.why else cause
    entry = changes.Entry("count", before, before + movement.count, why)
    changes.note(session, who, part, entry, bowler_id, is_addition=True)


# The stock of hardware ------------------------------------------------------------------------------------------------


def find_stocked(part: Part) -> int | None:
    """Returns the hardware in whose stock a part is counted: inners alone are."""
    return part.system_id if part.kind == "inner" else None


def carry_to_system(session: Session, who: int, system_id: int | None, why: str) -> None:
    """Writes the sums of a system's inners into it, with a line of its history for each that changed."""
    if system_id is None:
        return
    system = session.get_one(InsertSystem, system_id)
    inners = (Part.kind == "inner", Part.system_id == system.id, Part.retired_at.is_(None))
    sums: dict[Fraction, int] = {}
    for found, counted in list_counts(session, *inners):
        if found.size_in is not None:
            sums[found.size_in] = sums.get(found.size_in, 0) + counted
    stock: dict[str, int] = {}
    for size_in in sorted(sums):
        stock[inches(size_in)] = stock.get(inches(size_in), 0) + sums[size_in]
    for size in [*stock, *(gone for gone in system.stock if gone not in stock)]:
        old, new = (f"{size}: {known[size]}" if size in known else "" for known in (system.stock, stock))
        if old != new:
            changes.note(session, who, system, changes.Entry("stock", old, new, why), is_addition=True)
    system.stock = stock
    system.typed = system.typed | {"stock": ", ".join(f"{size}: {number}" for size, number in stock.items())}
