"""Observations keep the degrees of freedom of their uncertainty, so that a saved trial fit stays as sure as it was."""

from fractions import Fraction
from statistics import variance

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

OF_ONE_READING = 8  # what the starting repeatability is worth, which a single trial fit rested on


def upgrade() -> None:
    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.add_column(sa.Column("freedom", sa.String(length=64), nullable=True))
    saved = sa.text(
        "SELECT id, repeatability_in FROM depth_observation WHERE obtained = 'trial_fit' ORDER BY id",
    )
    fits = sa.text("SELECT trial_depth_in, proud_in FROM trial_fit WHERE observation_id = :id")
    kept = sa.text("UPDATE depth_observation SET freedom = :freedom WHERE id = :id")
    connection = op.get_bind()
    for row in connection.execute(saved).all():
        wanted = [Fraction(f[0]) + Fraction(f[1]) for f in connection.execute(fits, {"id": row[0]})]
        freedom = freedom_of(wanted, Fraction(row[1]))
        connection.execute(kept, {"id": row[0], "freedom": None if freedom is None else str(freedom)})


def freedom_of(wanted: list[Fraction], u: Fraction) -> Fraction | None:
    """What the interval was shown with before it was saved: Welch and Satterthwaite, the division known.

    The readings' own spread was the rest of u². None, known, where they agreed to the last division.
    """
    if len(wanted) < 2:
        return Fraction(OF_ONE_READING)
    of_mean = variance(wanted) / len(wanted)
    if of_mean == 0:
        return None
    return ((len(wanted) - 1) * max(u**4 / of_mean**2, Fraction(1))).limit_denominator(10**6)


def downgrade() -> None:
    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.drop_column("freedom")
