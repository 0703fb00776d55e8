"""Personal data of one bowler: export all of it, or erase the person and keep the geometry.

Erasing deletes names, phones, texts, photos and old values; typed measures stay.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, LargeBinary, Select, Table, delete, exists, or_, select, union, update
from sqlalchemy.orm import Session, selectinload

from app.errors import ConflictError, InvalidError
from app.models import (
    AxisPoint,
    Ball,
    BallCheck,
    BallMarks,
    BenchStop,
    Bore,
    Bowler,
    BowlerWord,
    Change,
    DepthObservation,
    Drilling,
    DrillingStep,
    FavouriteLayout,
    Fit,
    FitHole,
    Inner,
    IntakeRow,
    IssuedCard,
    Layout,
    Measurement,
    Merger,
    OldHole,
    OwnerChange,
    PaperCard,
    PartMovement,
    Photo,
    ReadCard,
    SheetRow,
    StatedDepth,
    Ticket,
    TicketMove,
    TicketWait,
    TrialFit,
    Trouble,
    Weighing,
    now,
)
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.schemas.personal import ErasureForm
from app.services import bowler_words, bowlers, changes, mergers, paper_stacks, sheet_erasing
from app.services.json_values import to_json
from app.services.ticket_stages import OPEN

ERASED = "Erased bowler"
Part = tuple[Any, ColumnElement[bool]]  # a table, and the condition that selects its rows


def _select_parts(ids: Sequence[int]) -> dict[str, Part]:
    """Returns every table with data of a bowler, of all merged records, and the condition that selects the rows."""
    balls = select(Ball.id).where(Ball.bowler_id.in_(ids))
    fits = select(Fit.id).where(Fit.bowler_id.in_(ids))
    drilled = or_(Drilling.ball_id.in_(balls), Drilling.fit_id.in_(fits))  # in a ball that is another bowler's by now
    drillings = select(Drilling.id).where(drilled)
    inners = select(Inner.id).where(Inner.bowler_id.in_(ids))
    bores = or_(
        Bore.id.in_(select(Drilling.bore_id).where(drilled)),
        Bore.id.in_(select(Inner.trimmed_in_id).where(Inner.bowler_id.in_(ids))),
    )
    return {
        "bowler": (Bowler, Bowler.id.in_(ids)),
        "fits": (Fit, Fit.bowler_id.in_(ids)),
        "fit holes": (FitHole, FitHole.fit_id.in_(fits)),
        "balls": (Ball, Ball.bowler_id.in_(ids)),
        "old holes": (OldHole, OldHole.ball_id.in_(balls)),
        "photos": (Photo, or_(*_are_photos(balls, fits, inners, drillings))),
        "drillings": (Drilling, drilled),
        "steps": (DrillingStep, DrillingStep.drilling_id.in_(drillings)),
        "stops": (BenchStop, BenchStop.drilling_id.in_(drillings)),
        "bores": (Bore, bores),
        "inners": (Inner, Inner.bowler_id.in_(ids)),
        "measurements": (Measurement, or_(Measurement.drilling_id.in_(drillings), Measurement.inner_id.in_(inners))),
        "trial fits": (TrialFit, TrialFit.inner_id.in_(inners)),
        "depth observations": (
            DepthObservation,
            or_(DepthObservation.drilling_id.in_(drillings), DepthObservation.inner_id.in_(inners)),
        ),
        "troubles": (Trouble, Trouble.drilling_id.in_(drillings)),
        "parts used": (PartMovement, PartMovement.drilling_id.in_(drillings)),
        **(_select_cards(ids) | _select_layouts(ids, balls)),
        **_select_tickets(or_(Ticket.ball_id.in_(balls), Ticket.inner_id.in_(inners), _was_taken_in_of(ids))),
        "sheet rows": (SheetRow, SheetRow.bowler_id.in_(ids)),
        "paper cards": (PaperCard, PaperCard.bowler_id.in_(ids)),
        "changes of owner": (OwnerChange, or_(OwnerChange.from_id.in_(ids), OwnerChange.to_id.in_(ids))),
        "mergers": (Merger, or_(Merger.kept_id.in_(ids), Merger.gone_id.in_(ids))),
        "history": (Change, or_(Change.bowler_id.in_(ids), (Change.noun == "bowler") & Change.noun_id.in_(ids))),
    }


def _are_photos(*owners: Select[int]) -> list[ColumnElement[bool]]:
    """The photos of these balls, fits and inners, and of troubles with these drillings."""
    balls, fits, inners, drillings = owners
    troubles = select(Trouble.id).where(Trouble.drilling_id.in_(drillings))
    of = (Photo.ball_id.in_(balls), Photo.fit_id.in_(fits), Photo.inner_id.in_(inners), Photo.trouble_id.in_(troubles))
    return list(of)


def _was_taken_in_of(ids: Sequence[int]) -> ColumnElement[bool]:
    """Whether a ticket was taken in before its ball or inner went from one of these bowlers to another."""
    went = or_(OwnerChange.ball_id == Ticket.ball_id, OwnerChange.inner_id == Ticket.inner_id)
    return exists().where(OwnerChange.from_id.in_(ids), went, Ticket.created_at < OwnerChange.at)


def _select_cards(ids: Sequence[int]) -> dict[str, Part]:
    read = select(ReadCard.id).where(ReadCard.bowler_id.in_(ids))
    return {
        "cards issued": (IssuedCard, IssuedCard.bowler_id.in_(ids)),
        "cards read": (ReadCard, ReadCard.bowler_id.in_(ids)),
        "depths said on cards": (StatedDepth, StatedDepth.card_id.in_(read)),
    }


def _select_layouts(ids: Sequence[int], balls: Select[int]) -> dict[str, Part]:
    points = select(AxisPoint.id).where(AxisPoint.bowler_id.in_(ids))
    return {
        "axis points": (AxisPoint, AxisPoint.bowler_id.in_(ids)),
        "ball marks": (BallMarks, BallMarks.ball_id.in_(balls)),
        "layouts": (Layout, or_(Layout.ball_id.in_(balls), Layout.axis_point_id.in_(points))),
        "favourite layouts": (FavouriteLayout, FavouriteLayout.bowler_id.in_(ids)),
        "weighings": (Weighing, Weighing.ball_id.in_(balls)),
    }


def _select_tickets(own: ColumnElement[bool]) -> dict[str, Part]:
    tickets = select(Ticket.id).where(own)
    return {
        "tickets": (Ticket, own),
        "ticket moves": (TicketMove, TicketMove.ticket_id.in_(tickets)),
        "waits": (TicketWait, TicketWait.ticket_id.in_(tickets)),
        "ball checks": (BallCheck, BallCheck.ticket_id.in_(tickets)),
    }


def list_tables() -> dict[str, Table]:
    """Returns the table of each noun of which something may be held on a bowler."""
    return {name: model.__table__ for name, (model, _) in _select_parts([]).items()}


def export_bowler(session: Session, bowler_id: int, has_pictures: bool = True) -> dict[str, Any]:
    """Returns all data of a bowler, with all records merged into it, by table as JSON values; pictures if wanted."""
    ids = mergers.list_ids(session, bowlers.get_bowler(session, bowler_id).id)
    held: dict[str, Any] = {}
    for name, (model, own) in _select_parts(ids).items():
        table: Table = model.__table__
        columns = [c for c in table.columns if has_pictures or not isinstance(c.type, LargeBinary)]
        rows = session.execute(select(*columns).where(own).order_by(table.c.id))
        held[name] = [{c.name: to_json(c, value) for c, value in zip(columns, row, strict=True)} for row in rows]
    return held


def erase(session: Session, bowler_id: int, form: ErasureForm) -> Bowler:
    """Erases the person from the records: name, phone, notes, photos, free text and old values of all of these.

    Measures, dates and verdicts stay, for the shop's own statistics; nothing links them to the person. It cannot be
    undone. Earlier backups contain the person until they are rotated out. Raises InvalidError for a wrong name.
    """
    erased = bowlers.get_bowler(session, bowler_id)
    changes.require_version(session, erased, form.version)
    if erased.erased_at:
        raise InvalidError("This bowler has been erased already.")
    if form.name != erased.name:
        raise InvalidError.at("name", "Type the name exactly as it stands on the record.")
    changes.require_may_edit(session, erased)
    ids = mergers.list_ids(session, erased.id)
    parts = _select_parts(ids)
    _refuse_open_tickets(session, parts["tickets"][1])
    _blank_words_of_old_holes(session, parts["drillings"][1])
    _blank_rows(session, parts)
    sheet_erasing.erase_from_sheets(session, ids)
    _blank_acts_with_others(session, ids)
    session.execute(delete(BowlerWord).where(BowlerWord.bowler_id.in_(ids)))
    session.execute(delete(Photo).where(parts["photos"][1]))
    for record in session.scalars(select(Bowler).where(Bowler.id.in_(ids))).all():
        _blank_person(session, record)
    changes.note(session, form.who, erased, changes.Entry("erased", "", "the person was taken out of these records"))
    return erased


def _refuse_open_tickets(session: Session, own: ColumnElement[bool]) -> None:
    """Raises ConflictError while something of the person is in the shop: nobody would know whose it is."""
    still_open = select(Ticket.id).where(own, Ticket.state.in_(OPEN)).order_by(Ticket.id).limit(1)
    ticket_id = session.scalar(still_open)
    if ticket_id:
        raise ConflictError(f"Ticket {ticket_id} is open: hand it over or call it off first.")


def _blank_words_of_old_holes(session: Session, own: ColumnElement[bool]) -> None:
    """Takes what old holes were called, and filled with, out of plans and out of what the bench told from them."""
    told = select(Drilling).where(own).options(selectinload(Drilling.steps), selectinload(Drilling.stops))
    for of in session.scalars(told).all():
        for field in ("plan", "as_met"):
            plan: Plan | None = getattr(of, field)
            if plan is None or not plan.old_holes:
                continue
            nameless = tuple(replace(hole, name=f"{hole.shape.digit} hole", filling="") for hole in plan.old_holes)
            for old, new in zip(plan.old_holes, nameless, strict=True):
                for step in of.steps:
                    step.cautions = [_rename(line, old, new) for line in step.cautions]
                for stop in of.stops:
                    stop.lines = [_rename(line, old, new) for line in stop.lines]
            setattr(of, field, replace(plan, old_holes=nameless))
    session.flush()


def _rename(line: str, old: PlannedOldHole, new: PlannedOldHole) -> str:
    for words in (f" ({old.filling})", f" of {old.filling}"):
        line = line.replace(words, "") if old.filling else line
    return line.replace(old.name, new.name)


def _blank_person(session: Session, of: Bowler) -> None:
    """Takes the person out of one record, and deletes the drafts that were typed under the name."""
    name_words = set(bowler_words.fold_words(of.name))
    for row in session.scalars(select(IntakeRow)):
        if set(bowler_words.fold_words(row.typed.get("bowler_name", ""))) == name_words:
            session.delete(row)
    of.name, of.erased_at, of.is_minor, of.home_shop_id = ERASED, now(), False, None
    for name in ("phone", "phone_digits", "phone_last4", "notes", "guardian", "consent", "league"):
        setattr(of, name, "")


def _blank_acts_with_others(session: Session, ids: Sequence[int]) -> None:
    """Empties what mergers keep of the person, and the reasons of acts that stand in another bowler's history, too."""
    own_mergers = or_(Merger.kept_id.in_(ids), Merger.gone_id.in_(ids))
    own_changes = or_(OwnerChange.from_id.in_(ids), OwnerChange.to_id.in_(ids))
    emptied = update(Merger).where(own_mergers).values(kept_before={}, kept_after={})
    session.execute(emptied, execution_options={"synchronize_session": False})
    partners = union(*(select(side).where(own_mergers) for side in (Merger.kept_id, Merger.gone_id)))
    owners = union(*(select(side).where(own_changes) for side in (OwnerChange.from_id, OwnerChange.to_id)))
    of_things = [
        (Change.noun == noun) & (Change.field == "bowler") & Change.noun_id.in_(select(column).where(own_changes))
        for noun, column in (("ball", OwnerChange.ball_id), ("inner", OwnerChange.inner_id))
    ]
    of_bowlers = [
        Change.noun_id.in_(partners) & Change.field.in_(("part of", "parted")),
        Change.noun_id.in_(owners) & or_(Change.field.startswith("ball no. "), Change.field.startswith("inner no. ")),
    ]
    acts = or_(*of_things, (Change.noun == "bowler") & or_(*of_bowlers))
    session.execute(update(Change).where(acts).values(why=""), execution_options={"synchronize_session": False})


_FREE_TEXT: dict[str, tuple[str, ...]] = {
    "bowler": ("removed_reason",),
    "fits": ("reason", "hand_notes", "clinician_notes", "discarded_reason"),
    "balls": ("serial", "colour", "condition", "removed_reason"),
    "old holes": ("label", "filling", "filled_by"),
    "drillings": ("notes", "planned_reason", "confirmed_reason", "verdict_reason", "called_off_reason"),
    "steps": ("note", "skip_reason"),
    "stops": ("reason", "handed_over"),
    "inners": ("notes",),
    "measurements": ("note",),
    "depth observations": ("notes",),
    "cards read": ("taken_back_reason",),
    "troubles": ("note",),
    "axis points": ("note", "taken_back_reason"),
    "ball marks": ("note",),
    "layouts": ("note", "dropped_reason"),
    "favourite layouts": ("label",),
    "weighings": ("note", "taken_back_reason"),
    "tickets": (
        *("words", "symptom", "wishes", "priority_reason", "price", "handed_to", "checked_with", "outcome_words"),
        "called_off_reason",
    ),
    "ticket moves": ("note",),
    "waits": ("why",),
    "parts used": ("why",),
    "sheet rows": ("reason", "name_key"),
    "paper cards": ("word",),
    "changes of owner": ("why", "undone_reason"),
    "mergers": ("why", "parted_reason"),
    "history": ("old", "new", "why"),
}


def _blank_rows(session: Session, parts: dict[str, Part]) -> None:
    for name, fields in _FREE_TEXT.items():
        model, own = parts[name]
        blank = update(model).where(own).values(dict.fromkeys(fields, ""))
        session.execute(blank, execution_options={"synchronize_session": False})
    for name, emptied in (("cards issued", {"data": b""}), ("cards read", {"data": b"", "kept": []})):
        model, own = parts[name]
        session.execute(update(model).where(own).values(emptied), execution_options={"synchronize_session": False})
    paper_stacks.empty_cards(session, parts["paper cards"][1])
    for name, model in (("balls", Ball), ("inners", Inner)):
        numbered = update(model).where(parts[name][1]).values(label=name[:-1])
        session.execute(numbered, execution_options={"synchronize_session": False})
