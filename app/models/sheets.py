"""Spreadsheets that are taken in: the file's rows as they were, what came of each, and what it made.

The rows are stored and the file is not, so that erasing a bowler can empty what the sheet said of that person.
"""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff


class SheetImport(MadeInShop, Base):
    """One sheet of one file, and how far its present pass over the rows has come (`done_to`, counted from 1).

    `columns` and `conventions` are those of `app.sheets`, `usual` what nearly every row does. Conventions that nobody
    confirmed (`confirmed_by_id`) put no fit in force. `version` counts what people changed, not the passes.
    """

    __tablename__ = "sheet_import"

    id: Mapped[int] = mapped_column(primary_key=True)
    file_name: Mapped[str] = mapped_column(String(120))
    file_hash: Mapped[str] = mapped_column(String(64), index=True)
    sheet: Mapped[str] = mapped_column(String(120), default="")
    sheets: Mapped[list[str]] = mapped_column(JSON, default=list)
    told: Mapped[list[str]] = mapped_column(JSON, default=list)
    columns: Mapped[dict[str, object]] = mapped_column(JSON, default=dict)
    conventions: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    needs: Mapped[list[dict[str, object]]] = mapped_column(JSON, default=list)
    usual: Mapped[dict[str, object]] = mapped_column(JSON, default=dict)
    state: Mapped[str] = mapped_column(String(12), index=True)
    rows: Mapped[int]
    done_to: Mapped[int] = mapped_column(default=0)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    confirmed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    run_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    run_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)

    staff: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[staff_id])
    run_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[run_by_id])


class SheetRow(Base):
    """One row that is not blank: its cells as (text, kind), what is asked of it, and the records it made.

    `number` counts from 1 as spreadsheets do. `outcome` is empty until a pass has read the row. `name_key` is the name
    with its words sorted, by which rows of one person are found. `bowler_id` is whose row it is, whether the row made
    the record (`made_bowler`) or a person said so.
    """

    __tablename__ = "sheet_row"
    __table_args__ = (
        UniqueConstraint("import_id", "number"),
        Index("ix_sheet_row_outcome", "import_id", "outcome", "number"),
        Index("ix_sheet_row_name", "import_id", "name_key"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    import_id: Mapped[int] = mapped_column(ForeignKey("sheet_import.id"))
    number: Mapped[int]
    cells: Mapped[list[list[str]]] = mapped_column(JSON, default=list)
    is_hidden: Mapped[bool] = mapped_column(default=False)
    outcome: Mapped[str] = mapped_column(String(8), default="")
    reason: Mapped[str] = mapped_column(Text, default="")
    name_key: Mapped[str] = mapped_column(String(120), default="")
    questions: Mapped[list[dict[str, object]]] = mapped_column(JSON, default=list)
    answers: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    answered_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    answered_at: Mapped[datetime | None]
    bowler_id: Mapped[int | None] = mapped_column(ForeignKey("bowler.id"), index=True)
    made_bowler: Mapped[bool] = mapped_column(default=False)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"), index=True)
    ball_id: Mapped[int | None] = mapped_column(ForeignKey("ball.id"), index=True)
    axis_point_id: Mapped[int | None] = mapped_column(ForeignKey("axis_point.id"), index=True)

    answered_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[answered_by_id])


class SheetHabit(MadeInShop, Base):
    """Which column is what, by heading, and the conventions of one kind of file, saved under a name for next time."""

    __tablename__ = "sheet_habit"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    columns: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    conventions: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
