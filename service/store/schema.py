"""Every SQL table there is: what is moved, backed up and compared with the migrations."""

from typing import Final

import sqlalchemy as sa

from service.store.access_tables import ACCESS_TABLES, login_attempts, web_sessions
from service.store.alert_tables import ALERT_TABLES
from service.store.cost_tables import COST_TABLES
from service.store.hold_tables import HOLD_TABLES, holds
from service.store.ledger_tables import LEDGER_TABLES
from service.store.mail_tables import MAIL_TABLES
from service.store.source_tables import SOURCE_TABLES
from service.store.tables import METADATA
from service.store.worker_tables import WORKER_TABLES, leases

_DECLARED: Final = (
    *ACCESS_TABLES,
    *ALERT_TABLES,
    *COST_TABLES,
    *HOLD_TABLES,
    *LEDGER_TABLES,
    *MAIL_TABLES,
    *SOURCE_TABLES,
    *WORKER_TABLES,
)

# What is true only of processes and browsers that run now; another database begins without it.
OF_RUNNING_PROCESSES: Final = (holds, leases, login_attempts, web_sessions)


def all_tables() -> tuple[sa.Table, ...]:
    """Return every table, referred ones first."""
    tables = tuple(METADATA.sorted_tables)
    assert set(_DECLARED) <= set(tables)
    return tables


def lasting_tables() -> tuple[sa.Table, ...]:
    """Return every table whose rows outlive the processes that wrote them, referred ones first."""
    return tuple(table for table in all_tables() if table not in OF_RUNNING_PROCESSES)
