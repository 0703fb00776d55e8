"""Stacks of paper cards: their list, one stack with its pictures and cards, and the second look at each."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Query, Response
from sqlalchemy.orm import Session

from app.errors import ShopError
from app.models import PaperCard
from app.pages import pictures
from app.pages.admission import PageDep, PageRouter, Posted, PostedPictures, RecordId
from app.pages.lanes import KEEPS_PICTURES
from app.pages.render import Page, Shown
from app.photos.cleaning import MEDIA_TYPE
from app.schemas.forms import LARGEST_ID, SignedForm
from app.schemas.paper_stacks import SecondLookForm, StackForm
from app.schemas.taken_back import TakingBackForm
from app.services import (
    changes,
    fits,
    grips,
    paper_checks,
    paper_entries,
    paper_pictures,
    paper_stacks,
    paper_undoing,
    sheet_imports,
)

router = PageRouter(prefix="/moving-in/cards")
_WITHOUT_LOOK = {"waiting", "left out"}  # nothing is stored of such a card that could be compared
After = Annotated[int, Query(ge=0, le=LARGEST_ID)]


def _load_list(page: Page) -> Shown:
    stacks = paper_stacks.list_stacks(page.session)
    return {
        "stacks": [(of, paper_stacks.count_states(page.session, of.id)) for of in stacks],
        "habits": [(habit.name, habit.name) for habit in sheet_imports.list_habits(page.session)],
    }


@router.get("")
def list_stacks(page: PageDep) -> Response:
    """Every stack, and the form of the next."""
    return page.show("moving_in/stacks.html", **_load_list(page))


@router.post("")
def add_stack(page: PageDep, posted: Posted) -> Response:
    try:
        made = paper_stacks.add_stack(page.session, page.read(StackForm, posted))
    except ShopError as error:
        return page.show_refused(error, "moving_in/stacks.html", posted, lambda: _load_list(page))
    return page.redirect(f"/moving-in/cards/{made.id}")


def _load_stack(page: Page, stack_id: int) -> Shown:
    of = paper_stacks.get_stack(page.session, stack_id)
    return {
        "stack": of,
        "counts": paper_stacks.count_states(page.session, of.id),
        "typed_cards": paper_stacks.list_cards(page.session, of.id, ("typed", "wrong", "right", "left out")),
        "wrong": paper_stacks.list_cards(page.session, of.id, ("wrong",)),
        "waiting": paper_stacks.list_cards(page.session, of.id, ("waiting",)),
        "is_held": lambda card: paper_stacks.is_held_by_another(card, page.me().staff_id),
        "history": changes.list_record_lines(page.session, of),
    }


@router.get("/{stack_id}")
def show_stack(page: PageDep, stack_id: RecordId) -> Response:
    return page.show("moving_in/stack.html", **_load_stack(page, stack_id))


@router.post("/{stack_id}/next")
def take_next(page: PageDep, stack_id: RecordId, posted: Posted) -> Response:
    """Gives whoever asks the next card of the stack, for some minutes theirs alone."""
    of = paper_stacks.get_stack(page.session, stack_id)
    try:
        card = paper_stacks.take_next(page.session, page.read(SignedForm, posted).who, of)
    except ShopError as error:
        return page.show_refused(error, "moving_in/stack.html", posted, lambda: _load_stack(page, stack_id))
    return page.redirect(f"/moving-in/cards/{stack_id}/{card.number}")


@router.post("/{stack_id}/pictures", name=KEEPS_PICTURES)
def add_pictures(page: PageDep, stack_id: RecordId, sent: PostedPictures, posted: Posted) -> Response:
    """Keeps the pictures of several cards; they are made anew while nobody waits for the writers' lock."""
    of = paper_stacks.get_stack(page.session, stack_id)
    try:
        who = page.read(SignedForm, posted).who
        page.session.commit()
        made = paper_pictures.make_anew(sent)
        of = paper_stacks.get_stack(page.session, stack_id)
        paper_pictures.add_pictures(page.session, who, of, made)
    except ShopError as error:
        return page.show_refused(error, "moving_in/stack.html", posted, lambda: _load_stack(page, stack_id), "pictures")
    return page.redirect(f"/moving-in/cards/{stack_id}")


@router.get("/{stack_id}/{number}/picture")
def show_picture(page: PageDep, stack_id: RecordId, number: RecordId) -> Response:
    """The picture of a card as it waits; that of a typed card is a photo of its fit."""
    card = paper_stacks.get_card(page.session, stack_id, number)
    if card.photo_id:
        return page.redirect(f"/photos/{card.photo_id}")
    return page.show_picture(paper_pictures.get_picture(page.session, card), MEDIA_TYPE)


# The second look ------------------------------------------------------------------------------------------------------


@router.get("/{stack_id}/second-look")
def show_next_look(page: PageDep, stack_id: RecordId, after: After = 0) -> Response:
    """The next card that waits for a second person; the stack when none does."""
    of = paper_stacks.get_stack(page.session, stack_id)
    card = paper_checks.find_next(page.session, of.id, page.me().staff_id, after)
    where = f"/moving-in/cards/{of.id}"
    return page.redirect(f"{where}/{card.number}/second-look" if card else where)


def _load_look(page: Page, stack_id: int, number: int) -> Shown:
    card = paper_stacks.get_card(page.session, stack_id, number)
    fit = fits.get_fit(page.session, card.fit_id) if card.fit_id else None
    solved = grips.solve(fit, fit.system) if fit and grips.can_solve(fit) else None
    return {
        "card": card,
        "stack": card.stack,
        "reading": paper_entries.read_stored(card),
        "fit": fit,
        "picture": pictures.draw_grip(solved) if solved else None,
        "counts": paper_stacks.count_states(page.session, stack_id),
        "version": card.version,
        "history": changes.list_record_lines(page.session, card),
    }


@router.get("/{stack_id}/{number}/second-look")
def show_look(page: PageDep, stack_id: RecordId, number: RecordId) -> Response:
    """The picture and the read-back side by side."""
    card = paper_stacks.get_card(page.session, stack_id, number)
    if card.state in _WITHOUT_LOOK:
        return page.redirect(f"/moving-in/cards/{stack_id}/{number}")
    return page.show("moving_in/second_look.html", **_load_look(page, stack_id, number))


@router.post("/{stack_id}/{number}/second-look")
def look(page: PageDep, stack_id: RecordId, number: RecordId, posted: Posted) -> Response:
    card = paper_stacks.get_card(page.session, stack_id, number)
    if card.state in _WITHOUT_LOOK:
        return page.redirect(f"/moving-in/cards/{stack_id}/{number}")
    try:
        paper_checks.check(page.session, card, page.read(SecondLookForm, posted))
    except ShopError as error:
        load = _load_look
        return page.show_refused(error, "moving_in/second_look.html", posted, lambda: load(page, stack_id, number))
    return page.redirect(f"/moving-in/cards/{stack_id}/second-look?after={number}")


@router.post("/{stack_id}/{number}/second-look/taking-back")
def take_verdict_back(page: PageDep, stack_id: RecordId, number: RecordId, posted: Posted) -> Response:
    return _take_back(page, (stack_id, number), posted, paper_undoing.take_verdict_back, "verdict")


@router.post("/{stack_id}/{number}/taking-back")
def take_card_back(page: PageDep, stack_id: RecordId, number: RecordId, posted: Posted) -> Response:
    """The card waits again, and what it made goes, unless something uses it."""
    return _take_back(page, (stack_id, number), posted, paper_undoing.take_card_back, "card")


def _take_back(
    page: Page,
    place: tuple[int, int],
    posted: Posted,
    act: Callable[[Session, PaperCard, TakingBackForm], None],
    refused: str,
) -> Response:
    card = paper_stacks.get_card(page.session, *place)
    if card.state in _WITHOUT_LOOK:
        return page.redirect(f"/moving-in/cards/{place[0]}/{place[1]}")
    try:
        act(page.session, card, page.read(TakingBackForm, posted))
    except ShopError as error:
        load = _load_look
        return page.show_refused(error, "moving_in/second_look.html", posted, lambda: load(page, *place), refused)
    return page.redirect(f"/moving-in/cards/{place[0]}/{place[1]}/second-look")
