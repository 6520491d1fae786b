"""How the sources answered."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of stretches: one row while a source answers alike."""
    op.create_table(
        "source_stretches",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("is_down", sa.Boolean(), nullable=False),
        sa.Column("first_at", UtcTime(), nullable=False),
        sa.Column("last_at", UtcTime(), nullable=False),
        sa.Column("passes", sa.Integer(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_source_stretches")),
    )
    op.create_index(op.f("ix_source_stretches_source"), "source_stretches", ["source"])
