"""Copying every row from one database to another, exactly, and proving that it arrived."""

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from service.failure import WorkFailed
from service.store.postgresql import UNREADABLE
from service.store.schema import lasting_tables

_ROWS_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True)
class Content:
    """What a table holds: how many rows, and the SHA-256 of all of them in the order of their keys."""

    rows: int
    sha256: str


def copy_rows(
    source: sa.Connection, target: sa.Connection, say: Callable[[str], None] = lambda _table: None
) -> dict[str, Content]:
    """Copy every lasting table into empty ones, read them back and return what each holds.

    Raises WorkFailed where a table reads otherwise than it was; the caller's transaction takes all back.
    """
    contents = {}
    for table in lasting_tables():
        say(table.name)
        sent = hashlib.sha256()
        count = 0
        for rows in _batches(_rows(source, table)):
            for row in rows:
                sent.update(_as_bytes(row))
            count += len(rows)
            target.execute(_insert(target, table), [_named(table, row) for row in rows])
        _carry_counter(source, target, table)
        contents[table.name] = Content(count, sent.hexdigest())
        found = content_of(target, table)
        if found != contents[table.name]:
            raise WorkFailed(
                f"table {table.name}: {count} rows were sent, {found.rows} came back, or came back changed; "
                "nothing was copied, the source is as it was"
            )
    return contents


def content_of(connection: sa.Connection, table: sa.Table) -> Content:
    """Return what a table holds, the same for the same rows whatever database keeps them."""
    digest = hashlib.sha256()
    count = 0
    for row in _rows(connection, table):
        digest.update(_as_bytes(row))
        count += 1
    return Content(count, digest.hexdigest())


def rows_in(connection: sa.Connection) -> dict[str, int]:
    """Return how many rows each lasting table that is there holds, where it holds any."""
    present = set(sa.inspect(connection).get_table_names())
    counts = {
        table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
        for table in lasting_tables()
        if table.name in present
    }
    return {name: count for name, count in counts.items() if count}


def _rows(connection: sa.Connection, table: sa.Table) -> Iterator[tuple[Any, ...]]:
    """Yield a table's rows in the order of their keys, JSON as the text it was written as."""
    columns = [_as_text(connection, c).label(c.name) if isinstance(c.type, sa.JSON) else c for c in table.c]
    query = sa.select(*columns).order_by(*table.primary_key.columns)
    for row in connection.execute(query, execution_options={"yield_per": _ROWS_AT_ONCE}):
        # PostgreSQL keeps no letter zero: what is written there reads alike on both sides.
        yield tuple(v.replace("\x00", UNREADABLE) if isinstance(v, str) else v for v in row)


def _as_text(connection: sa.Connection, column: sa.Column[Any]) -> sa.ColumnElement[str]:
    if connection.dialect.name == "sqlite":
        return sa.type_coerce(column, sa.Text)
    return sa.cast(column, sa.Text)


def _insert(target: sa.Connection, table: sa.Table) -> sa.Insert:
    is_sqlite = target.dialect.name == "sqlite"
    values: dict[str, Any] = {}
    for column in table.c:
        is_json = isinstance(column.type, sa.JSON)
        given = sa.bindparam(f"given_{column.name}", type_=sa.Text() if is_json else column.type)
        values[column.name] = sa.cast(given, sa.JSON) if is_json and not is_sqlite else given
    return sa.insert(table).values(values)


def _named(table: sa.Table, row: tuple[Any, ...]) -> dict[str, Any]:
    return {f"given_{column.name}": value for column, value in zip(table.c, row, strict=True)}


def _as_bytes(row: tuple[Any, ...]) -> bytes:
    return repr(row).encode("utf-8", "surrogatepass")  # a float's repr has all its bits


def _batches(rows: Iterable[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    batch: list[tuple[Any, ...]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _ROWS_AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def _carry_counter(source: sa.Connection, target: sa.Connection, table: sa.Table) -> None:
    """Let the target count its next key on from the source's: an id, once given, is never used again."""
    key = table.autoincrement_column
    if key is None:
        return
    last = max(_counted(source, table, key), _greatest(source, key))
    if target.dialect.name == "sqlite":
        if not table.dialect_options["sqlite"]["autoincrement"]:
            return
        target.execute(sa.text("delete from sqlite_sequence where name = :name"), {"name": table.name})
        insert = sa.text("insert into sqlite_sequence (name, seq) values (:name, :last)")
        target.execute(insert, {"name": table.name, "last": last})
    elif last > 0:
        sequence = sa.func.pg_get_serial_sequence(table.name, key.name)
        target.execute(sa.select(sa.func.setval(sequence, last)))


def _counted(source: sa.Connection, table: sa.Table, key: sa.Column[Any]) -> int:
    if source.dialect.name == "sqlite":
        if not table.dialect_options["sqlite"]["autoincrement"]:
            return 0
        found = sa.text("select seq from sqlite_sequence where name = :name")
        return int(source.execute(found, {"name": table.name}).scalar() or 0)
    found = sa.text("select pg_sequence_last_value(pg_get_serial_sequence(:name, :key)::regclass)")
    return int(source.execute(found, {"name": table.name, "key": key.name}).scalar() or 0)


def _greatest(source: sa.Connection, key: sa.Column[Any]) -> int:
    return int(source.execute(sa.select(sa.func.max(key))).scalar() or 0)
