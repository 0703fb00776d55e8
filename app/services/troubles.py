"""The service log: troubles with inners and sleeves, by hardware, bit, driller and depth."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.errors import InvalidError
from app.models import Ball, Drilling, DrillingStep, Staff, Trouble
from app.schemas.troubles import TroubleForm
from app.services import changes, systems


@dataclass(frozen=True)
class Cause:
    """A possible cause of a trouble, the measurement that proves it, and a caution if one is due."""

    words: str
    proof: str
    caution: str = ""


@dataclass(frozen=True)
class Kind:
    words: str
    causes: tuple[Cause, ...]


# Common practice of the trade in our own words, no source; each cause with what would show it.
KINDS = {
    "tabs": Kind(
        "tabs worn or snapped",
        (
            Cause("the thumb hole runs into the tabs", "least wall at the lock's depth, worked out on the plan, under the shop's limit"),
            Cause("the drill's point reached the lock", "depth met at the through-drill beyond the plan's window"),
            Cause("the inner is forced against a dirty lock", "it turns freely once the lock is cleaned", "Never force it: a snapped tab can cut."),
        ),
    ),
    "binds_top": Kind(
        "inner binds at the top",
        (
            Cause("the sleeve was squeezed by a tight bore", "bore measured across at the mouth against the sleeve's outside"),
            Cause("the sleeve's edge was not bevelled after flushing", "a burr felt at the rim, gone after a bevel"),
            Cause("the inner has swollen or is not of this lot", "outside measured at the top against the system's record"),
        ),
    ),
    "binds_lock": Kind(
        "inner binds at the lock",
        (
            Cause("adhesive crept into the lock", "residue seen at the lock with the inner out", "Solvents: fresh air, no flame, as their maker says."),
            Cause("chips in the lock", "free after cleaning with the spindle stopped"),
            Cause("the sleeve was glued in askew", "four rim heights of a good inner differ by more than its bore's pitch explains"),
        ),
    ),
    "loose": Kind(
        "sleeve loose in its bore",
        (
            Cause("the bore was not roughened or not clean", "adhesive came away clean from one side"),
            Cause("the bore is too wide", "bore measured across against the sleeve's outside"),
            Cause("the adhesive was not cured", "time between glueing and flushing against the maker's sheet"),
        ),
    ),
    "proud": Kind(
        "sleeve stands proud",
        (
            Cause("the bore is shallower than its collar setting says", "depth read from the high edge, converted, against the plan"),
            Cause("chips or adhesive under the sleeve", "the sleeve falls in by its own weight once the floor is clean"),
            Cause("a foreign collar setting", "that shop's depth and its next ball's interval"),
        ),
    ),
    "stuck": Kind(
        "inner stuck",
        (
            Cause("swollen by heat or by the hand's moisture", "it comes free at room temperature", "Do not heat it; do not pry with a blade towards a hand."),
            Cause("turned past its stop by a worn tab", "tab width measured once it is out"),
            Cause("adhesive on the inner", "residue seen at the rim", "Solvents: fresh air, no flame, as their maker says."),
        ),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One line of the log with data of its drilling: ball, bore depth, driller and bit; empty if unknown."""

    trouble: Trouble
    ball: str
    depth_in: Fraction | None
    driller: str
    bit: str


def list_lines(session: Session) -> list[Line]:
    """Returns the service log, newest first, in two queries."""
    query = (
        select(Trouble)
        .options(
            joinedload(Trouble.system),
            joinedload(Trouble.staff),
            joinedload(Trouble.drilling).joinedload(Drilling.ball),
            joinedload(Trouble.drilling).joinedload(Drilling.bore),
        )
        .order_by(Trouble.id.desc())
        .limit(300)
    )
    found = session.scalars(query).all()
    bored = _find_borers(session, [t.drilling_id for t in found if t.drilling_id])
    lines = []
    for trouble in found:
        drilling = trouble.drilling
        driller, bit = bored.get(trouble.drilling_id or 0, ("", ""))
        bore = drilling.bore if drilling else None
        lines.append(
            Line(trouble, drilling.ball.label if drilling else "", bore.depth_in if bore else None, driller, bit)
        )
    return lines


def _find_borers(session: Session, drilling_ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Returns (initials of the driller, bit) of the bore step, by drilling."""
    query = (
        select(DrillingStep.drilling_id, Staff.initials, DrillingStep.met_bit)
        .join(Staff, Staff.id == DrillingStep.staff_id)
        .where(DrillingStep.drilling_id.in_(drilling_ids), DrillingStep.action == "bore")
    )
    return {drilling_id: (initials, bit) for drilling_id, initials, bit in session.execute(query)}


def count_by_cause(lines: Sequence[Line]) -> dict[str, list[tuple[str, int]]]:
    """Counts each trouble by hardware, bit and driller, most frequent first; rates of small numbers would mislead."""
    by: dict[str, Counter[str]] = {"hardware": Counter(), "bit": Counter(), "driller": Counter()}
    for line in lines:
        words = KINDS[line.trouble.what].words
        by["hardware"][f"{line.trouble.system.label}: {words}"] += 1
        if line.bit:
            by["bit"][f"{line.bit}: {words}"] += 1
        if line.driller:
            by["driller"][f"{line.driller}: {words}"] += 1
    return {name: counter.most_common(12) for name, counter in by.items()}


def add(session: Session, form: TroubleForm) -> Trouble:
    """Adds a line to the service log."""
    system = systems.get_system(session, form.system_id)
    bowler_id = None
    if form.drilling_id:
        owner = (
            select(Ball.bowler_id).join(Drilling, Drilling.ball_id == Ball.id).where(Drilling.id == form.drilling_id)
        )
        bowler_id = session.scalar(owner)
        if bowler_id is None:
            raise InvalidError.at("drilling_id", "There is no such drilling.")
    added = Trouble(
        system_id=system.id, drilling_id=form.drilling_id, what=form.what, note=form.note, staff_id=form.who
    )
    changes.add_record(session, form.who, added, f"{system.label}: {KINDS[form.what].words}", form.note, bowler_id)
    return added
