"""A fan's usual year by load: what the costs of its drive rest on."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; `assess` fills it."""
    op.create_table(
        "fan_loads",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("profile", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("fan", name="pk_fan_loads"),
    )
