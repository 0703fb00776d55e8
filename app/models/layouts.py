"""Where the grip goes on a ball: the bowler's axis point, the ball's marks, and the layouts chosen from both.

An axis point is never deleted: a wrong one is taken back, a newer one counts in its place. Each saving of a ball's
marks is a row of its own; the newest counts and the older ones are its history.
"""

from datetime import date, datetime
from fractions import Fraction

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.balls import Ball
from app.models.base import Base, MadeInShop, now
from app.models.bowlers import Bowler
from app.models.shops import Staff


class AxisPoint(MadeInShop, Base):
    """An axis point of one hand: over along the midline on the hand's own side, up towards the fingers.

    Over is positive on the hand's own side, up is negative towards the thumb. A day of None is unknown. `track_in` is
    the arc from the axis point to the track, None where nobody measured one.
    """

    __tablename__ = "axis_point"
    __table_args__ = (Index("ix_axis_point_bowler_id_hand", "bowler_id", "hand"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"))
    hand: Mapped[str] = mapped_column(String(5))
    over_in: Mapped[Fraction]
    up_in: Mapped[Fraction]
    found_on: Mapped[date | None]
    found_by: Mapped[str] = mapped_column(String(8))
    track_in: Mapped[Fraction | None]
    note: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)
    taken_back_at: Mapped[datetime | None]
    taken_back_reason: Mapped[str] = mapped_column(String(400), default="")
    version: Mapped[int] = mapped_column()

    bowler: Mapped[Bowler] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class BallMarks(MadeInShop, Base):
    """The marks of a ball as somebody read them once: its weights, the arcs between its marks, and their doubt.

    `has_mass_mark` is None where nobody looked; a weight or an arc of None is unknown or was not measured, as its text
    tells. `centre_side` is the side of the line from the pin to the mass mark on which the centre of gravity lies, seen
    from outside with the pin above: `left`, `right`, None where nobody knows. The doubt is the standard uncertainty of
    one arc; None where it counts as the shop's starting value.
    """

    __tablename__ = "ball_marks"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int] = mapped_column(ForeignKey("ball.id"), index=True)
    label_weight_oz: Mapped[Fraction | None]
    real_weight_oz: Mapped[Fraction | None]
    top_weight_oz: Mapped[Fraction | None]
    has_mass_mark: Mapped[bool | None]
    pin_mark_in: Mapped[Fraction | None]
    pin_centre_in: Mapped[Fraction | None]
    mark_centre_in: Mapped[Fraction | None]
    centre_side: Mapped[str | None] = mapped_column(String(5))
    doubt_in: Mapped[Fraction | None]
    note: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)

    ball: Mapped[Ball] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")


class Layout(MadeInShop, Base):
    """A layout chosen for a ball, with the axis point and the marks it was chosen from.

    `drilling_id` is the plan that uses it. One that was dropped is kept with the reason.
    """

    __tablename__ = "layout"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int] = mapped_column(ForeignKey("ball.id"), index=True)
    axis_point_id: Mapped[int] = mapped_column(ForeignKey("axis_point.id"), index=True)
    ball_marks_id: Mapped[int | None] = mapped_column(ForeignKey("ball_marks.id"))
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    hand: Mapped[str] = mapped_column(String(5))
    pin_axis_in: Mapped[Fraction]
    axis_line_deg: Mapped[Fraction]
    drilling_deg: Mapped[Fraction]
    note: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    chosen_at: Mapped[datetime] = mapped_column(default=now)
    dropped_at: Mapped[datetime | None]
    dropped_reason: Mapped[str] = mapped_column(String(400), default="")
    version: Mapped[int] = mapped_column()

    ball: Mapped[Ball] = relationship(lazy="raise")
    axis_point: Mapped[AxisPoint] = relationship(lazy="raise")
    marks: Mapped[BallMarks | None] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class FavouriteLayout(MadeInShop, Base):
    """A layout that a bowler likes, to be used again on another ball."""

    __tablename__ = "favourite_layout"

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    hand: Mapped[str] = mapped_column(String(5))
    label: Mapped[str] = mapped_column(String(80))
    pin_axis_in: Mapped[Fraction]
    axis_line_deg: Mapped[Fraction]
    drilling_deg: Mapped[Fraction]
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)
    removed_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    bowler: Mapped[Bowler] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}
