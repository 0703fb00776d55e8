from datetime import date, datetime
from fractions import Fraction

from sqlalchemy import JSON, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.closed_sets import STRAIGHT_UNASKED
from app.models.base import Base, MadeInShop, now
from app.models.shops import Shop, Staff


class InsertSystem(MadeInShop, Base):
    """One hardware family under the shop's own label.

    Of a finger insert: its outside is the bore, `inner_ods` the insides it comes with, which may stand off the bore's
    axis by the lift and may be wider by the oval, each in a clock direction. One that came with a card which was taken
    back has `removed_at` while nothing uses it: it is kept, and offered nowhere.
    """

    __tablename__ = "insert_system"

    id: Mapped[int] = mapped_column(primary_key=True)
    label: Mapped[str] = mapped_column(String(80), unique=True)
    digit: Mapped[str] = mapped_column(String(6))
    sleeve_od_in: Mapped[Fraction | None]
    bore_in: Mapped[Fraction | None]
    lift_in: Mapped[Fraction | None]
    lift_deg: Mapped[Fraction | None]
    oval_in: Mapped[Fraction | None]
    oval_deg: Mapped[Fraction | None]
    inner_ods: Mapped[list[str]] = mapped_column(JSON, default=list)
    sleeve_length_in: Mapped[Fraction | None]
    lock_depth_in: Mapped[Fraction | None]
    inner_length_in: Mapped[Fraction | None]
    locks: Mapped[str] = mapped_column(String(14), default="unknown")
    notch_deg: Mapped[Fraction | None]
    wide_tab_deg: Mapped[Fraction | None]
    height_set_by: Mapped[str] = mapped_column(String(12))
    stock: Mapped[dict[str, int]] = mapped_column(JSON, default=dict)
    route: Mapped[list[dict[str, str]]] = mapped_column(JSON, default=list)
    notes: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    removed_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


class DepthObservation(MadeInShop, Base):
    """One observation of a shop's bore depth for a system: a reading or a run of trial fits. Never overwritten.

    A pitch or division of None is unknown.
    """

    __tablename__ = "depth_observation"

    id: Mapped[int] = mapped_column(primary_key=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"), index=True)
    system_id: Mapped[int] = mapped_column(ForeignKey("insert_system.id"), index=True)
    depth_in: Mapped[Fraction]
    datum: Mapped[str] = mapped_column(String(10))
    obtained: Mapped[str] = mapped_column(String(20))
    circumference_in: Mapped[Fraction]
    bore_in: Mapped[Fraction]
    forward_in: Mapped[Fraction | None]
    right_in: Mapped[Fraction | None]
    resolution_in: Mapped[Fraction | None]
    instrument: Mapped[str] = mapped_column(String(80), default="")
    repeatability_in: Mapped[Fraction]
    freedom: Mapped[Fraction | None]  # degrees of freedom of repeatability_in; None if it counts as known
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"))
    observed_on: Mapped[date]
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"))
    notes: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    recorded_at: Mapped[datetime] = mapped_column(default=now)

    shop: Mapped[Shop] = relationship(lazy="raise", foreign_keys=[shop_id])
    system: Mapped[InsertSystem] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")
    readings: Mapped[list["TrialFit"]] = relationship(lazy="raise", order_by="TrialFit.id")

    @property
    def is_pitch_unsaid(self) -> bool:
        """Whether the depth depends on a pitch that counts as straight only because its field was left empty."""
        return (self.typed or {}).get("pitch") == STRAIGHT_UNASKED


class TrialFit(MadeInShop, Base):
    """One trial fit of an inner: the collar depth, and how far it stood proud (negative: sunk)."""

    __tablename__ = "trial_fit"

    id: Mapped[int] = mapped_column(primary_key=True)
    inner_id: Mapped[int] = mapped_column(ForeignKey("inner.id"), index=True)
    observation_id: Mapped[int | None] = mapped_column(ForeignKey("depth_observation.id"), index=True)
    trial_depth_in: Mapped[Fraction]
    proud_in: Mapped[Fraction]
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)
