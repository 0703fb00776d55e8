"""Fast entry of a visitor's set of balls, one row a ball; a refused row is stored as a draft."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.closed_sets import DATUM_WORDS
from app.errors import InvalidError
from app.models import Ball, Bore, Drilling, Inner, IntakeRow, now
from app.schemas.inners import VisitorForm
from app.services import bowler_words, bowlers, changes, shops, visitors
from app.services.photos import Sent

CARRIED = ("hand", "shop_id", "system_id", "outside", "bore_pitch", "obtained", "datum", "depth", "notch")
_SHOWN = 8  # rows taken in that stand above the open one
_KEPT = (
    *CARRIED,
    *("bowler_name", "bowler_phone", "shop_name", "thumb_hole", "tilt"),
    *("ball_label", "ball_serial", "circumference", "notes"),
)


def take_in(session: Session, form: VisitorForm, row_id: int | None, photo: Sent = b"") -> Inner:
    """Saves a row; a bowler whose exact name is recorded once counts as that bowler. Raises InvalidError."""
    known = _find_same_bowler(session, form)
    taken = visitors.take_in(session, form.model_copy(update={"bowler_id": known}) if known else form, photo)
    row = _find_row(session, row_id)
    if row:
        session.delete(row)
    return taken


def _find_same_bowler(session: Session, form: VisitorForm) -> int | None:
    words = sorted(bowler_words.fold_words(form.bowler_name))
    if not words:
        return None
    found = [row.bowler for row in bowlers.search(session, form.bowler_name)]
    same = [b for b in found if sorted(bowler_words.fold_words(b.name)) == words and b.hand == form.hand]
    digits = "".join(c for c in form.bowler_phone if c.isdigit())
    if digits:
        same = [b for b in same if b.phone_digits.endswith(digits)]
    if len(same) > 1:
        raise InvalidError.at("bowler_phone", "Two bowlers have this name: write the last digits of the phone.")
    return same[0].id if same else None


def keep_row(session: Session, who: int, posted: Mapping[str, str], row_id: int | None) -> IntakeRow:
    """Stores the typed values of a refused row."""
    typed = {name: posted[name][:200] for name in _KEPT if posted.get(name)}
    row = _find_row(session, row_id)
    if row:
        row.typed = typed
        return row
    row = IntakeRow(typed=typed, staff_id=who)
    changes.add_record(session, who, row, "unfinished row")  # no name: a history line outlives the row
    return row


def _find_row(session: Session, row_id: int | None) -> IntakeRow | None:
    """Returns the draft of this id if it is our shop's."""
    row = session.get(IntakeRow, row_id) if row_id else None
    return row if row and row.made_by_shop_id == shops.require_our_shop(session).id else None


def list_unfinished(session: Session) -> Sequence[IntakeRow]:
    """Returns the drafts of our shop, oldest first."""
    ours = shops.require_our_shop(session)
    query = select(IntakeRow).where(IntakeRow.made_by_shop_id == ours.id).options(joinedload(IntakeRow.staff))
    return session.scalars(query.order_by(IntakeRow.id)).all()


@dataclass(frozen=True)
class SheetRow:
    """One row above the open one: what stands in its cells, by field, and what was typed there to be copied down."""

    href: str
    is_open: bool
    shown: dict[str, str]
    typed: dict[str, str]


def list_sheet(session: Session, taken: Sequence[Inner], unfinished: Sequence[IntakeRow]) -> list[SheetRow]:
    """Returns the rows above the open one, oldest first: the last taken in, then those still to be finished."""
    last = list(reversed(taken[:_SHOWN]))
    balls = _find_balls(session, [inner.trimmed_in_id for inner in last])
    return [_tell_taken(inner, balls) for inner in last] + [_tell_unfinished(row) for row in unfinished]


def _find_balls(session: Session, bore_ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Returns (label, serial) of the ball that each bore is in."""
    query = select(Drilling.bore_id, Ball.label, Ball.serial).join(Ball, Ball.id == Drilling.ball_id)
    found = session.execute(query.where(Drilling.bore_id.in_(bore_ids)))
    return {bore_id: (label, serial) for bore_id, label, serial in found if bore_id}


def _tell_taken(inner: Inner, balls: Mapping[int, tuple[str, str]]) -> SheetRow:
    bore = inner.trimmed_in
    label, serial = balls.get(bore.id, ("", ""))
    typed = {name: text for name, text in {**bore.typed, **inner.typed}.items() if name in _KEPT}
    typed |= {"bowler_name": inner.bowler.name, "bowler_phone": inner.bowler.phone, "hand": bore.hand}
    typed |= {"ball_label": label, "ball_serial": serial}
    typed |= {"shop_id": str(bore.shop_id), "system_id": str(inner.system_id), "datum": bore.datum}
    shown = typed | {"shop_id": bore.shop.name, "system_id": inner.system.label, "datum": DATUM_WORDS[bore.datum]}
    return SheetRow(f"/inners/{inner.id}", False, shown, typed)


def _tell_unfinished(row: IntakeRow) -> SheetRow:
    shown = {name: text for name, text in row.typed.items() if name not in {"shop_id", "system_id", "obtained"}}
    return SheetRow(f"/visitors/set?row={row.id}", True, shown, dict(row.typed))


def list_taken_today(session: Session) -> Sequence[Inner]:
    """Returns the inners taken in during the last twelve hours, newest first."""
    ours = shops.require_our_shop(session)
    query = (
        select(Inner)
        .join(Bore, Bore.id == Inner.trimmed_in_id)
        .where(Inner.created_at >= now() - timedelta(hours=12), Bore.shop_id != ours.id)
        .where(Inner.made_by_shop_id == ours.id)
        .options(joinedload(Inner.bowler), joinedload(Inner.system), joinedload(Inner.trimmed_in).joinedload(Bore.shop))
        .order_by(Inner.id.desc())
        .limit(40)
    )
    return session.scalars(query).all()
