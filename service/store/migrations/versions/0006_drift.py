"""What the drift test and the forecast say each day, and how each tachometer pair was taken."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the columns and the table; `assess` fills them, for it makes the rows again."""
    for name in ("slip_innovation", "drag_innovation", "forecast_limit_pct"):
        op.add_column("daily", sa.Column(name, sa.Float()))
    op.add_column("daily", sa.Column("forecast_of", sa.String(length=8)))
    for name in ("forecast_on", "forecast_earliest", "forecast_latest"):
        op.add_column("daily", sa.Column(name, sa.Date()))
    op.create_table(
        "tachometer_pairs",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("compared_on", sa.Date(), nullable=False),
        sa.Column("motor_rpm", sa.Float(), nullable=False),
        sa.Column("wheel_rpm", sa.Float(), nullable=False),
        sa.Column("is_fresh", sa.Boolean(), nullable=False),
        sa.Column("is_declared", sa.Boolean(), nullable=False),
        sa.Column("nominal_ratio", sa.Float()),
        sa.Column("slip_pct", sa.Float()),
        sa.Column("inferred_pct", sa.Float()),
        sa.Column("inferred_low_pct", sa.Float()),
        sa.Column("inferred_high_pct", sa.Float()),
        sa.Column("change_pct", sa.Float()),
        sa.Column("change_sd_pct", sa.Float()),
        sa.Column("load_ratio", sa.Float()),
        sa.Column("is_taught", sa.Boolean(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("fan", "date", "number", name=op.f("pk_tachometer_pairs")),
    )
