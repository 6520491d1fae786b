"""What each of the drive's two causes would come to alone: what a forecast follows."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the columns; `assess` fills them, for it makes the rows again."""
    for name in ("slip_alone_pct", "drag_alone_pct"):
        op.add_column("daily", sa.Column(name, sa.Float()))
