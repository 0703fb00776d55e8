"""A doubt found by a gauge study keeps the degrees of freedom it rests on."""

from fractions import Fraction

import sqlalchemy as sa
from alembic import op

from app.calculation.gauges import gauge_study

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

SETS = {"sleeve_to_cut": "span_spread", "depth": "collar_spread"}


def upgrade() -> None:
    op.add_column("setting", sa.Column("freedom", sa.Double(), nullable=True))
    setting = sa.table("setting", sa.column("name"), sa.column("source"), sa.column("freedom"))
    study = sa.table(
        "study", sa.column("id"), sa.column("instrument"), sa.column("measures"), sa.column("readings", sa.JSON)
    )
    connection = op.get_bind()
    for row in connection.execute(sa.select(study).order_by(study.c.id)).all():
        values = [[[float(Fraction(v)) for v in trial] for trial in person] for person in row.readings]
        freedom = gauge_study(values).freedom
        made = setting.update().where(setting.c.name == SETS[row.measures])
        connection.execute(made.where(setting.c.source == f"gauge study of {row.instrument}").values(freedom=freedom))


def downgrade() -> None:
    op.drop_column("setting", "freedom")
