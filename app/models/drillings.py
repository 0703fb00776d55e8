"""Drillings, their steps and their measurements.

As specified, as built and as found are three records: the frozen plan holds inputs and is worked out again on each
view; bore and measurements are as built; measurements of the stage `found` are of a later visit. None is overwritten.
What was met at the bench stands in the steps, and `as_met` is the plan with it in the place of what was planned.
"""

from datetime import datetime
from fractions import Fraction

from sqlalchemy import JSON, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.balls import Ball, Bore
from app.models.base import Base, MadeInShop, now
from app.models.fits import Fit
from app.models.numbers import Numbers, NumbersColumn
from app.models.plans import Plan, PlanColumn
from app.models.shops import Shop, Staff
from app.models.systems import InsertSystem


class Drilling(MadeInShop, Base):
    """One drilling of one ball. `plan` is the frozen specification; `bore` and measurements are as built.

    `plan` is None if another shop drilled the ball. `doubt_in` is the standard uncertainty of one reading, inches, that
    `verdict` was made with, `doubt_freedom` its degrees of freedom (None: counts as known) and `doubt_source` where it
    came from; without a verdict, or where it was not kept, `doubt_in` is None. `as_met` is the plan with what was met
    at the bench; None until something was met or chosen there.
    """

    __tablename__ = "drilling"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int] = mapped_column(ForeignKey("ball.id"), index=True)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"), index=True)
    system_id: Mapped[int | None] = mapped_column(ForeignKey("insert_system.id"), index=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"))
    bore_id: Mapped[int | None] = mapped_column(ForeignKey("bore.id"))
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"), index=True)  # made in it, or fitted in it
    state: Mapped[str] = mapped_column(String(11), index=True)
    plan: Mapped[Plan | None] = mapped_column(PlanColumn, nullable=False)
    as_met: Mapped[Plan | None] = mapped_column(PlanColumn)
    tolerance_in: Mapped[Fraction]
    tolerance_source: Mapped[str] = mapped_column(String(200))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    planned_at: Mapped[datetime] = mapped_column(default=now)
    planned_reason: Mapped[str] = mapped_column(String(400), default="")  # to keep a plan with a failing check
    drilled_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    plugged_at: Mapped[datetime | None]
    called_off_at: Mapped[datetime | None]
    called_off_reason: Mapped[str] = mapped_column(String(400), default="")
    confirmed_at: Mapped[datetime | None]
    confirmed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    confirmed_reason: Mapped[str] = mapped_column(String(400), default="")
    verdict: Mapped[str] = mapped_column(String(8), default="")
    doubt_in: Mapped[Fraction | None]
    doubt_freedom: Mapped[float | None]
    doubt_source: Mapped[str] = mapped_column(String(200), default="")
    verdict_reason: Mapped[str] = mapped_column(String(400), default="")
    notes: Mapped[str] = mapped_column(Text, default="")
    version: Mapped[int] = mapped_column()

    ball: Mapped[Ball] = relationship(lazy="raise")
    fit: Mapped[Fit | None] = relationship(lazy="raise")
    system: Mapped[InsertSystem | None] = relationship(lazy="raise")
    shop: Mapped[Shop] = relationship(lazy="raise", foreign_keys=[shop_id])
    bore: Mapped[Bore | None] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[staff_id])
    confirmed_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[confirmed_by_id])
    steps: Mapped[list["DrillingStep"]] = relationship(lazy="raise", order_by="DrillingStep.position")
    measurements: Mapped[list["Measurement"]] = relationship(lazy="raise", order_by="Measurement.id")
    stops: Mapped[list["BenchStop"]] = relationship(lazy="raise", order_by="BenchStop.id")

    __mapper_args__ = {"version_id_col": version}

    @property
    def current_plan(self) -> Plan | None:
        """The plan that the steps not yet done follow: as met at the bench, else as specified."""
        return self.as_met or self.plan

    @property
    def own_fit(self) -> Fit | None:
        """Its fit, None if the ball is another bowler's by now: what is said of a hand is said of nobody else's."""
        return self.fit if self.fit and self.fit.bowler_id == self.ball.bowler_id else None


class DrillingStep(Base):
    """One step of a drilling's route, frozen when it was planned, with its tick and the values met at the bench.

    A step with a `skip_reason` was skipped by `staff` at `ticked_at`: skipped is not done. `met_bit_in` is the diameter
    that `met_bit` says, None if it says none; a met pitch of None was not read. `part_id` is the lot that was put in at
    it, None where nobody chose one of several.
    """

    __tablename__ = "drilling_step"
    __table_args__ = (UniqueConstraint("drilling_id", "position"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    drilling_id: Mapped[int] = mapped_column(ForeignKey("drilling.id"), index=True)
    position: Mapped[int]
    action: Mapped[str] = mapped_column(String(30))
    hole: Mapped[str] = mapped_column(String(12))
    words: Mapped[str] = mapped_column(String(300))
    numbers: Mapped[Numbers] = mapped_column(NumbersColumn)
    cautions: Mapped[list[str]] = mapped_column(JSON, default=list)
    is_cut: Mapped[bool]
    reads: Mapped[list[str]] = mapped_column(JSON, default=list)
    ticked_at: Mapped[datetime | None]
    staff_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    met_depth_in: Mapped[Fraction | None]
    met_datum: Mapped[str] = mapped_column(String(10), default="")
    met_bit: Mapped[str] = mapped_column(String(40), default="")
    met_bit_in: Mapped[Fraction | None]
    met_forward_in: Mapped[Fraction | None]
    met_right_in: Mapped[Fraction | None]
    part_id: Mapped[int | None] = mapped_column(ForeignKey("part.id"))
    skip_reason: Mapped[str] = mapped_column(String(400), default="")
    note: Mapped[str] = mapped_column(String(400), default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)

    staff: Mapped[Staff | None] = relationship(lazy="raise")

    @property
    def is_done(self) -> bool:
        return self.ticked_at is not None and not self.skip_reason

    @property
    def is_skipped(self) -> bool:
        return bool(self.skip_reason)

    @property
    def leaves_pitch_unknown(self) -> bool:
        """Whether nobody knows at which pitch its hole is: it was not set here, or what was met is unknown."""
        is_unknown = self.met_forward_in is None and bool(self.typed.get("pitch"))
        return "pitch" in self.reads and (self.is_skipped or (self.is_done and is_unknown))

    @property
    def is_depth_unread(self) -> bool:
        """Whether it was done without reading its depth, which may be read later."""
        return self.is_done and "depth" in self.reads and self.met_depth_in is None


class BenchStop(MadeInShop, Base):
    """A stop of the bench: what was met at a step is beyond a limit of the shop, until somebody decides how to go on.

    `lines` are the comparisons as told then; `decision` is empty until somebody decides. A hand-over decides nothing:
    it keeps the stop open for the next person.
    """

    __tablename__ = "bench_stop"

    id: Mapped[int] = mapped_column(primary_key=True)
    drilling_id: Mapped[int] = mapped_column(ForeignKey("drilling.id"), index=True)
    position: Mapped[int]
    lines: Mapped[list[str]] = mapped_column(JSON, default=list)
    raised_at: Mapped[datetime] = mapped_column(default=now)
    raised_by_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    decision: Mapped[str] = mapped_column(String(10), default="")
    reason: Mapped[str] = mapped_column(String(400), default="")
    shim_in: Mapped[Fraction | None]
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    decided_at: Mapped[datetime | None]
    decided_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    handed_over: Mapped[str] = mapped_column(String(400), default="")

    raised_by: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[raised_by_id])
    decided_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[decided_by_id])


class Measurement(MadeInShop, Base):
    """One measurement of a drilling or an inner: its typed and exact value, edges or datum, as built or found."""

    __tablename__ = "measurement"

    id: Mapped[int] = mapped_column(primary_key=True)
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"), index=True)
    stage: Mapped[str] = mapped_column(String(5))
    what: Mapped[str] = mapped_column(String(30))
    value_in: Mapped[Fraction]
    typed: Mapped[str] = mapped_column(String(120))
    reference: Mapped[str] = mapped_column(String(20))
    instrument: Mapped[str] = mapped_column(String(80), default="")
    note: Mapped[str] = mapped_column(String(400), default="")
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    taken_at: Mapped[datetime] = mapped_column(default=now)

    staff: Mapped[Staff] = relationship(lazy="raise")
