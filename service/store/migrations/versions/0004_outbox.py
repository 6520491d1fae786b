"""The outbox of the mails."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the outbox: one row a recipient and week."""
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipient", sa.Text(), nullable=False),
        sa.Column("week", sa.String(length=8), nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("message", sa.LargeBinary(), nullable=False),
        sa.Column("written_at", UtcTime(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("last_error", sa.Text()),
        sa.Column("sent_at", UtcTime()),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("recipient", "week", name=op.f("uq_outbox_recipient_week")),
    )
