"""What must not be deleted for a while, because a backup is reading it."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of holds: one row a backup under way."""
    op.create_table(
        "holds",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("holder", sa.Text(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("until", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_holds")),
    )
