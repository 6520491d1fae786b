"""What work has changed of a fan for good: its new normal after the day."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the column; `assess` fills it, for it makes the rows again."""
    op.add_column("daily", sa.Column("new_normal", sa.JSON()))
