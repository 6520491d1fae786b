"""Who may see and do what: people, what proves who they are, and what was changed about it by whom."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# A person or a program that may log in. Rows are never deleted: what they did stays theirs. `name` is kept
# as it is written, `name_key` without its capitals, so that two people cannot be told apart by them alone.
users = sa.Table(
    "users",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("name_key", sa.Text, nullable=False, unique=True),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("password_hash", sa.Text, nullable=False),
    sa.Column("is_disabled", sa.Boolean, nullable=False),
    sa.Column("created_at", UtcTime, nullable=False),
    sa.CheckConstraint("role in ('viewer', 'operator', 'admin')", name="role"),
)

# A browser that is logged in. Only the digest of what its cookie holds is kept.
web_sessions = sa.Table(
    "web_sessions",
    METADATA,
    sa.Column("digest", sa.String(64), primary_key=True),
    sa.Column("user_id", sa.ForeignKey("users.id"), nullable=False, index=True),
    sa.Column("begun_at", UtcTime, nullable=False),
    sa.Column("seen_at", UtcTime, nullable=False),
    sa.Column("ends_at", UtcTime, nullable=False),
)

# What a program shows instead of a password. Only its digest is kept; `role` bounds its user's.
access_tokens = sa.Table(
    "access_tokens",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("digest", sa.String(64), nullable=False, unique=True),
    sa.Column("user_id", sa.ForeignKey("users.id"), nullable=False, index=True),
    sa.Column("label", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("created_at", UtcTime, nullable=False),
    sa.Column("ends_at", UtcTime, nullable=False),
    sa.Column("revoked_at", UtcTime),
    sa.CheckConstraint("role in ('viewer', 'operator', 'admin')", name="role"),
    sqlite_autoincrement=True,  # an id is never used twice: people revoke by it
)

# Every try to log in, written before the password is looked at; a right one no longer counts against anybody.
login_attempts = sa.Table(
    "login_attempts",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", UtcTime, nullable=False, index=True),
    sa.Column("account", sa.Text, nullable=False, index=True),
    sa.Column("address", sa.Text, nullable=False, index=True),
    sa.Column("is_right", sa.Boolean, nullable=False),
)

# What people changed that no other table keeps with their name; appended, never rewritten.
people_changes = sa.Table(
    "people_changes",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("about", sa.Text, nullable=False),
    sqlite_autoincrement=True,
)

ACCESS_TABLES: Final = (users, web_sessions, access_tokens, login_attempts, people_changes)
