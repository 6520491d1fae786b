"""The tables that people take away: readings and the ledger of the intake."""

import datetime as dt
from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa
from numpy.typing import NDArray

from analytics.running import is_running, seen_moving
from analytics.vocabulary import Role
from config.folder import SiteFolder
from service.instants import BEFORE_US
from service.intake.labels import as_exported
from service.intake.zones import Clock
from service.store import Store
from service.store.columns import FAN, ROLE_COLUMNS, TIME
from service.store.readings import PAST_SPAN, in_microseconds
from service.store.tables import generations, intake, passes

_FIRST_COLUMNS: Final = (
    "speed_fraction",
    "current_a",
    "power_kw",
    "airflow_m3s",
    "pressure_pa",
    "air_temperature_c",
)
_FURTHER: Final = (
    Role.TORQUE,
    Role.RUN_STATUS,
    Role.MOTOR_SPEED,
    Role.WHEEL_SPEED,
    Role.OUTDOOR_AIR_DAMPER,
)
INTAKE_COLUMNS: Final = (
    "file",
    "source",
    "pulled_at",
    "rows_read",
    "stored",
    "identical",
    "superseded",
    "refused",
    "missing",
    "unmapped",
    "decided",
)
_RUNNING_INPUTS: Final = ("speed_fraction", "current_a", "power_w", "run_status")
_MOVING_INPUTS: Final = ("pressure_pa", "airflow_m3s", "motor_speed_rpm", "wheel_speed_rpm")
# What is read at once stays the same in memory for a month of many fans and for years of one.
_FAN_DAYS_AT_ONCE: Final = 720
_STAMP_ROOM: Final = dt.timedelta(microseconds=BEFORE_US)
_FOREVER: Final = (dt.datetime(1900, 1, 1, tzinfo=dt.UTC), dt.datetime(2200, 1, 2, tzinfo=dt.UTC))


def export_readings(site: SiteFolder, store: Store, fan: str | None = None) -> pd.DataFrame:
    """Return the readings, one row a fan and time, sorted by both; of one fan or of all."""
    return pd.concat(list(readings_by_fan(site, store, fan)), ignore_index=True)


def readings_by_fan(
    site: SiteFolder,
    store: Store,
    fan: str | None = None,
    between: tuple[dt.datetime, dt.datetime] | None = None,
) -> Iterator[pd.DataFrame]:
    """Yield the same fan by fan, first an empty frame with the columns; all, or stamps in [from, to)."""
    further = _further_roles(site)
    start, end = between or _whole_span(store)
    empty = store.read_readings([], start, end)
    yield _as_export(empty, np.zeros(0, dtype=bool), further)
    names = sorted(site.fan_names if fan is None else (fan,))
    size = max(1, int(_FAN_DAYS_AT_ONCE * dt.timedelta(days=1) / (end - start))) if end > start else 1
    for place in range(0, len(names), size):
        # A stamp may be just after the time at which its reading counts, and is told by the reading after it.
        batch = store.read_readings(names[place : place + size], start - _STAMP_ROOM, end + _STAMP_ROOM)
        for name, frame in batch.groupby(FAN, sort=True):
            running, stamped = _running(site, str(name), frame), _stamped(frame)
            is_within = ((stamped[TIME] >= start) & (stamped[TIME] < end)).to_numpy()
            if is_within.all():
                yield _as_export(stamped, running, further)
            elif is_within.any():
                yield _as_export(stamped[is_within], running[is_within], further)


def _stamped(frame: pd.DataFrame) -> pd.DataFrame:
    stamps = as_exported(in_microseconds(frame[TIME])).astype("datetime64[us]")
    return frame.assign(**{TIME: pd.DatetimeIndex(stamps).tz_localize("UTC")})


def _whole_span(store: Store) -> tuple[dt.datetime, dt.datetime]:
    span = store.reading_span()
    return (span[0], span[1] + PAST_SPAN) if span else _FOREVER


def export_intake(store: Store) -> pd.DataFrame:
    """Return the intake ledger, one row a file and pass."""
    query = (
        sa.select(*(intake.c[name] for name in INTAKE_COLUMNS))
        .select_from(intake.join(passes).join(generations))
        .where(passes.c.state == "done", generations.c.state != "building")
        .order_by(intake.c.id)
    )
    with store.reader() as connection:
        frame = pd.DataFrame(connection.execute(query).all(), columns=list(INTAKE_COLUMNS))
    frame["pulled_at"] = iso_utc(pd.to_datetime(frame["pulled_at"], utc=True))
    return frame


def iso_utc(times: "pd.Series[pd.Timestamp]") -> "pd.Series[str]":
    """Write UTC times as ISO 8601 with Z, each with a fraction only where it has one."""
    naive = times.dt.tz_localize(None).to_numpy().astype("datetime64[us]")
    texts = _written(naive.astype("datetime64[s]"))
    has_fraction = naive != naive.astype("datetime64[s]")
    if has_fraction.any():  # rare: whole seconds are not written twice
        texts = pc.replace_with_mask(texts, pa.array(has_fraction), _written(naive[has_fraction]))
    dates, clocks = pc.utf8_slice_codeunits(texts, 0, 10), pc.utf8_slice_codeunits(texts, 11)
    told: pd.Series[str] = pc.binary_join_element_wise(dates, "T", clocks, "Z", "").to_pandas()
    return told.set_axis(times.index)


def _written(naive: NDArray[np.datetime64]) -> pa.Array:
    """Write times with all the digits of their unit."""
    return pa.array(naive).cast(pa.string())


def _further_roles(site: SiteFolder) -> list[Role]:
    mapped = {role for epoch in site.fans for role in epoch.points}
    return [role for role in _FURTHER if role in mapped]


def _as_export(frame: pd.DataFrame, running: NDArray[np.bool_], further: list[Role]) -> pd.DataFrame:
    columns = {FAN: frame[FAN], "time_utc": iso_utc(frame[TIME])}
    for name in _FIRST_COLUMNS:
        columns[name] = frame["power_w"] / 1000.0 if name == "power_kw" else frame[name]
    columns["running"] = pd.Series(running.astype(int), index=frame.index)
    for role in further:
        columns[ROLE_COLUMNS[role]] = frame[ROLE_COLUMNS[role]]
    return pd.DataFrame(columns)


def _running(site: SiteFolder, fan: str, frame: pd.DataFrame) -> NDArray[np.bool_]:
    """Decide running epoch by epoch: what the machine is may change between them."""
    result = np.zeros(len(frame), dtype=bool)
    times = in_microseconds(frame[TIME])
    clock = Clock(site.site.zone)
    for epoch in site.epochs(fan):
        start = 0 if epoch.valid_from is None else np.searchsorted(times, clock.midnight_us(epoch.valid_from))
        speed, current, power, status = (
            frame[name].to_numpy(dtype=np.float64)[start:] for name in _RUNNING_INPUTS
        )
        pressure, airflow, motor, wheel = (
            frame[name].to_numpy(dtype=np.float64)[start:] for name in _MOVING_INPUTS
        )
        is_moving = seen_moving(pressure, airflow, motor, wheel, epoch.machine)
        result[start:] = is_running(speed, current, power, status, epoch.machine, is_moving)
    return result
