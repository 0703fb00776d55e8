"""Photos of balls, fits, inners and troubles: shown, added and taken back."""

from dataclasses import dataclass
from typing import Literal

from fastapi import Response

from app.errors import ShopError
from app.models import Bowler, Photo, Trouble
from app.pages.admission import PageDep, PageRouter, Posted, PostedPicture, RecordId
from app.pages.lanes import KEEPS_PHOTO
from app.pages.render import Page, Shown
from app.schemas.forms import SignedForm
from app.schemas.taken_back import TakingBackForm
from app.services import changes, photos
from app.services.photos import Pictured

router = PageRouter(prefix="/photos")
Noun = Literal["ball", "fit", "inner", "trouble"]


@dataclass(frozen=True)
class ShownPhotos:
    """The photos of one record, what they show in words, where they stand, and what to ask before another one."""

    photos: list[Photo]
    words: str
    path: str
    caution: str


def load_photos(page: Page, of: Pictured) -> ShownPhotos:
    """Returns what a record's page shows of its photos."""
    found = list(photos.list_photos(page.session, of))
    path = f"/photos/of/{of.__tablename__}/{of.id}"
    return ShownPhotos(found, photos.describe(of), path, _describe_consent(photos.find_bowler(page.session, of)))


def _describe_consent(of: Bowler | None) -> str:
    """Returns what the record says of consent: a photo may show more than the thing."""
    if of is None or not (of.is_minor or of.consent):
        return ""
    asked = f"Under age, guardian: {of.guardian}. " if of.is_minor else ""
    return asked + (f"Consent: {of.consent}" if of.consent else "No consent is recorded: ask before a person is in it.")


def _load(page: Page, of: Pictured) -> Shown:
    return {
        "shown": load_photos(page, of),
        "back": photos.find_address(of),
        "bowler": photos.find_bowler(page.session, of),
        "history": changes.list_record_lines(page.session, of),
    }


@router.get("/of/{noun}/{record_id}")
def show_photos(page: PageDep, noun: Noun, record_id: RecordId) -> Response:
    return page.show("photos/show.html", **_load(page, photos.get_pictured(page.session, noun, record_id)))


@router.post("/of/{noun}/{record_id}", name=KEEPS_PHOTO)
def add_photo(page: PageDep, noun: Noun, record_id: RecordId, photo: PostedPicture, posted: Posted) -> Response:
    of = photos.get_pictured(page.session, noun, record_id)
    try:
        form = page.read(SignedForm, posted)
        photos.add_photo(page.session, of, form.who, photo)
    except ShopError as error:
        return _show_refused(page, error, posted, (noun, record_id), "add")
    is_without_page = isinstance(of, Trouble)
    return page.redirect(page.request.url.path if is_without_page else f"{photos.find_address(of)}#photos")


def _show_refused(
    page: Page, error: ShopError, posted: dict[str, str], place: tuple[str, int], refused: str
) -> Response:
    def load() -> Shown:
        return _load(page, photos.get_pictured(page.session, *place))

    return page.show_refused(error, "photos/show.html", posted, load, refused)


@router.get("/{photo_id}")
def show_photo(page: PageDep, photo_id: RecordId) -> Response:
    found = photos.get_photo(page.session, photo_id)
    return page.show_picture(found.data, found.media_type)


@router.get("/{photo_id}/thumbnail")
def show_thumbnail(page: PageDep, photo_id: RecordId) -> Response:
    """The small picture; of an old photo that could not be decoded the picture itself."""
    found = photos.get_thumbnail(page.session, photo_id)
    if found.thumbnail is None:
        return show_photo(page, photo_id)
    return page.show_picture(found.thumbnail, found.media_type)


@router.post("/{photo_id}/removal")
def take_back(page: PageDep, photo_id: RecordId, posted: Posted) -> Response:
    of = photos.get_owner(page.session, photos.get_photo(page.session, photo_id))
    try:
        photos.take_back(page.session, photo_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        return _show_refused(page, error, posted, (of.__tablename__, of.id), f"photo-{photo_id}")
    return page.redirect(f"/photos/of/{of.__tablename__}/{of.id}")
