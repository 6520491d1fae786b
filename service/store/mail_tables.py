"""The outbox: one row a recipient and week, written before the mail goes out."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# The message is kept as it was first written: what was told is history, and a second delivery is the same.
outbox = sa.Table(
    "outbox",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("recipient", sa.Text, nullable=False),
    sa.Column("week", sa.String(8), nullable=False),
    sa.Column("message_id", sa.Text, nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("message", sa.LargeBinary, nullable=False),
    sa.Column("written_at", UtcTime, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("last_error", sa.Text),
    sa.Column("sent_at", UtcTime),
    sa.UniqueConstraint("recipient", "week"),
)

MAIL_TABLES: Final = (outbox,)
