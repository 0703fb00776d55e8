"""How a shop runs its floor: minutes of each kind of work, presses, follow-up, and words it uses. One row at most."""

from sqlalchemy import JSON, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.models.base import Base


class Floor(Base):
    """The shop's own numbers in place of those that are ASSUMED in `services/floor.py`."""

    __tablename__ = "floor"

    id: Mapped[int] = mapped_column(primary_key=True)
    minutes: Mapped[dict[str, int]] = mapped_column(JSON, default=dict)
    set_up_minutes: Mapped[int] = mapped_column()
    presses: Mapped[int] = mapped_column()
    follow_up_days: Mapped[int] = mapped_column()
    usual_words: Mapped[str] = mapped_column(Text, default="")
    care_words: Mapped[str] = mapped_column(Text, default="")
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}
