"""The outbox: one row a channel, recipient and occasion, written in the transaction that decides it."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# The message is kept as it was first written: what was told is history, and a second delivery is the same.
# `occasion` is a week (2025-W20) or what happened. Waiting rows have neither `sent_at` nor `given_up_at`.
outbox = sa.Table(
    "outbox",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("channel", sa.String(8), nullable=False, server_default="mail"),
    sa.Column("recipient", sa.Text, nullable=False),
    sa.Column("occasion", sa.Text, nullable=False),
    sa.Column("message_id", sa.Text, nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("message", sa.LargeBinary, nullable=False),
    sa.Column("written_at", UtcTime, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("next_attempt_at", UtcTime),
    sa.Column("last_error", sa.Text),
    sa.Column("sent_at", UtcTime),
    sa.Column("given_up_at", UtcTime),
    sa.UniqueConstraint("channel", "recipient", "occasion"),
)

MAIL_TABLES: Final = (outbox,)
