"""The second look at a typed card: another person sees picture and read-back, and says right or wrong."""

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError
from app.models import Fit, PaperCard, now
from app.schemas.paper_stacks import SecondLookForm
from app.services import changes

_MOST_REVISIONS = 20


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
    """Returns the card that a fit, or one that it revises, was typed from, unless a second person found it right."""
    for _ in range(_MOST_REVISIONS):
        if fit is None or not fit.is_off_card:
            return None
        whole = (joinedload(PaperCard.typed_by), joinedload(PaperCard.checked_by))
        own = select(PaperCard).where(PaperCard.fit_id == fit.id).options(*whole).order_by(PaperCard.id).limit(1)
        card = session.scalar(own)
        if card:
            return card if card.state in {"typed", "wrong"} else None
        fit = session.get(Fit, fit.revised_from_id) if fit.revised_from_id else None
    return None


def describe_doubt(card: PaperCard) -> str:
    """What is said where a fit of an unverified card is used."""
    by = card.typed_by.name if card.typed_by else "somebody"
    if card.state == "wrong":
        said = card.checked_by.name if card.checked_by else "somebody"
        return f"Typed from a card by {by}; {said} found it wrong: {card.word}"
    return f"Typed from a card by {by}, not verified"
