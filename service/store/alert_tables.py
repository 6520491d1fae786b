"""What is remembered of alerts beside what the data say: identity, history, and causes that many share."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# An alert as people know it. Episodes are derived and written anew; this row and its id stay, also when new
# data take the episode back. `told_at`: when somebody was first told of it.
alerts = sa.Table(
    "alerts",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("fan", sa.Text, nullable=False, index=True),
    sa.Column("kind", sa.String(16), nullable=False),
    sa.Column("topic", sa.String(40), nullable=False),
    sa.Column("opened_on", sa.Date, nullable=False),
    sa.Column("written_at", UtcTime, nullable=False),
    sa.Column("told_at", UtcTime),
    sqlite_autoincrement=True,  # an id is never used twice: people and mails refer to it
)

# Every change of an alert, appended and never rewritten: of its level, of who handles it, of what its
# service brought. `true_from` is when the change became true, `written_at` when it was written down.
alert_history = sa.Table(
    "alert_history",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("alert_id", sa.ForeignKey("alerts.id"), nullable=False, index=True),
    sa.Column("aspect", sa.String(16), nullable=False),
    sa.Column("old", sa.Text, nullable=False),
    sa.Column("new", sa.Text, nullable=False),
    sa.Column("true_from", UtcTime, nullable=False),
    sa.Column("written_at", UtcTime, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("until", sa.Date),
    sqlite_autoincrement=True,
)

# A cause that many fans of one place share on one day: told once, appended.
common_causes = sa.Table(
    "common_causes",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("place", sa.Text, nullable=False),
    sa.Column("what", sa.String(16), nullable=False),
    sa.Column("date", sa.Date, nullable=False),
    sa.Column("fans", sa.JSON, nullable=False),
    sa.Column("watched", sa.Integer, nullable=False),
    sa.Column("written_at", UtcTime, nullable=False),
    sa.UniqueConstraint("place", "what", "date"),
)

ALERT_TABLES: Final = (alerts, alert_history, common_causes)
