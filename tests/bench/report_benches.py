"""What an export and a week's mail cost beside the bare read of what they tell."""

import csv
import datetime as dt
from pathlib import Path
from typing import Final

import pyarrow.csv as pacsv
import pyarrow.dataset as pads
import sqlalchemy as sa
from deltalake import DeltaTable

from config import load_site
from service.assess.exports import COLUMNS
from service.command_line.export import export
from service.intake import pull
from service.mail.digest import weekly_digest
from service.mail.message import as_message
from service.mail.weeks import Week
from service.store import open_store
from service.store.ledger_tables import daily
from tests.bench.bench import Bench, Size
from tests.bench.copies import drawn, multiply
from tests.bench.exports import write_wide_groups
from tests.bench.page_benches import LAST, bare_fleet, plant_ledger
from tests.bench.trends import write_site

_NOW: Final = dt.datetime(2035, 1, 1, tzinfo=dt.UTC)
_PEOPLE: Final = ("crew@example.org",)


def _export_daily(inputs: Path, folder: Path) -> None:
    export(inputs, "daily", out=folder / "daily.csv")


def _bare_daily(inputs: Path, folder: Path) -> None:
    """Read the ledger's columns as plain rows and write them."""
    query = sa.select(*(daily.c[name] for name in COLUMNS)).order_by(daily.c.fan, daily.c.date)
    with open_store(load_site(inputs)) as store, store.reader() as connection:
        rows = connection.execute(query).all()
    with (folder / "bare.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        writer.writerows(rows)


def _pulled(inputs: Path, size: Size) -> None:
    """Pull some fans' readings and give them to the whole fleet."""
    few = drawn(size)
    drop = write_site(inputs, few)
    write_wide_groups(drop, few, slice(None), "all")
    site = load_site(inputs)
    with open_store(site) as store:
        pull(site, store, clock=lambda: _NOW)
        store.compact(keep_files=1)
    multiply(inputs, size)


def _export_readings(inputs: Path, folder: Path) -> None:
    export(inputs, "readings", out=folder / "readings.csv")


def _bare_readings(inputs: Path, folder: Path) -> None:
    """Read every row of the readings, as pyarrow does, and write it."""
    table = next((inputs / "state" / "readings").glob("generation-*"))
    rows = pads.dataset(DeltaTable(str(table)).file_uris()).to_table()
    pacsv.write_csv(rows, folder / "bare.csv")


def _mail(inputs: Path, _folder: Path) -> None:
    """Write a week's mail of the whole fleet."""
    site = load_site(inputs)
    with open_store(site) as store:
        digest = weekly_digest(site, store, Week.of(LAST))
    message = as_message(digest, "slipledger@example.org", _PEOPLE, _NOW).as_bytes()
    if digest.watched != len(site.fan_names) or len(message) < 1000:
        raise RuntimeError("the mail does not tell of the fleet")


REPORTS: Final = (
    Bench(
        "export daily",
        "the ledger as CSV, beside its rows read and written bare",
        Size(1000, 120),
        plant_ledger,
        _export_daily,
        {"bare rows": _bare_daily},
    ),
    Bench(
        "export readings",
        "the readings as CSV, beside pyarrow's read and write of the same rows",
        Size(20, 30),
        _pulled,
        _export_readings,
        {"bare read and write": _bare_readings},
    ),
    Bench(
        "mail",
        "a week's mail of every fan, text, HTML and drawings, beside the bare read of the fleet's state",
        Size(1000, 120),
        plant_ledger,
        _mail,
        {"bare read": bare_fleet},
    ),
)
