"""What an assessment costs beside an engineer's script and a bare read of the same rows."""

import datetime as dt
import os
import shutil
from pathlib import Path
from typing import Final

import pandas as pd
import polars as pl
import pyarrow.dataset as pads
from deltalake import DeltaTable
from threadpoolctl import threadpool_limits

from config import SiteFolder, load_site
from service.alerts import keep_alerts
from service.assess import assess, export_daily
from service.intake import pull
from service.store import Store, open_store
from tests.bench.bench import Bench, Size
from tests.bench.copies import drawn, multiply
from tests.bench.engineer import daily_residuals
from tests.bench.exports import write_wide_groups
from tests.bench.trends import times, write_site

_NOW: Final = dt.datetime(2035, 1, 1, tzinfo=dt.UTC)
_FIRST: Final = "first"
_NIGHT: Final = "night"
_READINGS: Final = "state/readings"


def _pulled(site: SiteFolder, store: Store) -> None:
    report = pull(site, store, clock=lambda: _NOW)
    if report.problems or any(row.refused or row.unmapped for row in report.files):
        raise RuntimeError(f"the pull did not store everything: {report.problems}")


def _prepare(inputs: Path, size: Size) -> None:
    """Pull a fleet's readings; the last day of them stands apart, so that a night can follow its history.

    A few fans are drawn, pulled and assessed; a larger fleet is copies of them under other names.
    """
    few, folder = drawn(size), inputs / _FIRST
    drop = write_site(folder, few)
    write_wide_groups(drop, few, slice(None, -_steps_a_day(size)), "history")
    site = load_site(folder)
    with open_store(site) as store:
        _pulled(site, store)
        store.compact(keep_files=1)
    shutil.copytree(folder, inputs / _NIGHT, copy_function=_shared)
    for name in (_NIGHT, _FIRST):
        site = load_site(inputs / name)
        with open_store(site) as store:
            if name == _NIGHT:
                _assess(site, store)
            write_wide_groups(inputs / name / "drop", few, slice(-_steps_a_day(size), None), "last day")
            _pulled(site, store)
        multiply(inputs / name, size)


def _steps_a_day(size: Size) -> int:
    return len(times(size)) // size.days


def _shared(source: str, target: str) -> None:
    """Share the files that are never written again, copy the rest."""
    if source.endswith((".parquet", ".zst", ".csv")):
        os.link(source, target)
    else:
        shutil.copy(source, target)


def _assess(site: SiteFolder, store: Store) -> None:
    assess(site, store)
    keep_alerts(site, store, _NOW)


def _ready(inputs: Path, folder: Path) -> None:
    for name in (_FIRST, _NIGHT):
        shutil.copytree(inputs / name, folder / name, copy_function=_shared)


def _first(_inputs: Path, folder: Path) -> None:
    """Assess everything there is for the first time."""
    site = load_site(folder / _FIRST)
    with open_store(site) as store:
        _assess(site, store)
        # Of one fan: the whole ledger at once would take more memory than what made it.
        if export_daily(store, site.fan_names[-1]).empty:
            raise RuntimeError("the last fan was not assessed")


def _night(_inputs: Path, folder: Path) -> None:
    """Assess the one day that came since the last assessment."""
    site = load_site(folder / _NIGHT)
    with open_store(site) as store:
        _assess(site, store)


def _table(inputs: Path) -> Path:
    return next((inputs / _FIRST / _READINGS).glob("generation-*"))


def _script(inputs: Path, _folder: Path) -> None:
    """Run the engineer's script over the same rows, with one thread of linear algebra as the subject has."""
    site = load_site(inputs / _FIRST)
    if site.site.baseline is None:
        raise RuntimeError("the bench's site names no healthy period")
    until = pd.Timestamp(site.site.baseline.last, tz=site.site.zone) + pd.Timedelta(days=1)
    with threadpool_limits(limits=1):
        told = list(daily_residuals(_table(inputs), list(site.fan_names), site.site.zone, until))
    if len(told) != len(site.fan_names):
        raise RuntimeError("the script did not see every fan")


def _pyarrow(inputs: Path, _folder: Path) -> None:
    """Read every row of the readings, as pyarrow does."""
    pads.dataset(DeltaTable(str(_table(inputs))).file_uris()).to_table()


def _polars(inputs: Path, _folder: Path) -> None:
    """Read every row of the readings, as polars does."""
    pl.read_parquet(DeltaTable(str(_table(inputs))).file_uris())


ASSESSMENTS: Final = (
    Bench(
        "assess first",
        "the first assessment of a fleet's readings, beside an engineer's script on the same rows",
        Size(10, 180),
        _prepare,
        _first,
        {"engineer's script": _script, "bare pyarrow read": _pyarrow, "bare polars read": _polars},
        ready=_ready,
        limit=5.0,
    ),
    Bench(
        "assess night",
        "the assessment of one day more, beside the first assessment of its history",
        Size(10, 180),
        _prepare,
        _night,
        {"first assessment": _first},
        ready=_ready,
        limit=0.03,
    ),
)
