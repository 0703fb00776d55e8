"""Static balance: the shop's scales, what they read, and the regulations that a verdict was given under.

A regulation is dated data that an owner typed: the app decides nothing without one, and a verdict names which.
"""

from datetime import date, datetime
from fractions import Fraction

from pydantic import JsonValue
from sqlalchemy import JSON, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.balls import Ball
from app.models.base import Base, MadeInShop, now
from app.models.shops import Shop, Staff


class Scale(MadeInShop, Base):
    """A two-way scale of one shop. An arm of None counts as the radius of the ball, and the pages say so.

    It was calibrated with a known mass taped to a ball, `place_in` along the surface from the top of the ball as it
    lay, its own middle `lift_in` above the surface: two-way readings without it and with it, plus where the taped side
    of the first one is the heavier. `arm_in` is what counts, typed or worked out of them; `readings_oz` are readings of
    older records, exact ounces as text, which tell no arm.
    """

    __tablename__ = "scale"

    id: Mapped[int] = mapped_column(primary_key=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"), index=True)
    label: Mapped[str] = mapped_column(String(80))
    resolution_oz: Mapped[Fraction | None]
    arm_in: Mapped[Fraction | None]
    arm_u_in: Mapped[Fraction | None]
    calibrated_on: Mapped[date | None]
    mass_oz: Mapped[Fraction | None]
    mass_doubt_oz: Mapped[Fraction | None]
    mass_step_oz: Mapped[Fraction | None]
    lift_in: Mapped[Fraction | None]
    place_in: Mapped[Fraction | None]
    circumference_in: Mapped[Fraction | None]
    without_first_oz: Mapped[Fraction | None]
    without_turned_oz: Mapped[Fraction | None]
    taped_first_oz: Mapped[Fraction | None]
    taped_turned_oz: Mapped[Fraction | None]
    readings_oz: Mapped[list[str]] = mapped_column(JSON, default=list)
    note: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    retired_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    shop: Mapped[Shop] = relationship(lazy="raise", foreign_keys=[shop_id])

    __mapper_args__ = {"version_id_col": version}


class Regulation(MadeInShop, Base):
    """One edition of the rules of play about static balance and holes, as an owner typed it from its source.

    It is in force from its day until `ended_on`; None: still, or until another takes its place.
    """

    __tablename__ = "regulation"

    id: Mapped[int] = mapped_column(primary_key=True)
    edition: Mapped[str] = mapped_column(String(120))
    in_force_from: Mapped[date]
    source: Mapped[str] = mapped_column(String(400))
    is_example: Mapped[bool] = mapped_column(default=False)
    body: Mapped[dict[str, JsonValue]] = mapped_column(JSON)
    ended_on: Mapped[date | None]
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)
    version: Mapped[int] = mapped_column()

    staff: Mapped[Staff] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class Weighing(MadeInShop, Base):
    """One weighing of a ball, before or after drilling, with two readings each way of the scale.

    Positive is right, finger side and top; a reading of None was not taken or is unknown, as its text tells. `verdict`
    is what was told then, with its doubt, the regulation's edition and the prediction that it was held against; it is
    never worked out again. `counted_from` is
    what the driller typed in place of the ball's own marks, exact fractions as text; None where nothing was.
    """

    __tablename__ = "weighing"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int] = mapped_column(ForeignKey("ball.id"), index=True)
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    scale_id: Mapped[int] = mapped_column(ForeignKey("scale.id"), index=True)
    stage: Mapped[str] = mapped_column(String(6))
    weight_oz: Mapped[Fraction | None]
    right_1_oz: Mapped[Fraction | None]
    right_2_oz: Mapped[Fraction | None]
    finger_1_oz: Mapped[Fraction | None]
    finger_2_oz: Mapped[Fraction | None]
    top_1_oz: Mapped[Fraction | None]
    top_2_oz: Mapped[Fraction | None]
    regulation_id: Mapped[int | None] = mapped_column(ForeignKey("regulation.id"))
    verdict: Mapped[dict[str, JsonValue]] = mapped_column(JSON, default=dict)
    counted_from: Mapped[dict[str, str] | None] = mapped_column(JSON(none_as_null=True))
    note: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    taken_back_at: Mapped[datetime | None]
    taken_back_reason: Mapped[str] = mapped_column(String(400), default="")
    version: Mapped[int] = mapped_column()

    ball: Mapped[Ball] = relationship(lazy="raise")
    scale: Mapped[Scale] = relationship(lazy="raise")
    regulation: Mapped[Regulation | None] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}
