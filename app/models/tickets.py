"""Work that was taken in: what is wanted for a ball or an inner, where it has been, and what it waits for.

A ticket hangs on a ball or an inner, never on a bowler, so that it goes along when the ball changes its owner or two
records of one person are merged. What a drilling knows, whether it is planned, begun or closed, is read from it and not
stored here again: `services/ticket_stages.py`.
"""

from datetime import date, datetime

from sqlalchemy import ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.balls import Ball, Inner
from app.models.base import Base, MadeInShop, now
from app.models.drillings import Drilling
from app.models.shops import Staff


class Squad(MadeInShop, Base):
    """An event that balls have to be ready for; in a tournament every hand-over of a ball is checked by its tag."""

    __tablename__ = "squad"

    id: Mapped[int] = mapped_column(primary_key=True)
    label: Mapped[str] = mapped_column(String(80))
    begins_at: Mapped[datetime] = mapped_column(index=True)
    is_tournament: Mapped[bool] = mapped_column(default=False)
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


class Ticket(MadeInShop, Base):
    """One piece of work from intake to follow-up; exactly one of `ball_id` and `inner_id` is set.

    `state` is the ticket's own; that of a drilling is read over it. `holder_id` is who has it in hand. A ticket that
    does a work again has `redo_of_id`.
    """

    __tablename__ = "ticket"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int | None] = mapped_column(ForeignKey("ball.id"), index=True)
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"), index=True)
    what: Mapped[str] = mapped_column(String(10))
    state: Mapped[str] = mapped_column(String(12), index=True)
    words: Mapped[str] = mapped_column(Text, default="")
    symptom: Mapped[str] = mapped_column(String(400), default="")
    wishes: Mapped[str] = mapped_column(String(400), default="")
    promised_at: Mapped[datetime | None] = mapped_column(index=True)
    squad_id: Mapped[int | None] = mapped_column(ForeignKey("squad.id"), index=True)
    priority: Mapped[str] = mapped_column(String(5), default="usual")
    priority_reason: Mapped[str] = mapped_column(String(200), default="")
    price: Mapped[str] = mapped_column(String(60), default="")
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    holder_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    taken_at: Mapped[datetime | None]
    redo_of_id: Mapped[int | None] = mapped_column(ForeignKey("ticket.id"), index=True)
    redo_reason: Mapped[str] = mapped_column(String(12), default="")
    handed_to: Mapped[str] = mapped_column(String(120), default="")
    checked_with: Mapped[str] = mapped_column(String(120), default="")
    handed_over_at: Mapped[datetime | None]
    follow_up_on: Mapped[date | None] = mapped_column(index=True)
    outcome: Mapped[str] = mapped_column(String(8), default="")
    outcome_words: Mapped[str] = mapped_column(String(400), default="")
    called_off_reason: Mapped[str] = mapped_column(String(400), default="")
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    created_at: Mapped[datetime] = mapped_column(default=now)
    version: Mapped[int] = mapped_column()

    ball: Mapped[Ball | None] = relationship(lazy="raise")
    inner: Mapped[Inner | None] = relationship(lazy="raise")
    squad: Mapped[Squad | None] = relationship(lazy="raise")
    drilling: Mapped[Drilling | None] = relationship(lazy="raise")
    holder: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[holder_id])
    staff: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[staff_id])

    __mapper_args__ = {"version_id_col": version}


class TicketMove(MadeInShop, Base):
    """A ticket came into a state of its own; only appended. Kept beside the history, whose texts erasing empties."""

    __tablename__ = "ticket_move"

    id: Mapped[int] = mapped_column(primary_key=True)
    ticket_id: Mapped[int] = mapped_column(ForeignKey("ticket.id"), index=True)
    state: Mapped[str] = mapped_column(String(12))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    note: Mapped[str] = mapped_column(String(400), default="")

    staff: Mapped[Staff] = relationship(lazy="raise")


class TicketWait(MadeInShop, Base):
    """What a ticket waits for, over its state, so that ending the wait needs no memory of where it was.

    A wait for glue ends by itself at `until`; at most one wait of a ticket has no `ended_at`.
    """

    __tablename__ = "ticket_wait"
    __table_args__ = (
        Index(
            "ux_ticket_wait_open",
            "ticket_id",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    ticket_id: Mapped[int] = mapped_column(ForeignKey("ticket.id"), index=True)
    kind: Mapped[str] = mapped_column(String(8))
    why: Mapped[str] = mapped_column(String(400), default="")
    part_id: Mapped[int | None] = mapped_column(ForeignKey("part.id"))
    until: Mapped[datetime | None] = mapped_column(index=True)
    raised_by_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    raised_at: Mapped[datetime] = mapped_column(default=now)
    ended_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    ended_at: Mapped[datetime | None]


class BallCheck(MadeInShop, Base):
    """A ball's tag was read against a ticket; a mismatch is kept, and bars the hand-over until a scan matches."""

    __tablename__ = "ball_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    ticket_id: Mapped[int] = mapped_column(ForeignKey("ticket.id"), index=True)
    ball_id: Mapped[int | None] = mapped_column(ForeignKey("ball.id"))
    moment: Mapped[str] = mapped_column(String(8))
    is_match: Mapped[bool] = mapped_column()
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
