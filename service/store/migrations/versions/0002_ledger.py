"""Days of readings, healthy curves, the daily ledger, findings and alert episodes."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_NUMBERS = (
    *(f"slip{which}{end}_pct" for which in ("", "_change", "_ref") for end in ("", "_low", "_high")),
    *(f"drag_ref{end}_pct" for end in ("", "_low", "_high")),
    *(f"drive_loss{which}{end}_pct" for which in ("", "_change") for end in ("", "_low", "_high")),
    "excess_kw",
)


def upgrade() -> None:
    """Make the tables of the judgement."""
    op.create_table(
        "fan_days",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("hours_running", sa.Float(), nullable=False),
        sa.Column("hours_steady", sa.Integer(), nullable=False),
        sa.Column("interval_s", sa.Float(), nullable=False),
        sa.Column("last_reading", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("fan", "date", name=op.f("pk_fan_days")),
    )
    op.create_table(
        "hour_marks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("generation", sa.Text(), nullable=False),
        sa.Column("hours_version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hour_marks")),
    )
    op.create_table(
        "curves",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("epoch", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("first_date", sa.Date()),
        sa.Column("last_date", sa.Date()),
        sa.Column("fitted", sa.JSON()),
        sa.Column("reason", sa.Text()),
        sa.PrimaryKeyConstraint("fan", "epoch", name=op.f("pk_curves")),
    )
    op.create_table(
        "daily",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("hours", sa.Float(), nullable=False),
        sa.Column("hours_used", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Float()) for name in _NUMBERS),
        sa.Column("cause", sa.String(length=24), nullable=False),
        sa.Column("cause_share", sa.Float()),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("is_healthy_period", sa.Boolean(), nullable=False),
        sa.Column("shares", sa.JSON()),
        sa.Column("last_reading", UtcTime(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("state", sa.LargeBinary()),
        sa.Column("judged_on", sa.Date()),
        sa.PrimaryKeyConstraint("fan", "date", name=op.f("pk_daily")),
    )
    op.create_table(
        "findings",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("topic", sa.String(length=24), nullable=False),
        sa.Column("hour", UtcTime(), nullable=False),
        sa.Column("is_present", sa.Boolean(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("decided_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("fan", "topic", "hour", name=op.f("pk_findings")),
    )
    op.create_table(
        "episodes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("topic", sa.String(length=40), nullable=False),
        sa.Column("level", sa.String(length=8), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=False),
        sa.Column("opened_at", UtcTime(), nullable=False),
        sa.Column("act_on", sa.Date()),
        sa.Column("cause", sa.String(length=24), nullable=False),
        sa.Column("cause_share", sa.Float(), nullable=False),
        sa.Column("closed_on", sa.Date()),
        sa.Column("closed_by", sa.String(length=16)),
        sa.Column("value_pct", sa.Float()),
        sa.Column("message", sa.Text(), nullable=False),
        sa.CheckConstraint("level in ('watch', 'act')", name=op.f("ck_episodes_level")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_episodes")),
    )
    op.create_index(op.f("ix_episodes_fan"), "episodes", ["fan"])
