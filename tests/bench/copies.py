"""Make a fleet out of a few drawn fans: the same readings and the same state under other names.

To draw, pull and assess a thousand fans before a bench may begin takes an hour; a fan's rows cost what they
cost under whatever name they stand.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import sqlalchemy as sa
from deltalake import DeltaTable

from config import load_site
from service.store import Store, open_store
from service.store.alert_tables import alerts
from service.store.columns import FAN, MONTH
from service.store.delta import DeltaFolder
from service.store.ledger_tables import episodes
from service.store.schema import all_tables
from tests.bench.bench import Size
from tests.bench.trends import fan_names, write_fans

DRAWN_FANS: Final = 20
_ROWS_AT_ONCE: Final = 1 << 20


def drawn(size: Size) -> Size:
    """Return the part of a fleet that is drawn; the rest are copies of it."""
    return Size(min(size.fans, DRAWN_FANS), size.days)


def multiply(folder: Path, size: Size) -> None:
    """Give a site of drawn fans, pulled and perhaps assessed, the whole fleet's rows and declaration."""
    names = fan_names(size)
    few = drawn(size).fans
    if size.fans == few:
        return
    sources = {name: names[number % few] for number, name in enumerate(names)}
    with open_store(load_site(folder)) as store:
        _multiply_rows(store, sources, few)
    for table in sorted((folder / "state" / "readings").iterdir()):
        _multiply_table(table, sources, few)
    write_fans(folder, size)


def _multiply_rows(store: Store, sources: dict[str, str], few: int) -> None:
    copies = list(sources.items())[few:]
    with store.writer() as connection:
        for table in all_tables():
            if FAN not in table.c or table in (alerts, episodes):
                continue
            by_fan = _rows(connection, table)
            for fan, source in copies:
                rows = [_anew(row, fan) for row in by_fan.get(source, [])]
                if rows:
                    connection.execute(sa.insert(table), rows)
        told, shown = _rows(connection, alerts), _rows(connection, episodes)
        for fan, source in copies:
            numbers = {}
            for row in told.get(source, []):
                made = sa.insert(alerts).values(_anew(row, fan)).returning(alerts.c.id)
                numbers[row["id"]] = connection.execute(made).scalar_one()
            for row in shown.get(source, []):
                again = _anew(row, fan) | {"alert_id": numbers[row["alert_id"]]}
                connection.execute(sa.insert(episodes), [again])


def _rows(connection: sa.Connection, table: sa.Table) -> dict[str, list[dict[str, Any]]]:
    by_fan: dict[str, list[dict[str, Any]]] = {}
    for row in connection.execute(sa.select(table)):
        by_fan.setdefault(row.fan, []).append(dict(row._mapping))
    return by_fan


def _anew(row: dict[str, Any], fan: str) -> dict[str, Any]:
    """Return a row of another fan; a number that the database gives is left to it."""
    return {name: value for name, value in row.items() if name != "id"} | {FAN: fan}


def _multiply_table(folder: Path, sources: dict[str, str], few: int) -> None:
    """Write a Delta table's files anew, each for the whole fleet, with the mark of its last commit."""
    marker = DeltaFolder(str(folder)).latest_marker()
    parts = sorted(_files(folder))
    old = folder.rename(folder.with_name(f"{folder.name} of the drawn"))
    table = DeltaFolder(str(folder))
    for path, month in parts:
        rows = pq.read_table(old / path)
        if MONTH not in rows.column_names:
            rows = rows.append_column(MONTH, pa.repeat(month, len(rows)))
        table.append(pa.RecordBatchReader.from_batches(rows.schema, _copied(rows, sources, few)), marker)
    shutil.rmtree(old)


def _files(folder: Path) -> Iterator[tuple[str, str]]:
    actions = pa.table(DeltaTable(str(folder)).get_add_actions(flatten=True))
    yield from zip(
        actions.column("path").to_pylist(), actions.column(f"partition.{MONTH}").to_pylist(), strict=True
    )


def _copied(rows: pa.Table, sources: dict[str, str], few: int) -> Iterator[pa.RecordBatch]:
    place = rows.schema.get_field_index(FAN)
    own = rows.column(FAN)
    by_fan = {name: rows.filter(pc.equal(own, name)) for name in [*sources][:few]}
    for fan, source in sources.items():
        mine = by_fan[source]
        named = mine.set_column(place, rows.schema.field(FAN), pa.repeat(fan, len(mine)))
        yield from named.cast(rows.schema).to_batches(_ROWS_AT_ONCE)
