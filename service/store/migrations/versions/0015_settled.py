"""What of each fan's ledger and alerts needs no second look: a night then costs what its new days cost."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables; `assess` and the alerts fill them."""
    op.create_table(
        "settled_days",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("as_of", UtcTime(), nullable=False),
        sa.Column("made_of", sa.String(64), nullable=False),
        sa.Column("served", sa.JSON(), nullable=False),
        sa.Column("is_proof_seen", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("fan", name="pk_settled_days"),
    )
    op.create_table(
        "watched_days",
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("made_of", sa.String(64), nullable=False),
        sa.Column("standing", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("fan", name="pk_watched_days"),
    )
