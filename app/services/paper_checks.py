"""The second look at a typed card: another person sees picture and read-back, and says right or wrong."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError
from app.models import Change, Fit, PaperCard, now
from app.schemas.paper_stacks import SecondLookForm
from app.services import changes

_MOST_REVISIONS = 20
_NO_MEASURE = (changes.MADE, "state", "in_force_at", "reason", "photo", "hand_notes", "clinician_notes")


def find_next(session: Session, stack_id: int, who: int, after: int = 0) -> PaperCard | None:
    """Returns the next card that waits for a second look by somebody who did not type it, round from the last."""
    waits = (PaperCard.stack_id == stack_id, PaperCard.state == "typed", PaperCard.typed_by_id != who)
    found = select(PaperCard).where(*waits).order_by(PaperCard.number).limit(1)
    return session.scalar(found.where(PaperCard.number > after)) or session.scalar(found)


def check(session: Session, card: PaperCard, form: SecondLookForm) -> None:
    """Stores what the second person says; raises InvalidError for the one who typed, ConflictError if it was said."""
    changes.require_version(session, card, form.version)
    if card.state not in {"typed", "wrong"}:
        raise ConflictError(f"Card {card.number} is {card.state}: nothing waits for a second look.")
    if form.who == card.typed_by_id:
        raise InvalidError.at(
            "who", "You typed this card: somebody else has to look. Tap their initials, with the PIN."
        )
    changes.revise(session, form.who, card, {"state": form.verdict, "word": form.word}, bowler=card.bowler_id)
    card.checked_by_id, card.checked_at = form.who, now()
    card.version += 1


def find_doubt(session: Session, fit: Fit | None) -> PaperCard | None:
    """Returns the card that a fit, or one that it revises, was typed from, unless a second person found it right.

    What was measured or typed anew since a card was found wrong is somebody's own, and not of that card.
    """
    walked: list[int] = []
    for _ in range(_MOST_REVISIONS):
        if fit is None or not fit.is_off_card:
            return None
        card = _find_card(session, fit.id)
        if card:
            is_doubted = card.state != "right" and bool(card.lines)
            return card if is_doubted and not _is_changed_since(session, walked, card) else None
        walked.append(fit.id)
        fit = session.get(Fit, fit.revised_from_id) if fit.revised_from_id else None
    return None


def _find_card(session: Session, fit_id: int) -> PaperCard | None:
    whole = (joinedload(PaperCard.typed_by), joinedload(PaperCard.checked_by))
    own = select(PaperCard).where(PaperCard.fit_id == fit_id).options(*whole).order_by(PaperCard.id).limit(1)
    return session.scalar(own)


def _is_changed_since(session: Session, fit_ids: Sequence[int], card: PaperCard) -> bool:
    """Whether one of these fits was saved by its form, with another measure, since the card was found wrong."""
    if card.state != "wrong" or card.checked_at is None or not fit_ids:
        return False
    own = (Change.noun == "fit", Change.noun_id.in_(fit_ids), Change.at > card.checked_at)
    return session.scalar(select(Change.id).where(*own, Change.field.not_in(_NO_MEASURE)).limit(1)) is not None


def wait_again(session: Session, who: int, fit: Fit) -> None:
    """Makes the card that was found wrong wait for a second look again, once its draft was changed."""
    card = _find_card(session, fit.id) if fit.is_off_card else None
    if card and _is_changed_since(session, [fit.id], card):
        changes.revise(session, who, card, {"state": "typed", "word": ""}, f"fit {fit.letter} was changed")
        card.checked_by_id, card.checked_at = None, None
        card.version += 1


def describe_doubt(card: PaperCard) -> str:
    """What is said where a fit of an unverified card is used."""
    if card.state in {"waiting", "left out"}:
        return "Typed from a card that was taken back"
    by = card.typed_by.name if card.typed_by else "somebody"
    if card.state == "wrong":
        said = card.checked_by.name if card.checked_by else "somebody"
        return f"Typed from a card by {by}; {said} found it wrong: {card.word}"
    return f"Typed from a card by {by}, not verified"
