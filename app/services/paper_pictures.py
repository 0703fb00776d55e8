"""Pictures of paper cards: they wait with their cards, are turned, and go to the fit once a card is typed."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError, NotFoundError
from app.models import CardStack, Fit, PaperCard
from app.photos.cleaning import CleanPhoto, add_thumbnail, clean
from app.photos.errors import PhotoError
from app.photos.turning import turn_by_quarter
from app.services import changes, paper_stacks, photos

MOST_AT_ONCE = 20
MOST_WAITING = 400  # in a stack; ASSUMED, about 200 MB in the database


def make_anew(sent: Sequence[tuple[str, bytes]]) -> list[bytes]:
    """Returns the pictures of (file name, content) as they are kept; raises InvalidError, naming the file, for others.

    It takes a second for each, and needs no database: nobody waits for the writers' lock meanwhile.
    """
    made = []
    for name, data in sent:
        try:
            made.append(clean(data).data)
        except PhotoError as error:
            raise InvalidError.at("pictures", f"{name[:60]}: {error.message} None of them was kept.") from None
    if not made:
        raise InvalidError.at("pictures", "Choose the pictures.")
    return made


def add_pictures(session: Session, who: int, of: CardStack, made: Sequence[bytes]) -> None:
    """Adds a waiting card for each picture, in their order."""
    waiting = paper_stacks.count_states(session, of.id)["waiting"]
    if waiting + len(made) > MOST_WAITING:
        raise InvalidError.at("pictures", f"At most {MOST_WAITING} cards wait in a stack. Type some of them first.")
    for picture in made:
        paper_stacks.add_card(session, who, of, picture)


def get_picture(session: Session, card: PaperCard) -> bytes:
    """Returns the picture of a card that is not yet typed; raises NotFoundError where there is none."""
    found = session.scalar(select(PaperCard.picture).where(PaperCard.id == card.id))
    if not found:
        raise NotFoundError("This card has no picture.")
    return found


def turn(session: Session, who: int, card: PaperCard) -> None:
    """Turns the picture of a waiting card clockwise by a quarter, and keeps it so."""
    paper_stacks.require_waiting(card, who)
    data = get_picture(session, card)
    changes.note(session, who, card, changes.Entry("picture", "", "turned by a quarter"))
    card.picture = turn_by_quarter(data)
    card.version += 1


def prepare_photo(session: Session, card: PaperCard) -> CleanPhoto | None:
    """Ends the transaction and makes a photo of a waiting card's picture, while nobody waits for the writers' lock."""
    data = get_picture(session, card) if card.has_picture and card.state == "waiting" else b""
    session.commit()
    return add_thumbnail(data) if data else None


def move_to_fit(session: Session, who: int, card: PaperCard, fit: Fit, made: CleanPhoto | None = None) -> None:
    """Makes the picture a photo of the fit that was typed from it; `made` is the photo, if the picture is as it was."""
    if card.has_picture:
        data = get_picture(session, card)
        photo = made if made and made.data == data else add_thumbnail(data)
        card.photo_id = photos.add_photo(session, fit, who, photo).id
        card.picture = b""
