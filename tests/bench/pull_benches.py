"""What a pull costs beside reading the same files bare and writing their values."""

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.csv as pacsv
from deltalake import write_deltalake

from config import load_site
from service.intake import pull
from service.store import open_store
from tests.bench.bench import Bench, Disk, Size
from tests.bench.exports import files_of, write_long, write_long_by_point, write_singles, write_wide
from tests.bench.trends import write_site

_NOW: Final = dt.datetime(2035, 1, 1, tzinfo=dt.UTC)
_MONTH: Final = Size(100, 30)


def _ready(inputs: Path, folder: Path) -> None:
    """Give a run its own site, its database made, whose drop is the prepared one."""
    for name in ("site.toml", "fans.csv"):
        shutil.copy(inputs / name, folder / name)
    (folder / "drop").symlink_to(inputs / "drop", target_is_directory=True)
    open_store(load_site(folder)).close()


def _pull(_inputs: Path, folder: Path) -> None:
    site = load_site(folder)
    with open_store(site) as store:
        report = pull(site, store, clock=lambda: _NOW)
    lost = [row for row in report.files if row.stored == 0 or row.refused or row.unmapped]
    if report.problems or lost or not report.files:
        raise RuntimeError(f"the pull did not store everything: {report.problems} {lost[:3]}")


def _bare(inputs: Path, folder: Path) -> None:
    """Read each file as it stands and write its values, with the libraries' own defaults."""
    files = files_of(inputs / "drop")
    tables = [pacsv.read_csv(file) for file in files]
    if len(tables) > 1:  # the name of a file that holds one point is part of the values
        tables = [
            table.append_column("Point", pa.repeat(file.stem, len(table)))
            for file, table in zip(files, tables, strict=True)
        ]
    write_deltalake(str(folder / "bare"), pa.concat_tables(tables, promote_options="permissive"))


def _disk(_inputs: Path, folder: Path) -> Disk:
    """Compact every month and count the bytes of the files that hold."""
    site = load_site(folder)
    with open_store(site) as store:
        store.compact(keep_files=0)
        readings = store.current_readings()
        assert readings is not None
        sizes = readings.table.bytes_of_files()
        with store.reader() as connection:
            values = connection.exec_driver_sql("select sum(stored) from intake").scalar()
    return Disk(sizes, int(values or 0))


def _bench(name: str, about: str, size: Size, write: Callable[[Path, Size], None]) -> Bench:
    def prepare(inputs: Path, asked: Size) -> None:
        write(write_site(inputs, asked), asked)

    return Bench(
        name,
        about,
        size,
        prepare,
        _pull,
        {"bare read and write": _bare},
        ready=_ready,
        limit=3.0,
        disk=_disk,
    )


PULLS: Final = (
    _bench("pull wide", "one file, a column a point", _MONTH, write_wide),
    _bench("pull long", "one file, a row a value, time by time", _MONTH, write_long),
    _bench("pull long by point", "one file, a row a value, point by point", _MONTH, write_long_by_point),
    _bench("pull singles", "a file a point, of one day", Size(500, 1), write_singles),
)
