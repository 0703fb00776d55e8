"""Photos, stored in the database, so that one backup holds everything."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from app.models.base import Base, MadeInShop, now
from app.photos.cleaning import LONGEST_OF_THUMBNAIL

_OWNERS = ("ball_id", "fit_id", "inner_id", "trouble_id")
_IS_OF_ONE = " + ".join(f"CASE WHEN {name} IS NULL THEN 0 ELSE 1 END" for name in _OWNERS) + " = 1"


class Photo(MadeInShop, Base):
    """A photo of one ball, fit, inner or trouble, with its size in dots.

    One that was stored as it came, and could not be decoded since, has neither thumbnail nor size.
    """

    __tablename__ = "photo"
    __table_args__ = (CheckConstraint(_IS_OF_ONE, "of_one"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int | None] = mapped_column(ForeignKey("ball.id"), index=True)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"), index=True)
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"), index=True)
    trouble_id: Mapped[int | None] = mapped_column(ForeignKey("trouble.id"), index=True)
    media_type: Mapped[str] = mapped_column(String(20))
    data: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    thumbnail: Mapped[bytes | None] = mapped_column(LargeBinary, deferred=True)
    width: Mapped[int | None]
    height: Mapped[int | None]
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)

    @property
    def thumbnail_size(self) -> tuple[int, int] | None:
        """Width and height of the thumbnail, so that a page holds its place; None where that is unknown."""
        if not self.width or not self.height:
            return None
        times = min(1.0, LONGEST_OF_THUMBNAIL / max(self.width, self.height))
        return max(1, round(self.width * times)), max(1, round(self.height * times))
