"""How the sources of a site answered, stretch by stretch."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# One row a stretch of passes in which a source answered alike: reached, or down for the same reason. A source
# that is down has no file, so it has no row in the intake.
source_stretches = sa.Table(
    "source_stretches",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("source", sa.Text, nullable=False, index=True),
    sa.Column("is_down", sa.Boolean, nullable=False),
    sa.Column("first_at", UtcTime, nullable=False),
    sa.Column("last_at", UtcTime, nullable=False),
    sa.Column("passes", sa.Integer, nullable=False),
    sa.Column("message", sa.Text, nullable=False),  # why it could not be reached, blank where it was
)

SOURCE_TABLES: Final = (source_stretches,)
