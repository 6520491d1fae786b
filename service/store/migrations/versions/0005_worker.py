"""Who may write, every run of a job, and a heartbeat a job."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the three tables; a worker fills them."""
    op.create_table(
        "leases",
        sa.Column("name", sa.String(length=24), nullable=False),
        sa.Column("generation", sa.BigInteger(), nullable=False),
        sa.Column("beats", sa.BigInteger(), nullable=False),
        sa.Column("is_held", sa.Boolean(), nullable=False),
        sa.Column("host", sa.Text(), nullable=False),
        sa.Column("pid", sa.Integer(), nullable=False),
        sa.Column("place", sa.String(length=64), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("since", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_leases")),
    )
    op.create_table(
        "job_runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("due", UtcTime(), nullable=False),
        sa.Column("started", UtcTime(), nullable=False),
        sa.Column("ended", UtcTime()),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("error", sa.Text()),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("has_worked", sa.Boolean(), nullable=False),
        sa.Column("host", sa.Text(), nullable=False),
        sa.Column("pid", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "outcome in ('running', 'done', 'failed', 'missed', 'abandoned', 'stopped')",
            name=op.f("ck_job_runs_outcome"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_runs")),
    )
    op.create_index(op.f("ix_job_runs_job_started"), "job_runs", ["job", "started"])
    op.create_table(
        "heartbeats",
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("due", UtcTime(), nullable=False),
        sa.Column("started", UtcTime()),
        sa.Column("done", UtcTime()),
        sa.Column("outcome", sa.String(length=16)),
        sa.Column("error", sa.Text()),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("late_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("job", name=op.f("pk_heartbeats")),
    )
