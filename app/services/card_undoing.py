"""Takes back what a card brought: marked with the reason, and kept; what was used since stays in use, and says why."""

from collections import defaultdict
from dataclasses import dataclass, field

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, NotFoundError
from app.models import Base, Bowler, Fit, FitHole, Inner, InsertSystem, Measurement, ReadCard, Shop, StatedDepth, now
from app.schemas.cards import CardTakingBackForm
from app.schemas.taken_back import TakingBackForm
from app.services import bowler_words, changes, inner_heights, known_keys, taken_back

_NO_USE = {"change", "bowler_word"}  # history and the look-up's words tell of a record, and use nothing
_NO_USER = {"made_by_shop_id"}


def get_taken(session: Session, card_id: int) -> ReadCard:
    """Returns a card that was taken in; raises NotFoundError."""
    found = session.get(ReadCard, card_id)
    if found is None or found.outcome == "read":
        raise NotFoundError("There is no such card.")
    return found


@dataclass
class _Undoing:
    """What is being taken back, and the ids of all that came with cards and is taken back, by table."""

    session: Session
    card: ReadCard
    form: CardTakingBackForm
    gone: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))
    kept: list[str] = field(default_factory=list)

    def list_made(self, of: str) -> list[int]:
        return self.card.made.get(of, [])

    def note_gone(self, of: str, ids: list[int]) -> None:
        self.gone[of] |= set(ids)
        column, table, name = _PARTS.get(of, (None, None, ""))
        if column is not None and table is not None:
            self.gone[name] |= set(self.session.scalars(select(column).where(table.in_(ids))))

    def find_uses(self, of: Base) -> list[str]:
        """Returns in words what refers to a record and is not taken back itself."""
        counts = {}
        for table in Base.metadata.tables.values():
            keys = [key for key in table.foreign_keys if key.column.table.name == of.__tablename__]
            columns = [key.parent for key in keys if key.parent.name not in _NO_USER]
            if columns and table.name not in _NO_USE:
                is_used = or_(*(column == of.id for column in columns))  # type: ignore[attr-defined]
                stays = table.c.id.not_in(self.gone[table.name])
                counts[table.name.replace("_", " ")] = select(func.count()).where(is_used, stays)
        return taken_back.describe_counts(self.session, counts)

    def keep_used(self, of: Base, name: str) -> bool:
        """Notes what is kept because it is used; returns whether it is."""
        used = self.find_uses(of)
        if used:
            self.kept.append(f"{name}: used by {', '.join(used)}")
        return bool(used)


# what goes with a record: (ids, of which records, table)
_PARTS = {
    "fit": (FitHole.id, FitHole.fit_id, "fit_hole"),
    "inner": (Inner.trimmed_in_id, Inner.id, "bore"),
}


def take_back(session: Session, card_id: int, form: CardTakingBackForm) -> ReadCard:
    """Takes back what a card brought: depths no longer count, its draft is discarded, its inners are retired.

    A bowler, shop or hardware that it made and nothing else uses is no longer found or offered.
    """
    of = get_taken(session, card_id)
    changes.require_version(session, of, form.version)
    if of.outcome == "taken back":
        raise ConflictError("This card was taken back already.")
    changes.revise(session, form.who, of, {"outcome": "taken back"}, form.why)
    undoing = _Undoing(session, of, form)
    _note_earlier(undoing)
    _discard_fits(undoing)
    _retire_inners(undoing)
    for depth in session.scalars(select(StatedDepth).where(StatedDepth.card_id == of.id)):
        changes.revise(session, form.who, depth, {"taken_back_at": now()}, form.why, of.bowler_id)
        undoing.note_gone("stated_depth", [depth.id])
    known_keys.unlink_unused(session, of.public_key)
    session.flush()
    _remove_bowlers(undoing)
    _remove_unused(undoing)
    of.taken_back_reason, of.kept = form.why, undoing.kept
    return of


def _note_earlier(undoing: _Undoing) -> None:
    """Notes what cards brought that were taken back before, and this card: none of that uses anything."""
    session = undoing.session
    for card in session.scalars(select(ReadCard).where(ReadCard.outcome == "taken back")):
        undoing.note_gone("read_card", [card.id])
        if card is not undoing.card:
            for of, ids in card.made.items():
                undoing.note_gone("stated_depth" if of == "depth" else of, _list_marked(session, of, ids))


def _list_marked(session: Session, of: str, ids: list[int]) -> list[int]:
    """Returns those of a table's records that are out of use."""
    marked = {
        "fit": (Fit.id, Fit.state == "discarded"),
        "inner": (Inner.id, Inner.retired_at.is_not(None)),
        "depth": (StatedDepth.id, StatedDepth.taken_back_at.is_not(None)),
        "bowler": (Bowler.id, Bowler.removed_at.is_not(None)),
    }
    if of not in marked:
        return []
    own, is_marked = marked[of]
    return list(session.scalars(select(own).where(own.in_(ids), is_marked)))


def _discard_fits(undoing: _Undoing) -> None:
    session, form = undoing.session, undoing.form
    for fit in session.scalars(select(Fit).where(Fit.id.in_(undoing.list_made("fit")))):
        if fit.state == "draft":
            discarding = {"who": form.who, "version": fit.version, "why": form.why}
            taken_back.discard_fit(session, fit.id, TakingBackForm.read(discarding))
        if fit.state == "discarded":
            undoing.note_gone("fit", [fit.id])
        else:
            undoing.kept.append(f"fit {fit.letter}: {fit.state}")


def _retire_inners(undoing: _Undoing) -> None:
    session, form = undoing.session, undoing.form
    brought = Measurement.inner_id.in_(undoing.list_made("inner")), Measurement.what.in_(inner_heights.PLACES)
    undoing.gone["measurement"] |= set(session.scalars(select(Measurement.id).where(*brought)))
    for inner in session.scalars(select(Inner).where(Inner.id.in_(undoing.list_made("inner")))):
        if inner.bowler_id != undoing.card.bowler_id:
            undoing.kept.append(f"inner {inner.label}: of another bowler since")
        elif not undoing.keep_used(inner, f"inner {inner.label}"):
            if inner.retired_at is None:
                changes.revise(session, form.who, inner, {"retired_at": now()}, form.why)
            undoing.note_gone("inner", [inner.id])


def _remove_bowlers(undoing: _Undoing) -> None:
    """Removes the bowler that a card made, unless anything else hangs on the record or somebody changed it."""
    session, form = undoing.session, undoing.form
    for bowler in session.scalars(select(Bowler).where(Bowler.id.in_(undoing.list_made("bowler")))):
        if undoing.keep_used(bowler, "the bowler") or bowler.removed_at:
            continue
        if bowler.version != 1 or bowler.merged_into_id:
            undoing.kept.append("the bowler: changed since")
            continue
        changes.revise(session, form.who, bowler, {"removed_at": now()}, form.why)
        bowler.removed_reason = form.why
        undoing.note_gone("bowler", [bowler.id])
        session.flush()
        bowler_words.index_bowler(session, bowler)


def _remove_unused(undoing: _Undoing) -> None:
    """Marks the shops and hardware that a card made and nothing else uses."""
    session, form = undoing.session, undoing.form
    for shop in session.scalars(select(Shop).where(Shop.id.in_(undoing.list_made("shop")))):
        if shop.removed_at is None and not undoing.keep_used(shop, shop.name):
            changes.revise(session, form.who, shop, {"removed_at": now()}, form.why)
    hardware = select(InsertSystem).where(InsertSystem.id.in_(undoing.list_made("insert_system")))
    for system in session.scalars(hardware):
        if system.removed_at is None and not undoing.keep_used(system, system.label):
            label = f"{system.label[:60]} (taken back {system.id})"  # its own is free again
            changes.revise(session, form.who, system, {"label": label, "removed_at": now()}, form.why)
