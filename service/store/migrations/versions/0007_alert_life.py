"""What alerts are beside what the data say of them: their identity, their history; an outbox for all told."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Give each episode that is there an alert of its own, and each weekly mail its occasion."""
    _make_alerts()
    _link_episodes()
    _widen_outbox()


def _make_alerts() -> None:
    op.create_table(
        "alerts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("topic", sa.String(length=40), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=False),
        sa.Column("written_at", UtcTime(), nullable=False),
        sa.Column("told_at", UtcTime()),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alerts")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_alerts_fan"), "alerts", ["fan"])
    op.create_table(
        "alert_history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=False),
        sa.Column("aspect", sa.String(length=16), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("true_from", UtcTime(), nullable=False),
        sa.Column("written_at", UtcTime(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("until", sa.Date()),
        sa.ForeignKeyConstraint(["alert_id"], ["alerts.id"], name=op.f("fk_alert_history_alert_id_alerts")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_history")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_alert_history_alert_id"), "alert_history", ["alert_id"])
    op.create_table(
        "common_causes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("what", sa.String(length=16), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("fans", sa.JSON(), nullable=False),
        sa.Column("watched", sa.Integer(), nullable=False),
        sa.Column("written_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_common_causes")),
        sa.UniqueConstraint("place", "what", "date", name=op.f("uq_common_causes_place_what_date")),
    )


def _link_episodes() -> None:
    op.execute(
        "insert into alerts (id, fan, kind, topic, opened_on, written_at) "
        "select id, fan, kind, topic, opened_on, opened_at from episodes"
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("select setval(pg_get_serial_sequence('alerts', 'id'), (select max(id) from alerts))")
    with op.batch_alter_table("episodes") as table:
        table.add_column(sa.Column("alert_id", sa.Integer()))
    op.execute("update episodes set alert_id = id")
    with op.batch_alter_table("episodes") as table:
        table.alter_column("alert_id", existing_type=sa.Integer(), nullable=False)
        table.create_foreign_key(op.f("fk_episodes_alert_id_alerts"), "alerts", ["alert_id"], ["id"])


def _widen_outbox() -> None:
    with op.batch_alter_table("outbox") as table:
        table.drop_constraint("uq_outbox_recipient_week", type_="unique")
        table.alter_column(
            "week", new_column_name="occasion", existing_type=sa.String(length=8), type_=sa.Text()
        )
        table.add_column(sa.Column("channel", sa.String(length=8), nullable=False, server_default="mail"))
        table.add_column(sa.Column("next_attempt_at", UtcTime()))
        table.add_column(sa.Column("given_up_at", UtcTime()))
    with op.batch_alter_table("outbox") as table:
        table.create_unique_constraint(
            op.f("uq_outbox_channel_recipient_occasion"), ["channel", "recipient", "occasion"]
        )
