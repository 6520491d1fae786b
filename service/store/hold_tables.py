"""What must not be deleted for a while."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# One row a backup under way: until then no file of readings is deleted. It outlives its process by minutes.
holds = sa.Table(
    "holds",
    METADATA,
    sa.Column("id", sa.String(32), primary_key=True),
    sa.Column("holder", sa.Text, nullable=False),
    sa.Column("taken_at", UtcTime, nullable=False),
    sa.Column("until", UtcTime, nullable=False),
)

HOLD_TABLES: Final = (holds,)
