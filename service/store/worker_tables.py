"""What the worker leaves behind: who may write, every run of a job, and a heartbeat a job."""

from typing import Final

import sqlalchemy as sa

from service.store.tables import METADATA, UtcTime

# One row a lease, kept when it is given back: its generation only ever rises and is what a writer is
# checked by. `beats` rises with every renewal: whoever waits watches it by a clock of its own.
leases = sa.Table(
    "leases",
    METADATA,
    sa.Column("name", sa.String(24), primary_key=True),
    sa.Column("generation", sa.BigInteger, nullable=False),
    sa.Column("beats", sa.BigInteger, nullable=False),
    sa.Column("is_held", sa.Boolean, nullable=False),
    sa.Column("host", sa.Text, nullable=False),
    sa.Column("pid", sa.Integer, nullable=False),
    sa.Column("place", sa.String(64), nullable=False),  # the machine since its start, and the state folder
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("since", UtcTime, nullable=False),
)

# One row a run of a job, written before it acts and completed after.
job_runs = sa.Table(
    "job_runs",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("due", UtcTime, nullable=False),
    sa.Column("started", UtcTime, nullable=False),
    sa.Column("ended", UtcTime),
    sa.Column("outcome", sa.String(16), nullable=False),
    sa.Column("error", sa.Text),
    sa.Column("counts", sa.JSON, nullable=False),
    sa.Column("has_worked", sa.Boolean, nullable=False),
    sa.Column("host", sa.Text, nullable=False),
    sa.Column("pid", sa.Integer, nullable=False),
    sa.CheckConstraint(
        "outcome in ('running', 'done', 'failed', 'missed', 'abandoned', 'stopped')", name="outcome"
    ),
    sa.Index(None, "job", "started"),
)

# One row a job: the last time it was due and seen to, how that went, and from when on it is late.
heartbeats = sa.Table(
    "heartbeats",
    METADATA,
    sa.Column("job", sa.Text, primary_key=True),
    sa.Column("due", UtcTime, nullable=False),
    sa.Column("started", UtcTime),
    sa.Column("done", UtcTime),
    sa.Column("outcome", sa.String(16)),
    sa.Column("error", sa.Text),
    sa.Column("failures", sa.Integer, nullable=False),  # in a row
    sa.Column("late_at", UtcTime, nullable=False),
)

WORKER_TABLES: Final = (leases, job_runs, heartbeats)
