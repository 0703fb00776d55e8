"""Cards of other shops: read from a picture, a file or a text, looked at, taken in, and taken back."""

from fastapi import Response

from app.cards.contents import Card
from app.cards.envelope import open_card
from app.cards.texts import to_lines
from app.cards.words import list_words
from app.errors import InvalidError, ShopError
from app.models import StatedDepth
from app.pages.admission import PageDep, PageRouter, Posted, PostedPhoto, RecordId
from app.pages.lanes import READS_CODES
from app.pages.render import Page, Shown
from app.pages.travelling import draw_card
from app.schemas.cards import CardTakingBackForm, TakingForm
from app.schemas.forms import SignedForm, read_id
from app.services import bowlers, card_leavings, card_previews, card_reading, card_takings, card_undoing, changes, shops
from app.services.card_reading import Told

router = PageRouter(prefix="/cards")


@router.get("/read")
def show_reading(page: PageDep) -> Response:
    return page.show("cards/read.html")


def _load_preview(page: Page, told: Told, bowler_id: int = 0) -> Shown:
    card = told.opened.card
    known = shops.list_shops(page.session)
    return {
        "told": told,
        "card": card,
        "text": to_lines(told.opened.data),
        "said": list_words(card),
        "picture": draw_card(card),
        "preview": card_previews.preview(page.session, told, bowler_id),
        "shop_choices": [(shop.id, shop.name) for shop in known],
        "hanging": [_tell_hanging(card, place) for place in range(len(card.hardware))],
        "hardware_choices": card_previews.list_choices(page.session, card),
        "chosen_id": bowler_id,
    }


def _tell_hanging(card: Card, place: int) -> str:
    left = card_leavings.list_hanging(card, place)
    return f"leave it out, and with it {', '.join(left)}" if left else "leave it out"


@router.post("/read", name=READS_CODES)
def read(page: PageDep, photo: PostedPhoto, posted: Posted) -> Response:
    """Tells what a card says; with a `bowler_id`, of a card told already, beside what that bowler has here."""
    bowler_id = read_id(posted.get("bowler_id", ""))
    try:
        form = page.read(SignedForm, posted)
        opened = card_reading.open_any(photo, posted.get("text", ""))
        if bowler_id is None:
            told = card_reading.tell(page.session, form.who, opened)
            bowler_id = card_reading.find_bowler_id(page.session, opened)
        else:
            told = card_reading.look_again(page.session, opened)
        loaded = _load_preview(page, told, bowler_id or 0)
    except ShopError as error:
        return page.show_refused(error, "cards/read.html", posted, dict)
    page.remember("/cards/read")
    return page.show("cards/preview.html", **loaded)


@router.post("/takings")
def take_in(page: PageDep, posted: Posted) -> Response:
    try:
        form = page.read(TakingForm, posted)
        told = card_reading.look_again(page.session, card_reading.open_any(b"", form.text))
        taken = card_takings.take_in(page.session, form, told)
    except ShopError as error:
        return _show_refused(page, error, posted)
    return page.redirect(f"/cards/{taken.id}")


def _show_refused(page: Page, error: ShopError, posted: dict[str, str]) -> Response:
    """Shows the preview again with what was chosen; a text that is no card leads to the first page."""

    def load() -> Shown:
        told = card_reading.look_again(page.session, card_reading.open_any(b"", posted.get("text", "")))
        return _load_preview(page, told, read_id(posted.get("bowler_id", "")) or 0) | {"version": ""}

    try:
        return page.show_refused(_say_fields(error), "cards/preview.html", posted, load, "taking")
    except InvalidError as no_card:
        return page.show_refused(no_card, "cards/read.html", posted, dict)


def _say_fields(error: ShopError) -> ShopError:
    """Tells at the top what a field of another form refused: a card has no such field to show it at."""
    shown = {"who", "pin", "text", ""}
    said = [
        f"{changes.describe_field(name)}: {told.message}"
        for name, told in error.fields.items()
        if name not in shown and not name.startswith("shop-")
    ]
    if said:
        error.message = f"This cannot be taken in as it is. {' '.join(said)}"
    return error


def _load_taken(page: Page, card_id: int) -> Shown:
    taken = card_undoing.get_taken(page.session, card_id)
    return {
        "taken": taken,
        "bowler": bowlers.get_bowler(page.session, taken.bowler_id) if taken.bowler_id else None,
        "said": list_words(open_card(taken.data).card) if taken.data else [],
        "depths": [page.session.get_one(StatedDepth, i) for i in taken.made.get("depth", ())],
        "history": changes.list_record_lines(page.session, taken),
        "version": taken.version,
    }


@router.get("/{card_id}")
def show_taken(page: PageDep, card_id: RecordId) -> Response:
    return page.show("cards/taken.html", **_load_taken(page, card_id))


@router.post("/{card_id}/taking-back")
def take_back(page: PageDep, card_id: RecordId, posted: Posted) -> Response:
    try:
        card_undoing.take_back(page.session, card_id, page.read(CardTakingBackForm, posted))
    except ShopError as error:
        return page.show_refused(error, "cards/taken.html", posted, lambda: _load_taken(page, card_id))
    return page.redirect(f"/cards/{card_id}")
