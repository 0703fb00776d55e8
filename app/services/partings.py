"""Two records that were made one are parted again, each row as it was before.

What was written while they were one (rows that the merger does not know, particulars that were changed) is given to one
or the other by question. What hangs on a fit, ball or inner goes with it.
"""

from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.errors import ConflictError, FieldError, InvalidError
from app.models import Ball, Bowler, Fit, Inner, Merger, OwnerChange, now
from app.schemas.taken_back import PartingForm
from app.services import bowler_words, changes, mergers
from app.services.mergers import LABELS, Question


def list_questions(session: Session, merger: Merger) -> list[Question]:
    """Returns what was written while the two were one, each with the two bowlers that it may be given to."""
    choices = [(str(merger.kept_id), f"the record that stayed ({merger.kept_before.get('name', '')})")]
    choices += [(str(merger.gone_id), f"the other one ({merger.gone.name})")]
    asked = [
        Question(w.field, f"Written while they were one: {w.words}. Whose is it?", choices)
        for w in _list_written(session, merger)
    ]
    for name, value in _list_edited(merger).items():
        label = LABELS.get(name, name)
        said = "yes" if name == "is_minor" and value else value or "nothing"
        asked.append(
            Question(f"whose_{name}", f"Changed while they were one: {label}, now “{said}”. Whose is it?", choices)
        )
    return asked


@dataclass(frozen=True)
class _Written:
    """A row that was written while two records were one."""

    noun: str
    id: int
    words: str

    @property
    def field(self) -> str:
        return f"whose_{self.noun}_{self.id}"


def _list_written(session: Session, merger: Merger) -> list[_Written]:
    written = []
    for noun, rows in mergers.list_rows(session, merger.kept_id).items():
        known = set(merger.rows[f"kept {noun}"] + merger.rows[f"gone {noun}"])
        for row in rows:
            if row.id not in known:
                label = f"{row.letter}, {row.hand} hand" if isinstance(row, Fit) else row.label
                written.append(_Written(noun, row.id, f"{noun} “{label}”"))
    return written


def _list_edited(merger: Merger) -> dict[str, str]:
    """Returns the particulars that differ from what the merger set them to, as they are now."""
    current = mergers.write_particulars(merger.kept)
    return {name: value for name, value in current.items() if value != merger.kept_after.get(name)}


def require_can_part(session: Session, merger: Merger) -> None:
    """Raises ConflictError for two records that are parted, erased, or part of a later merger."""
    if merger.parted_at:
        raise ConflictError("These two were parted already.")
    if merger.kept.erased_at or merger.gone.erased_at:
        raise ConflictError("This person was erased from the records: there is nothing left to part.")
    newest = mergers.list_open(session, merger.kept_id)[0]
    if merger.kept.merged_into_id or newest.id != merger.id:
        raise ConflictError("Another merger came after this one. Part the newest one first.")


def part(session: Session, merger_id: int, form: PartingForm) -> Merger:
    """Parts two records; raises InvalidError with a question at each thing that was written while they were one."""
    merger = mergers.get_merger(session, merger_id)
    require_can_part(session, merger)
    changes.require_version(session, merger.kept, form.version)
    sides = {str(merger.kept_id), str(merger.gone_id)}
    open_ = {
        q.field: FieldError(mergers.UNANSWERED)
        for q in list_questions(session, merger)
        if form.given.get(q.field) not in sides
    }
    if open_:
        raise InvalidError("Some of it was written while the two were one: say whose it is.", open_)
    owners = _list_owners(session, merger, form)
    _part_fits(session, form.who, merger, owners["fit"])
    for noun, model in (("ball", Ball), ("inner", Inner)):
        gone = [row for row, owner in owners[noun].items() if owner == merger.gone_id]
        session.execute(update(model).where(model.id.in_(gone)).values(bowler_id=merger.gone_id))
        _part_owner_changes(session, merger, noun, gone)
    _part_particulars(session, merger, form)
    _note(session, merger, form)
    merger.parted_at, merger.parted_by_id, merger.parted_reason = now(), form.who, form.why
    merger.kept_before, merger.kept_after, merger.rows, merger.fits = {}, {}, {}, {}
    session.flush()
    session.expire_all()
    for bowler_id in (merger.kept_id, merger.gone_id):
        bowler_words.index_bowler(session, session.get_one(Bowler, bowler_id))
    return merger


def _list_owners(session: Session, merger: Merger, form: PartingForm) -> dict[str, dict[int, int]]:
    """Returns for each kind of row which bowler every row has that the merged record has now."""
    owners: dict[str, dict[int, int]] = {}
    for noun, rows in mergers.list_rows(session, merger.kept_id).items():
        gone = set(merger.rows[f"gone {noun}"])
        owners[noun] = {row.id: merger.gone_id if row.id in gone else merger.kept_id for row in rows}
    for written in _list_written(session, merger):
        owners[written.noun][written.id] = int(form.given[written.field])
    return owners


def _part_fits(session: Session, who: int, merger: Merger, owners: dict[int, int]) -> None:
    """Gives each fit its bowler and number back; of each bowler's hand the fit that came in force last is in force."""
    fits = session.scalars(select(Fit).where(Fit.id.in_(owners)).order_by(Fit.id)).all()
    was = {int(fit_id): told.split(" ", 1) for fit_id, told in merger.fits.items()}
    latest: dict[tuple[int, str], Fit] = {}
    chosen = [f for f in fits if "in force" in (f.state, was.get(f.id, ["", ""])[1]) and f.state != "discarded"]
    for fit in sorted(chosen, key=lambda f: (f.in_force_at is not None, f.in_force_at, f.id)):
        latest[owners[fit.id], fit.hand] = fit
    for fit in fits:
        state = fit.state
        if fit in chosen:
            state = "in force" if latest[owners[fit.id], fit.hand] is fit else "superseded"
        revision = int(was[fit.id][0]) if fit.id in was else fit.revision
        mergers.move_fit(session, who, fit, owners[fit.id], revision, state)


def _part_owner_changes(session: Session, merger: Merger, noun: str, gone: list[int]) -> None:
    """Makes what came or went while the two were one a change of the bowler whose ball or inner it is."""
    column = OwnerChange.ball_id if noun == "ball" else OwnerChange.inner_id
    ids = [*gone, *merger.rows[f"gone {noun}"]]
    since = (column.in_(ids), OwnerChange.at >= merger.at)
    for end in (OwnerChange.from_id, OwnerChange.to_id):
        session.execute(update(OwnerChange).where(*since, end == merger.kept_id).values({end: merger.gone_id}))


def _part_particulars(session: Session, merger: Merger, form: PartingForm) -> None:
    """Gives both their particulars back, and what was changed meanwhile to the one whose it is."""
    session.execute(update(Bowler).where(Bowler.id == merger.gone_id).values(merged_into_id=None))
    edited = _list_edited(merger)
    theirs = {name: value for name, value in edited.items() if form.given[f"whose_{name}"] == str(merger.gone_id)}
    own = {name: value for name, value in edited.items() if name not in theirs}
    mergers.set_particulars(session, form.who, merger.kept, merger.kept_before | own, form.why)
    if theirs:
        mergers.set_particulars(
            session, form.who, merger.gone, mergers.write_particulars(merger.gone) | theirs, form.why
        )


def _note(session: Session, merger: Merger, form: PartingForm) -> None:
    """Writes the act into the history of both records."""
    parted = changes.Entry("parted", f"bowler no. {merger.gone_id} was part of it", "a record of its own", form.why)
    changes.note(session, form.who, merger.kept, parted)
    own = changes.Entry("part of", f"bowler no. {merger.kept_id}", "a record of its own", form.why)
    changes.note(session, form.who, merger.gone, own)
    for field, owner in sorted(form.given.items()):
        if owner == str(merger.gone_id) and field.rpartition("_")[2].isdigit():
            told = changes.Entry(
                field.removeprefix("whose_").replace("_", " no. "), "here", f"with bowler no. {owner}", form.why
            )
            changes.note(session, form.who, merger.kept, told)
