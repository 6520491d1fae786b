"""The SQL tables, as SQLAlchemy Core: one metadata, every constraint named by one convention."""

import datetime as dt
from typing import Any, Final

import sqlalchemy as sa

METADATA: Final = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class UtcTime(sa.types.TypeDecorator[dt.datetime]):
    """A UTC time that comes back aware from databases that keep no zone too."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        """Give the database UTC, without a zone where it could not keep one."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without a zone cannot be stored: {value}")
        in_utc = value.astimezone(dt.UTC)
        return in_utc.replace(tzinfo=None) if dialect.name == "sqlite" else in_utc

    def process_result_value(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        """Hand out UTC."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


# Readings are derived: a generation is one derivation of them, in a folder of its own, from every kept
# export under one set of reading settings. One is current; a building one takes its place when whole.
generations = sa.Table(
    "generations",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("folder", sa.String(80), nullable=False, unique=True),
    sa.Column("settings_digest", sa.String(64), nullable=False),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("begun", UtcTime, nullable=False),
    sa.CheckConstraint("state in ('building', 'current', 'retired')", name="state"),
)

# A pass is one Delta commit and its ledger rows. The rows are written with the intention and count once
# the pass is done; start-up finds out from the Delta log how far one got that is only intended.
passes = sa.Table(
    "passes",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("marker", sa.String(64), nullable=False, unique=True),
    sa.Column("generation_id", sa.ForeignKey("generations.id", ondelete="CASCADE"), nullable=False),
    sa.Column("settings_digest", sa.String(64), nullable=False),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("has_readings", sa.Boolean, nullable=False),
    sa.Column("started", UtcTime, nullable=False),
    sa.Column("finished", UtcTime),
    sa.CheckConstraint("state in ('intended', 'done')", name="state"),
    sqlite_autoincrement=True,  # an id is never used twice: it is the marker in the Delta log
)

# One row for each set of bytes, source and name. The bytes are kept once; a second name matters where the
# file's name says which point it holds (`point_name`, the name without its folder and ending).
exports = sa.Table(
    "exports",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("sha256", sa.String(64), nullable=False),
    sa.Column("source", sa.Text, nullable=False),
    sa.Column("point_name", sa.Text, nullable=False),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("size", sa.BigInteger, nullable=False),
    sa.Column("modified_us", sa.BigInteger, nullable=False),
    sa.Column("kept_at", UtcTime, nullable=False),
    sa.Column("source_settings", sa.JSON, nullable=False),
    sa.UniqueConstraint("sha256", "source", "point_name"),
)

# What reading an export gave, in one generation; its span and rank there.
intake = sa.Table(
    "intake",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("pass_id", sa.ForeignKey("passes.id", ondelete="CASCADE"), nullable=False, index=True),
    sa.Column("export_id", sa.ForeignKey("exports.id"), index=True),  # none: it could not even be fetched
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("source", sa.Text, nullable=False),
    sa.Column("pulled_at", UtcTime, nullable=False),
    sa.Column("rows_read", sa.BigInteger, nullable=False),
    sa.Column("stored", sa.BigInteger, nullable=False),
    sa.Column("identical", sa.BigInteger, nullable=False),
    sa.Column("superseded", sa.BigInteger, nullable=False),
    sa.Column("refused", sa.BigInteger, nullable=False),
    sa.Column("missing", sa.BigInteger, nullable=False),
    sa.Column("unmapped", sa.BigInteger, nullable=False),
    sa.Column("cells", sa.BigInteger, nullable=False),
    sa.Column("decided", sa.Text, nullable=False),
    sa.Column("is_named_by_file", sa.Boolean, nullable=False),  # its name said which point it holds
    sa.Column("source_digest", sa.String(64), nullable=False),  # of the source's settings it was read under
    sa.Column("ranked_us", sa.BigInteger, nullable=False),  # the file's time that its rank was taken from
    sa.Column("first_us", sa.BigInteger),
    sa.Column("newest_us", sa.BigInteger),
    sa.CheckConstraint("rows_read = stored + identical + superseded + refused", name="rows_read"),
    sa.CheckConstraint("cells = rows_read + missing + unmapped", name="cells"),
)

# One row a refused value; a refused time is one row for all the values of its line (`cells`).
refusals = sa.Table(
    "refusals",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("pass_id", sa.ForeignKey("passes.id", ondelete="CASCADE"), nullable=False, index=True),
    sa.Column("export_id", sa.ForeignKey("exports.id"), nullable=False),
    sa.Column("row", sa.BigInteger, nullable=False),
    sa.Column("column", sa.Text, nullable=False),
    sa.Column("value", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("cells", sa.Integer, nullable=False),
)

touched_days = sa.Table(
    "touched_days",
    METADATA,
    sa.Column("pass_id", sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
)

# Every point name an export carried, with what it looked like there.
points_seen = sa.Table(
    "points_seen",
    METADATA,
    sa.Column("pass_id", sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("export_id", sa.ForeignKey("exports.id"), primary_key=True),
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("first_us", sa.BigInteger),
    sa.Column("last_us", sa.BigInteger),
    sa.Column("cells", sa.BigInteger, nullable=False),
    sa.Column("example", sa.Text, nullable=False),
    sa.Column("low", sa.Float),
    sa.Column("high", sa.Float),
)
