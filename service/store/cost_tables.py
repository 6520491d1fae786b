"""What a fan's usual year looks like by load: the costs of its drive rest on it."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA

# One row a fan; `profile` null where its load is not read. Derived: `assess` writes it anew when `digest`
# of what it is made of changes.
fan_loads = sa.Table(
    "fan_loads",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.Column("profile", sa.JSON),
)

# How profiles are made; those of another revision wait for the next `assess` and cost nothing until then.
REVISION: Final = 3

COST_TABLES: Final = (fan_loads,)
