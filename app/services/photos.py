"""Photos of a ball, fit, inner or trouble: made anew when they come, listed, and taken back for good.

The history of the record itself says who added or took back which photo; the picture is gone once it is taken back.
"""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session, undefer

from app.access import DRILLER, Actor
from app.db import load_one
from app.errors import InvalidError, NotAllowedError, NotFoundError
from app.models import Ball, Bowler, Drilling, Fit, Inner, Photo, Trouble
from app.photos.cleaning import MEDIA_TYPE, CleanPhoto, clean
from app.photos.errors import PhotoError
from app.schemas.taken_back import TakingBackForm
from app.services import balls, bowlers, changes, fits, inners
from app.services.troubles import KINDS

Pictured = Ball | Fit | Inner | Trouble
_COLUMNS = {Ball: "ball_id", Fit: "fit_id", Inner: "inner_id", Trouble: "trouble_id"}
_FIELD = "photo"
Sent = bytes | CleanPhoto | PhotoError  # a photo as it came, or what was made of it before the transaction began


def add_photo(session: Session, of: Pictured, who: int, data: Sent) -> Photo:
    """Stores a photo of a record, made anew; raises InvalidError for what is none or is too large."""
    shown = find_bowler(session, of)
    if shown:
        bowlers.require_in_use(shown)
    made = _make(data)
    added = Photo(
        media_type=MEDIA_TYPE,
        data=made.data,
        thumbnail=made.thumbnail,
        width=made.width,
        height=made.height,
        staff_id=who,
        **{_COLUMNS[type(of)]: of.id},
    )
    session.add(added)
    session.flush()
    entry = changes.Entry(_FIELD, "", f"no. {added.id}, of {describe(of)}")
    changes.note(session, who, of, entry, shown.id if shown else None, is_addition=True)
    return added


def _make(sent: Sent) -> CleanPhoto:
    if sent == b"":
        raise InvalidError.at("photo", "Take or choose a picture.")
    made = clean_sent(sent) if isinstance(sent, bytes) else sent
    if isinstance(made, PhotoError):
        raise InvalidError.at("photo", made.message)
    return made


def clean_sent(data: bytes) -> CleanPhoto | PhotoError:
    """Returns what is made of a picture, or why there is none: it takes long, so no transaction should wait for it."""
    try:
        return clean(data)
    except PhotoError as error:
        return error


def take_back(session: Session, photo_id: int, form: TakingBackForm) -> None:
    """Deletes a photo; raises NotAllowedError but for a driller, or the person who added it."""
    gone = get_photo(session, photo_id)
    actor: Actor | None = session.info.get("actor")
    if actor and gone.staff_id != form.who and not actor.is_at_least(DRILLER):
        raise NotAllowedError(f"Only who added this photo or a {DRILLER} may take it back.")
    changes.require_may_edit(session, gone)
    of = get_owner(session, gone)
    shown = find_bowler(session, of)
    entry = changes.Entry(_FIELD, f"no. {gone.id}, of {describe(of)}", "taken back", form.why)
    changes.note(session, form.who, of, entry, shown.id if shown else None, is_addition=True)
    session.delete(gone)
    session.flush()


def list_photos(session: Session, of: Pictured) -> Sequence[Photo]:
    """Returns the photos of a record without their data, oldest first."""
    return session.scalars(select(Photo).where(_is_of(of)).order_by(Photo.id)).all()


def _is_of(of: Pictured) -> ColumnElement[bool]:
    own: ColumnElement[bool] = getattr(Photo, _COLUMNS[type(of)]) == of.id
    return own


def count_of_troubles(session: Session) -> dict[int, int]:
    """Returns how many photos each trouble has that has any."""
    query = select(Photo.trouble_id, func.count()).where(Photo.trouble_id.is_not(None)).group_by(Photo.trouble_id)
    return {trouble_id: count for trouble_id, count in session.execute(query) if trouble_id}


_DATA, _THUMBNAIL = undefer(Photo.data), undefer(Photo.thumbnail)


def get_photo(session: Session, photo_id: int) -> Photo:
    """Returns a photo with its data; raises NotFoundError."""
    return _require(load_one(session, Photo, photo_id, _DATA))


def get_thumbnail(session: Session, photo_id: int) -> Photo:
    """Returns a photo with its thumbnail; raises NotFoundError."""
    return _require(load_one(session, Photo, photo_id, _THUMBNAIL))


def _require(found: Photo | None) -> Photo:
    if found is None:
        raise NotFoundError("There is no such photo.")
    return found


def get_pictured(session: Session, noun: str, record_id: int) -> Pictured:
    """Returns the record of this table and id that may have photos; raises NotFoundError."""
    if noun == "ball":
        return balls.get_ball(session, record_id)
    if noun == "fit":
        return fits.get_fit(session, record_id)
    if noun == "inner":
        return inners.get_inner(session, record_id)
    found = session.get(Trouble, record_id)
    if found is None:
        raise NotFoundError("There is no such trouble.")
    return found


def get_owner(session: Session, photo: Photo) -> Pictured:
    """Returns the record that a photo is of."""
    noun, record_id = next(
        (model.__tablename__, getattr(photo, column)) for model, column in _COLUMNS.items() if getattr(photo, column)
    )
    return get_pictured(session, noun, record_id)


def find_address(of: Pictured) -> str:
    """Returns the page of a record; a trouble has none but the service log."""
    return "/troubles" if isinstance(of, Trouble) else f"/{of.__tablename__}s/{of.id}"


def describe(of: Pictured) -> str:
    """Returns in words what a photo shows."""
    if isinstance(of, Fit):
        return f"fit {of.letter}, {of.hand} hand"
    if isinstance(of, Trouble):
        return KINDS[of.what].words
    return of.label if isinstance(of, Ball) or of.label.startswith("inner") else f"inner {of.label}"


def find_bowler(session: Session, of: Pictured) -> Bowler | None:
    """Returns the bowler of a record; None for a trouble with hardware of nobody."""
    if not isinstance(of, Trouble):
        return session.get(Bowler, of.bowler_id)
    owner = select(Bowler).join(Ball, Ball.bowler_id == Bowler.id).join(Drilling, Drilling.ball_id == Ball.id)
    return session.scalar(owner.where(Drilling.id == of.drilling_id)) if of.drilling_id else None
