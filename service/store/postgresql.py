"""How PostgreSQL is opened so that it treats rows as SQLite does, to the last bit and in the same order."""

from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import event

from service.failure import WorkFailed

_LOCK_TIMEOUT_S: Final = 60
# A server that is gone is noticed within a minute or so, not after the two hours of the system's default.
_CONNECT_ARGUMENTS: Final = {
    "connect_timeout": 10,
    "keepalives_idle": 30,
    "keepalives_interval": 10,
    "keepalives_count": 3,
    "client_encoding": "utf8",
}
_ONE_WRITER: Final = "SELECT pg_advisory_xact_lock(hashtext('one writer of a slipledger database'))"
UNREADABLE: Final = "\ufffd"


def postgresql_engine(url: sa.URL, *, is_writing: bool) -> sa.Engine:
    """Make an engine.

    There is one writer at a time, as in SQLite: each takes an advisory lock first and then sees all that was
    committed before. Readers see one state, as of their first statement, and cannot write.
    """
    try:
        engine = sa.create_engine(
            url.set(drivername="postgresql+psycopg"),
            connect_args=_CONNECT_ARGUMENTS,
            pool_pre_ping=True,
            isolation_level="READ COMMITTED" if is_writing else "REPEATABLE READ",
            execution_options={} if is_writing else {"postgresql_readonly": True},
        )
    except ModuleNotFoundError as error:
        raise WorkFailed(
            f"a PostgreSQL database needs its driver, and {error.name} is not installed: "
            'pip install "slipledger[postgres]"'
        ) from None
    event.listen(engine, "connect", _settle)
    if is_writing:
        event.listen(engine, "begin", _wait_for_other_writers)
    return engine


def sort_by_code_point(connection: sa.Connection, tables: frozenset[str]) -> None:
    """Give every text column the order of code points, whatever language the server sorts by."""
    inspector = sa.inspect(connection)
    quoted = connection.dialect.identifier_preparer.quote
    for table in sorted(tables & set(inspector.get_table_names())):
        for column in inspector.get_columns(table):
            kind = column["type"]
            if not isinstance(kind, sa.String) or kind.collation == "C":
                continue
            name, wanted = quoted(column["name"]), kind.compile(connection.dialect)
            connection.exec_driver_sql(
                f'ALTER TABLE {quoted(table)} ALTER COLUMN {name} TYPE {wanted} COLLATE "C"'
            )


def check_encoding(connection: sa.Connection) -> None:
    """Refuse a database that cannot hold every letter."""
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise WorkFailed(
            f"the PostgreSQL database keeps text as {encoding}, which cannot hold every name; "
            "create one with ENCODING 'UTF8' and TEMPLATE template0"
        )


def _settle(connection: Any, _record: Any) -> None:
    for setting in ("TIME ZONE 'UTC'", "extra_float_digits = 1"):
        connection.execute(f"SET {setting}")
    connection.commit()
    _match_sqlite(connection)


def _wait_for_other_writers(connection: sa.Connection) -> None:
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_LOCK_TIMEOUT_S}s'")
    connection.exec_driver_sql(_ONE_WRITER)


def _match_sqlite(connection: Any) -> None:
    """Give numbers and text to the driver as SQLite keeps them."""
    import numpy as np  # noqa: PLC0415 - with the driver, which only PostgreSQL needs
    from psycopg.types.numeric import FloatDumper  # noqa: PLC0415 - an extra
    from psycopg.types.string import StrDumper  # noqa: PLC0415 - an extra

    class Number(FloatDumper):
        """A float; one that is no number is NULL, and a minus zero is a zero."""

        def dump(self, obj: Any) -> Any:
            return None if np.isnan(obj) else super().dump(float(obj) + 0.0)

    class Letters(StrDumper):
        """A text; the letter zero, which PostgreSQL cannot hold, is the sign for an unreadable one."""

        def dump(self, obj: str) -> Any:
            return super().dump(obj.replace("\x00", UNREADABLE))

    for kind in (float, np.float64, np.float32):
        connection.adapters.register_dumper(kind, Number)
    connection.adapters.register_dumper(str, Letters)
