"""The causes that an alert cannot tell apart: its own is unclear then, and people are told these."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the column; the alerts fill it, for a new revision of the watch finds them again."""
    op.add_column("episodes", sa.Column("alike", sa.JSON(), nullable=False, server_default="[]"))
