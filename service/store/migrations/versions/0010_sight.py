"""What the points of a fan let be seen, once a healthy period."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what can be seen of the fan, and how good its healthy period is, to its healthy curves."""
    op.add_column("curves", sa.Column("sight", sa.JSON(), nullable=True))
