"""Stacks of paper cards: their ways of writing, the pictures that wait, and who has which card in hand.

Two people at one stack never get the same card: whoever takes one has it for some minutes, and writers take turns.
"""

from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy import ColumnElement, case, func, or_, select, update
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import CardStack, PaperCard, SheetHabit, now
from app.schemas.paper_stacks import LeavingOutForm, StackForm
from app.services import changes
from app.sheets.paper_lines import SHOWN, USUAL_ORDER, WAYS, next_way

HELD = timedelta(minutes=10)
_WHOLE = (joinedload(CardStack.staff),)
_OF_CARD = (
    joinedload(PaperCard.stack),
    joinedload(PaperCard.typed_by),
    joinedload(PaperCard.checked_by),
    joinedload(PaperCard.held_by),
)


def list_stacks(session: Session) -> Sequence[CardStack]:
    """Returns the last stacks, newest first."""
    return session.scalars(select(CardStack).options(*_WHOLE).order_by(CardStack.id.desc()).limit(100)).all()


def get_stack(session: Session, stack_id: int) -> CardStack:
    found = session.scalar(select(CardStack).where(CardStack.id == stack_id).options(*_WHOLE))
    if found is None:
        raise NotFoundError("There is no such stack.")
    return found


def add_stack(session: Session, form: StackForm) -> CardStack:
    """Begins a stack, written as a saved way of sheets or, without one, as the stack before it."""
    last = session.scalar(select(CardStack).order_by(CardStack.id.desc()).limit(1))
    ways = _find_habit(session, form.habit) if form.habit else dict(last.ways) if last else {}
    usual = {"line_order": USUAL_ORDER, "first_finger": "middle"}
    made = CardStack(name=form.name, ways=usual | {n: v for n, v in ways.items() if v}, staff_id=form.who)
    changes.add_record(session, form.who, made, form.name)
    return made


def _find_habit(session: Session, name: str) -> dict[str, str]:
    found = session.scalar(select(SheetHabit).where(SheetHabit.name == name))
    if found is None:
        raise InvalidError.at("habit", "No way of writing is saved under that name.")
    return {way: value for way, value in found.conventions.items() if way in SHOWN}


def count_states(session: Session, stack_id: int) -> dict[str, int]:
    """Returns how many cards of a stack are in each state."""
    counted = select(PaperCard.state, func.count()).where(PaperCard.stack_id == stack_id).group_by(PaperCard.state)
    found = {state: count for state, count in session.execute(counted)}
    return {state: found.get(state, 0) for state in ("waiting", "typed", "right", "wrong", "left out")}


def change_way(session: Session, who: int, of: CardStack, name: str) -> None:
    """Sets one convention of a stack to its next choice; cards that are typed keep those they were read by."""
    try:
        new = next_way(name, of.ways.get(name, ""))
    except ValueError:
        raise InvalidError("That is no way of writing cards.") from None
    old = of.ways.get(name, "")
    words = [WAYS[name].get(value, "asked of each card") for value in (old, new)]
    changes.note(session, who, of, changes.Entry(name, *words))
    of.ways = of.ways | {name: new}
    of.version += 1


# Cards ----------------------------------------------------------------------------------------------------------------


def get_card(session: Session, stack_id: int, number: int) -> PaperCard:
    """Returns a card by its number in the stack, with its stack and people; raises NotFoundError."""
    own = (PaperCard.stack_id == stack_id, PaperCard.number == number)
    found = session.scalar(select(PaperCard).where(*own).options(*_OF_CARD))
    if found is None:
        raise NotFoundError("There is no such card.")
    return found


def list_cards(session: Session, stack_id: int, states: Sequence[str], limit: int = 60) -> Sequence[PaperCard]:
    """Returns cards of a stack in these states: those that wait in the order they are typed in, others newest first."""
    order = PaperCard.number if "waiting" in states else PaperCard.number.desc()
    own = (PaperCard.stack_id == stack_id, PaperCard.state.in_(states))
    return session.scalars(select(PaperCard).where(*own).options(*_OF_CARD).order_by(order).limit(limit)).all()


def take_next(session: Session, who: int, of: CardStack) -> PaperCard:
    """Returns the next card for somebody to type, theirs for some minutes: with its picture, or a card without one."""
    waiting = (PaperCard.stack_id == of.id, PaperCard.state == "waiting")
    in_order = select(PaperCard).where(*waiting, _is_free(who)).order_by(PaperCard.number).limit(1)
    card = session.scalar(in_order) or add_card(session, who, of, b"")
    card.held_by_id, card.held_until = who, now() + HELD
    session.flush()
    return card


def _is_free(who: int) -> ColumnElement[bool]:
    return or_(PaperCard.held_by_id.is_(None), PaperCard.held_by_id == who, PaperCard.held_until < now())


def add_card(session: Session, who: int, of: CardStack, picture: bytes) -> PaperCard:
    """Adds a card that waits, with its picture or an empty one."""
    last = session.scalar(select(func.max(PaperCard.number)).where(PaperCard.stack_id == of.id)) or 0
    made = PaperCard(stack_id=of.id, number=last + 1, picture=picture, has_picture=bool(picture), state="waiting")
    changes.add_record(session, who, made, f"card {made.number} of {of.name}")
    return made


def is_held_by_another(card: PaperCard, who: int) -> bool:
    return card.held_by_id not in {None, who} and card.held_until is not None and card.held_until > now()


def require_waiting(card: PaperCard, who: int) -> None:
    """Raises ConflictError for a card that is typed or left out already, or that another has in hand."""
    if card.state != "waiting":
        raise ConflictError(f"Card {card.number} is {card.state} already. Nothing was saved a second time.")
    if is_held_by_another(card, who):
        by = card.held_by.name if card.held_by else "Somebody else"
        raise ConflictError(f"{by} has card {card.number} in hand. Take the next one.")


def leave_out(session: Session, card: PaperCard, form: LeavingOutForm) -> None:
    """Takes a card out of the stack with the reason; its picture goes."""
    require_waiting(card, form.who)
    changes.revise(session, form.who, card, {"state": "left out", "word": form.why})
    card.picture, card.has_picture = b"", False
    card.version += 1


def load_before(session: Session, who: int, card: PaperCard) -> PaperCard | None:
    """Returns the card that somebody typed last in this stack, if that is not this one."""
    own = (PaperCard.stack_id == card.stack_id, PaperCard.typed_by_id == who, PaperCard.id != card.id)
    last = select(PaperCard).where(*own).order_by(PaperCard.typed_at.desc(), PaperCard.id.desc()).limit(1)
    return session.scalar(last)


def empty_cards(session: Session, own: ColumnElement[bool]) -> None:
    """Takes what was typed off these cards, and their pictures, out of the records: for a person who is erased.

    Nothing is left to look at a second time.
    """
    nothing: dict[str, object] = {"lines": {}, "answers": {}, "picture": b"", "has_picture": False, "photo_id": None}
    nothing["state"] = case((PaperCard.state == "right", "right"), else_="left out")
    emptied = update(PaperCard).where(own).values(nothing)
    session.execute(emptied, execution_options={"synchronize_session": False})
