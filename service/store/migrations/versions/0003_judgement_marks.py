"""Which settings each fan's hours were made with, whether its run proof works, which days await a verdict."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the marks; `assess` fills them, for it makes the hours and rows again."""
    op.create_table(
        "hours_made",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("fan", name=op.f("pk_hours_made")),
    )
    no = sa.false()
    op.add_column("fan_days", sa.Column("is_proof_seen", sa.Boolean(), nullable=False, server_default=no))
    op.add_column("daily", sa.Column("is_awaited", sa.Boolean(), nullable=False, server_default=no))
