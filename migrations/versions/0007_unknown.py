"""Pitches that nobody knows are no longer stored as straight; a bore says whose hand it was bored for.

Where the typed text says unknown and the stored value is 0, the value becomes NULL: a bore's pitch, an inner's tilt, an
observation's pitch and division, and the pitch of an observation read off a ball whose bore's pitch is unknown. Other
zeros stay: nobody can tell a straight bore from one that nobody was asked about, and pages say so.

A bore's hand is that of its drilling's plan. Bores of other shops kept no hand, so theirs stays empty.

The tilt of an inner that was typed as under or away was read for the bowler's hand instead of the drilling's. It is
mended where that is certain: the text has exactly one of the two words, the drilling's plan names its hand, and the
stored side is the one that the word means for the other hand. Its line of history says so.
"""

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

UNKNOWN = {"unknown", "?", "??", "not known", "don't know", "unk"}
_PITCHES = ("bore", "inner", "depth_observation")

bore = sa.table("bore", *(sa.column(c) for c in ("id", "forward_in", "right_in", "hand")), sa.column("typed", sa.JSON))
inner = sa.table(
    "inner",
    *(sa.column(c) for c in ("id", "bowler_id", "trimmed_in_id", "forward_in", "right_in", "made_by_shop_id")),
    sa.column("typed", sa.JSON),
)
observation = sa.table(
    "depth_observation",
    *(sa.column(c) for c in ("id", "drilling_id", "forward_in", "right_in", "resolution_in")),
    sa.column("typed", sa.JSON),
)
drilling = sa.table("drilling", sa.column("id"), sa.column("bore_id"), sa.column("plan", sa.JSON))
change = sa.table(
    "change",
    *(sa.column(c) for c in ("noun", "noun_id", "bowler_id", "field", "old", "new", "why", "made_by_shop_id")),
    sa.column("at", sa.DateTime),
)


def upgrade() -> None:
    _let_pitches_be_null(True)
    with op.batch_alter_table("bore", schema=None) as batch_op:
        batch_op.add_column(sa.Column("hand", sa.String(length=5), nullable=False, server_default=""))
    with op.batch_alter_table("bore", schema=None) as batch_op:
        batch_op.alter_column("hand", existing_type=sa.String(length=5), existing_nullable=False, server_default=None)
    connection = op.get_bind()
    _forget_zeros_of_unknowns(connection)
    _name_hands(connection)
    _mend_sides(connection)


def downgrade() -> None:
    for table in _PITCHES:
        for column in ("forward_in", "right_in"):
            op.execute(f"UPDATE \"{table}\" SET {column} = '0' WHERE {column} IS NULL")
    op.execute("UPDATE depth_observation SET resolution_in = '0' WHERE resolution_in IS NULL")
    with op.batch_alter_table("bore", schema=None) as batch_op:
        batch_op.drop_column("hand")
    _let_pitches_be_null(False)


def _let_pitches_be_null(nullable: bool) -> None:
    for table in _PITCHES:
        columns = ["forward_in", "right_in", *(["resolution_in"] if table == "depth_observation" else [])]
        with op.batch_alter_table(table, schema=None) as batch_op:
            for column in columns:
                batch_op.alter_column(column, existing_type=sa.String(length=64), nullable=nullable)


def _says_unknown(typed: Mapping[str, str] | None, field: str) -> bool:
    text = str((typed or {}).get(field, "")).replace("’", "'").strip().lower()
    return re.sub(r"\s+", " ", text) in UNKNOWN


def _forget_zeros_of_unknowns(connection: sa.Connection) -> None:
    nothing = {"forward_in": None, "right_in": None}
    unknown_bores = []
    for table, field in ((bore, "bore_pitch"), (inner, "tilt"), (observation, "pitch")):
        straight = sa.and_(table.c.forward_in == "0", table.c.right_in == "0")
        rows = connection.execute(sa.select(table.c.id, table.c.typed).where(straight)).all()
        unknown = [row.id for row in rows if _says_unknown(row.typed, field)]
        for row_id in unknown:
            connection.execute(sa.update(table).where(table.c.id == row_id).values(nothing))
        if table is bore:
            unknown_bores = unknown
    for bore_id in unknown_bores:
        of_it = sa.select(drilling.c.id).where(drilling.c.bore_id == bore_id)
        straight = sa.and_(observation.c.forward_in == "0", observation.c.right_in == "0")
        connection.execute(sa.update(observation).where(observation.c.drilling_id.in_(of_it), straight).values(nothing))
    undivided = sa.select(observation.c.id, observation.c.typed).where(observation.c.resolution_in == "0")
    for row in connection.execute(undivided).all():
        if _says_unknown(row.typed, "resolution"):
            connection.execute(sa.update(observation).where(observation.c.id == row.id).values({"resolution_in": None}))


def _planned_hand(plan: Any) -> str:
    plan = json.loads(plan) if isinstance(plan, str) else plan
    return str(((plan or {}).get("grip") or {}).get("hand", ""))


def _name_hands(connection: sa.Connection) -> None:
    rows = connection.execute(sa.select(drilling.c.bore_id, drilling.c.plan).where(drilling.c.bore_id.is_not(None)))
    for row in rows.all():
        hand = _planned_hand(row.plan)
        if hand in {"right", "left"}:
            connection.execute(sa.update(bore).where(bore.c.id == row.bore_id).values({"hand": hand}))


def _mend_sides(connection: sa.Connection) -> None:
    rows = connection.execute(
        sa.select(inner, bore.c.hand).join(bore, bore.c.id == inner.c.trimmed_in_id).where(bore.c.hand != "")
    )
    for row in rows.all():
        text = str((row.typed or {}).get("tilt", "")).lower()
        words = set(re.findall(r"\b(under|away)\b", text))
        if len(words) != 1 or row.right_in in {None, "0"}:
            continue
        means_right = (words == {"under"}) == (row.hand == "right")
        if row.right_in.startswith("-") != means_right:
            continue
        mended = row.right_in.removeprefix("-") if means_right else f"-{row.right_in}"
        connection.execute(sa.update(inner).where(inner.c.id == row.id).values({"right_in": mended}))
        told = {"noun": "inner", "noun_id": row.id, "bowler_id": row.bowler_id, "field": "right_in"}
        why = f"“{text[:60]}” was read for the other hand: the ball is drilled for the {row.hand} hand"
        at = datetime.now(UTC).replace(tzinfo=None)
        told |= {"old": row.right_in, "new": mended, "why": why, "at": at, "made_by_shop_id": row.made_by_shop_id}
        connection.execute(sa.insert(change).values(told))
