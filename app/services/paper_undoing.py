"""Takes back what was said of a typed card, or the typed card whole: it waits again, with its lines and its picture.

The bowler and fit that it made are marked and kept, as all that is taken back. A card whose fit was used or changed
since is not taken back: its doubt stays with the fit.
"""

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.access import DRILLER, Actor
from app.errors import ConflictError, NotAllowedError
from app.models import Bowler, Change, Drilling, Fit, IssuedCard, PaperCard, Photo, ReadCard, SheetRow, now
from app.schemas.taken_back import TakingBackForm
from app.services import bowler_words, changes, photos, taken_back

_TYPED = {"typed", "right", "wrong"}


def take_verdict_back(session: Session, card: PaperCard, form: TakingBackForm) -> None:
    """Makes a card wait for a second look again; raises NotAllowedError but for a driller, or who looked."""
    changes.require_version(session, card, form.version)
    if card.state not in {"right", "wrong"} or not card.lines:
        raise ConflictError(f"Card {card.number} is {card.state}: there is nothing to take back.")
    _require_own(session, card.checked_by_id, form.who)
    changes.revise(session, form.who, card, {"state": "typed", "word": ""}, form.why)
    card.checked_by_id, card.checked_at = None, None
    card.version += 1


def take_card_back(session: Session, card: PaperCard, form: TakingBackForm) -> None:
    """Makes a typed card wait to be typed again; raises NotAllowedError but for a driller, or who typed it."""
    changes.require_version(session, card, form.version)
    if card.state not in _TYPED or not card.lines:
        raise ConflictError(f"Card {card.number} is {card.state}: there is nothing to take back.")
    _require_own(session, card.typed_by_id, form.who)
    fit = _find_fit(session, card)
    if fit and (used := _list_uses(session, fit, card)):
        raise ConflictError(
            f"Fit {fit.letter} has {', '.join(used)}, so it stays, and card {card.number} with it, "
            f"{card.state} as it is. Change or revise the fit instead."
        )
    _return_picture(session, card)
    if fit:
        _discard_fit(session, fit, form)
    kept = _remove_bowler(session, card, form)
    word = f"Taken back: {form.why}" + (f" Kept: {'; '.join(kept)}." if kept else "")
    changes.revise(session, form.who, card, {"state": "waiting", "word": word[:400]}, form.why)
    card.fit_id = fit.id if fit else None  # discarded: restored, it is doubted again
    card.made_bowler, card.answers = False, {}
    card.typed_by_id = card.typed_at = card.checked_by_id = card.checked_at = card.held_by_id = None
    card.version += 1


def _require_own(session: Session, whose: int | None, who: int) -> None:
    actor: Actor | None = session.info.get("actor")
    if actor and whose != who and not actor.is_at_least(DRILLER):
        raise NotAllowedError(f"Only who did it or a {DRILLER} may take it back.")


def _return_picture(session: Session, card: PaperCard) -> None:
    """Puts the picture back to its card; one that was taken off the fit since is gone."""
    card.has_picture = card.photo_id is not None or bool(card.picture)
    if card.photo_id:
        photo = photos.get_photo(session, card.photo_id)
        card.picture, card.photo_id = photo.data, None
        session.flush()
        session.delete(photo)
        session.flush()


def _find_fit(session: Session, card: PaperCard) -> Fit | None:
    """Returns the fit that a card made; None if it says what a fit said already."""
    fit = session.get(Fit, card.fit_id or 0)
    return fit if fit and _is_of_card(fit, card) else None


def _list_uses(session: Session, fit: Fit, card: PaperCard) -> list[str]:
    """Returns in words why the fit that a card made has to stay, draft or in force."""
    if fit.state == "discarded":
        return []
    counts = {
        "drilling": select(func.count()).where(Drilling.fit_id == fit.id),
        "revision": select(func.count()).where(Fit.revised_from_id == fit.id, Fit.state != "discarded"),
        "issued card": select(func.count()).where(IssuedCard.fit_id == fit.id),
        "sheet row": select(func.count()).where(SheetRow.fit_id == fit.id),
        "other card": select(func.count()).where(PaperCard.fit_id == fit.id, PaperCard.id != card.id),
        "photo": select(func.count()).where(Photo.fit_id == fit.id, Photo.id != (card.photo_id or 0)),
        "later change": _count_changes(fit, card),
    }
    return taken_back.describe_counts(session, counts)


def _discard_fit(session: Session, fit: Fit, form: TakingBackForm) -> None:
    if fit.state != "discarded":
        changes.revise(session, form.who, fit, {"state": "discarded"}, form.why)
        fit.discarded_reason = form.why
        session.flush()


def _count_changes(of: Fit | Bowler, card: PaperCard) -> Select[int]:
    """How often a record was changed after the card was typed; what a card's photo leaves behind is no change."""
    own = (Change.noun == of.__tablename__, Change.noun_id == of.id, Change.at > card.typed_at)
    return select(func.count()).where(*own, Change.field != "photo")


def _is_of_card(fit: Fit, card: PaperCard) -> bool:
    """Whether a fit came of this card, and not before it: a card may say what a fit says already."""
    return fit.is_off_card and fit.reason.partition(", measured")[0] == f"card {card.number} of {card.stack.name}"


def _remove_bowler(session: Session, card: PaperCard, form: TakingBackForm) -> list[str]:
    """Removes the bowler that a card made; returns in words why the record stays."""
    owner = session.get(Bowler, card.bowler_id or 0)
    if owner is None or not card.made_bowler or owner.removed_at or owner.erased_at:
        return []
    others = (PaperCard.bowler_id == owner.id, PaperCard.id != card.id, PaperCard.state.in_(_TYPED))
    counts = {
        "other card": select(func.count()).where(*others),
        "sheet row": select(func.count()).where(SheetRow.bowler_id == owner.id),
        "issued card": select(func.count()).where(IssuedCard.bowler_id == owner.id),
        "read card": select(func.count()).where(ReadCard.bowler_id == owner.id),
        "later change": _count_changes(owner, card),
    }
    used = taken_back.list_bowler_obstacles(session, owner.id, counts_discarded=False)
    used += taken_back.describe_counts(session, counts)
    if used or owner.merged_into_id:
        return [f"the bowler has {', '.join(used) or 'a merged record'}"]
    changes.revise(session, form.who, owner, {"removed_at": now()}, form.why)
    owner.removed_reason = form.why
    session.flush()
    bowler_words.index_bowler(session, owner)
    return []
