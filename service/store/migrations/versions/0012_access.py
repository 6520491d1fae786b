"""Who may see and do what."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

_ROLES = "role in ('viewer', 'operator', 'admin')"


def upgrade() -> None:
    """Make the tables of people, their sessions and tokens, tries to log in, and what people changed."""
    _make_users()
    _make_proofs()
    op.create_table(
        "login_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("is_right", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_attempts")),
    )
    for column in ("at", "account", "address"):
        op.create_index(op.f(f"ix_login_attempts_{column}"), "login_attempts", [column])
    op.create_table(
        "people_changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_people_changes")),
        sqlite_autoincrement=True,
    )


def _make_users() -> None:
    op.create_table(
        "users",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("is_disabled", sa.Boolean(), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.CheckConstraint(_ROLES, name=op.f("ck_users_role")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_users")),
        sa.UniqueConstraint("name_key", name=op.f("uq_users_name_key")),
    )


def _make_proofs() -> None:
    op.create_table(
        "web_sessions",
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("begun_at", UtcTime(), nullable=False),
        sa.Column("seen_at", UtcTime(), nullable=False),
        sa.Column("ends_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_web_sessions_user_id_users")),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_web_sessions")),
    )
    op.create_index(op.f("ix_web_sessions_user_id"), "web_sessions", ["user_id"])
    op.create_table(
        "access_tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("ends_at", UtcTime(), nullable=False),
        sa.Column("revoked_at", UtcTime(), nullable=True),
        sa.CheckConstraint(_ROLES, name=op.f("ck_access_tokens_role")),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_access_tokens_user_id_users")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_tokens")),
        sa.UniqueConstraint("digest", name=op.f("uq_access_tokens_digest")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_access_tokens_user_id"), "access_tokens", ["user_id"])
