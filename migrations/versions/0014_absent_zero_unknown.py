"""Absent, zero and unknown are told apart in every field that was stored as a number all the same.

A ball's circumference that was typed as unknown becomes NULL, in the ball, in its bore and in the plans that count with
it. A pitch, tilt or notch that was left empty is marked in `typed`: nobody can tell a straight bore from one that
nobody was asked about. A depth from trial fits of an inner whose own pitch is unknown says so, too.
"""

import re
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

UNKNOWN = {"unknown", "?", "??", "not known", "don't know", "unk"}
STRAIGHT_UNASKED = "straight, or never asked"
NOTCH_UNASKED = "as ours, or never asked"
USUAL = "27"
_AROUND = ("ball", "bore")
_PITCH_READ = ("collar_measured", "told", "read_off_ball")  # trial fits take the pitch of the inner's bore


def _table(name: str, *columns: str) -> sa.TableClause:
    return sa.table(name, *(sa.column(c) for c in ("id", *columns)), sa.column("typed", sa.JSON))


ball = _table("ball", "circumference_in", "safe_depth_in")
bore = _table("bore", "circumference_in", "forward_in", "right_in", "notch_deg")
inner = _table("inner", "trimmed_in_id", "forward_in", "right_in")
observation = _table("depth_observation", "datum", "obtained", "inner_id", "forward_in", "right_in")
system = _table("insert_system", "sleeve_od_in")
drilling = sa.table(
    "drilling", *(sa.column(c) for c in ("id", "ball_id", "bore_id", "system_id")), sa.column("plan", sa.JSON)
)


def upgrade() -> None:
    _let_circumferences_be_null(True)
    connection = op.get_bind()
    _forget_circumferences(connection)
    _tell_plans(connection)
    _mark_bores(connection)
    _mark(connection, inner, "tilt", lambda row: True)
    _mark(
        connection,
        observation,
        "pitch",
        lambda row: row["obtained"] in _PITCH_READ and row["datum"] not in {"collar", "rim_high"},
    )
    _mark_trials(connection)


def downgrade() -> None:
    for table in _AROUND:
        op.execute(f"UPDATE {table} SET circumference_in = '{USUAL}' WHERE circumference_in IS NULL")
    connection = op.get_bind()
    for table, fields in ((bore, ("bore_pitch", "notch")), (inner, ("tilt",)), (observation, ("pitch",))):
        for row in connection.execute(sa.select(table.c.id, table.c.typed)).all():
            kept = {f: t for f, t in (row.typed or {}).items() if f not in fields or t not in _MARKS}
            if kept != (row.typed or {}):
                connection.execute(sa.update(table).where(table.c.id == row.id).values({"typed": kept}))
    _let_circumferences_be_null(False)


_MARKS = {STRAIGHT_UNASKED, NOTCH_UNASKED}


def _let_circumferences_be_null(nullable: bool) -> None:
    for table in _AROUND:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.alter_column("circumference_in", existing_type=sa.String(length=64), nullable=nullable)


def _says_unknown(typed: Mapping[str, str] | None, field: str) -> bool:
    text = str((typed or {}).get(field, "")).replace("’", "'").strip().lower()
    return re.sub(r"\s+", " ", text) in UNKNOWN


def _forget_circumferences(connection: sa.Connection) -> None:
    for table in (ball, bore):
        rows = connection.execute(sa.select(table.c.id, table.c.typed).where(table.c.circumference_in == USUAL)).all()
        for row in rows:
            if _says_unknown(row.typed, "circumference"):
                connection.execute(sa.update(table).where(table.c.id == row.id).values({"circumference_in": None}))
    unknown_ball = sa.select(drilling.c.bore_id).join(ball, ball.c.id == drilling.c.ball_id)
    unknown_bores = unknown_ball.where(ball.c.circumference_in.is_(None), drilling.c.bore_id.is_not(None))
    connection.execute(
        sa.update(bore)
        .where(bore.c.id.in_(unknown_bores), bore.c.circumference_in == USUAL)
        .values(circumference_in=None)
    )


def _tell_plans(connection: sa.Connection) -> None:
    """Names in each plan what was unknown of its ball and hardware; plans without a version have no such field."""
    sleeve_in, of_system = system.c.sleeve_od_in, system.c.typed.label("of_system")
    planned = (
        sa.select(drilling, ball.c.circumference_in, ball.c.safe_depth_in, ball.c.typed, sleeve_in, of_system)
        .join(ball, ball.c.id == drilling.c.ball_id)
        .outerjoin(system, system.c.id == drilling.c.system_id)
    )
    for row in connection.execute(planned).all():
        gaps = {
            "circumference": row.circumference_in is None,
            "safe depth": row.safe_depth_in is None and _says_unknown(row.typed, "safe_depth"),
            "sleeve": row.sleeve_od_in is None and _says_unknown(row.of_system, "sleeve_od"),
        }
        unknown = [words for words, is_gap in gaps.items() if is_gap]
        if unknown and isinstance(row.plan, dict) and "version" in row.plan:
            plan = row.plan | {"unknown": unknown}
            connection.execute(sa.update(drilling).where(drilling.c.id == row.id).values({"plan": plan}))


def _mark_bores(connection: sa.Connection) -> None:
    """Marks another shop's bores; ours are bored and turned as planned."""
    _mark(connection, bore, "bore_pitch", lambda row: "outside" in row["typed"])
    for row in connection.execute(sa.select(bore).where(bore.c.notch_deg.is_not(None))).mappings().all():
        typed = row["typed"] or {}
        if "outside" in typed and not typed.get("notch"):
            marked = typed | {"notch": NOTCH_UNASKED}
            connection.execute(sa.update(bore).where(bore.c.id == row["id"]).values({"typed": marked}))


def _mark(connection: sa.Connection, table: sa.TableClause, field: str, was_asked: Any) -> None:
    straight = sa.and_(table.c.forward_in == "0", table.c.right_in == "0")
    for row in connection.execute(sa.select(table).where(straight)).mappings().all():
        typed = row["typed"] or {}
        if was_asked({**row, "typed": typed}) and not typed.get(field):
            marked = typed | {field: STRAIGHT_UNASKED}
            connection.execute(sa.update(table).where(table.c.id == row["id"]).values({"typed": marked}))


def _mark_trials(connection: sa.Connection) -> None:
    """Trial fits kept the pitch of the inner's bore, which was 0 where that was unknown or never asked."""
    trials = (
        sa.select(observation, bore.c.forward_in.label("own_in"), bore.c.typed.label("own_typed"))
        .join(inner, inner.c.id == observation.c.inner_id)
        .join(bore, bore.c.id == inner.c.trimmed_in_id)
        .where(observation.c.obtained == "trial_fit")
    )
    for row in connection.execute(trials).mappings().all():
        is_straight = row["forward_in"] == "0" and row["right_in"] == "0"
        values: dict[str, Any] = {}
        if row["own_in"] is None and (is_straight or row["forward_in"] is None):
            values = {"forward_in": None, "right_in": None, "typed": (row["typed"] or {}) | {"pitch": "unknown"}}
        elif is_straight and (row["own_typed"] or {}).get("bore_pitch") == STRAIGHT_UNASKED:
            values = {"typed": (row["typed"] or {}) | {"pitch": STRAIGHT_UNASKED}}
        if values:
            connection.execute(sa.update(observation).where(observation.c.id == row["id"]).values(values))
