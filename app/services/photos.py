"""Photos of a ball, fit, inner or trouble: made anew when they come, listed, and taken back for good.

The history of the record itself says who added or took back which photo; the picture is gone once it is taken back.
"""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session, undefer

from app.db import load_one
from app.errors import InvalidError, NotFoundError
from app.models import Ball, Bowler, Drilling, Fit, Inner, Photo, Trouble
from app.photos.cleaning import MEDIA_TYPE, clean
from app.photos.errors import PhotoError
from app.services import bowlers, changes
from app.services.troubles import KINDS

Pictured = Ball | Fit | Inner | Trouble
_COLUMNS = {Ball: "ball_id", Fit: "fit_id", Inner: "inner_id", Trouble: "trouble_id"}
_FIELD = "photo"


def add_photo(session: Session, of: Pictured, who: int, data: bytes) -> Photo:
    """Stores a photo of a record, made anew; raises InvalidError for what is none or is too large."""
    shown = find_bowler(session, of)
    if shown:
        bowlers.require_in_use(shown)
    try:
        made = clean(data)
    except PhotoError as error:
        raise InvalidError.at("photo", error.message) from None
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


def list_photos(session: Session, of: Pictured) -> Sequence[Photo]:
    """Returns the photos of a record without their data, oldest first."""
    return session.scalars(select(Photo).where(_is_of(of)).order_by(Photo.id)).all()


def _is_of(of: Pictured) -> ColumnElement[bool]:
    own: ColumnElement[bool] = getattr(Photo, _COLUMNS[type(of)]) == of.id
    return own


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


def describe(of: Pictured) -> str:
    """Returns in words what a photo shows."""
    if isinstance(of, Fit):
        return f"fit {of.letter}, {of.hand} hand"
    if isinstance(of, Trouble):
        return KINDS[of.what].words
    return f"inner {of.label}" if isinstance(of, Inner) else of.label


def find_bowler(session: Session, of: Pictured) -> Bowler | None:
    """Returns the bowler of a record; None for a trouble with hardware of nobody."""
    if not isinstance(of, Trouble):
        return session.get(Bowler, of.bowler_id)
    owner = select(Bowler).join(Ball, Ball.bowler_id == Bowler.id).join(Drilling, Drilling.ball_id == Ball.id)
    return session.scalar(owner.where(Drilling.id == of.drilling_id)) if of.drilling_id else None
