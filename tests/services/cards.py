"""Cards of other shops, as they come to the demo shop: of an invented shop, or of the demo's own records elsewhere."""

from dataclasses import replace
from datetime import date, timedelta

from sqlalchemy.orm import Session

from app.cards.envelope import Opened, open_card, seal_card
from app.models import Inner, ReadCard
from app.schemas.cards import TakingForm
from app.services import card_contents, card_reading, card_takings
from app.services.bowlers import get_bowler
from tests.cards.made import PRIVATE_KEY, make_card

OTHER_KEY = bytes(range(1, 33))
SERIES = bytes(range(6))


def open_made(key: bytes = PRIVATE_KEY, **other: object) -> Opened:
    """A card of Harbour Lane, signed and opened, made last month."""
    said = {"made_on": date.today() - timedelta(days=30)} | other
    return open_card(seal_card(make_card(**said), key))


def open_twin(session: Session, bowler_id: int, shop: str = "Harbour Lane", **other: object) -> Opened:
    """The card that a shop with the demo's records would make, under another name and key."""
    bowler = get_bowler(session, bowler_id)
    built = card_contents.build_card(session, bowler, bowler.hand, SERIES, date.today())  # type: ignore[arg-type]
    card = replace(built, shops=(shop, *built.shops[1:]), **other)  # type: ignore[arg-type]
    return open_card(seal_card(card, OTHER_KEY))


def take(session: Session, who: str, opened: Opened, **typed: object) -> ReadCard:
    """Takes a card in with everything on it, for a new bowler unless another is named."""
    told = card_reading.tell(session, int(who), opened)
    form = {"who": who, "bowler_id": 0, "takes_fit": "true", "takes_inners": "true", "takes_depths": "true"} | typed
    form = {name: value for name, value in form.items() if value != ""}
    taken = card_takings.take_in(session, TakingForm.read(form), told)
    session.flush()
    return taken


def copy_inner(session: Session, of: Inner) -> Inner:
    """Another thumb piece of the same bowler, trimmed in the same bore."""
    columns = (column.key for column in Inner.__table__.columns)
    own = {name: getattr(of, name) for name in columns if name not in {"id", "version"}}
    made = Inner(**own | {"label": "the other one"})
    session.add(made)
    session.flush()
    return made
