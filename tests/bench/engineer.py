"""The script an engineer would write for the same question: read, resample, Huber fit, daily residual.

It is what the assessment is measured against, so it is written as such a script is: batches of fans, no
state, no intervals, one number a fan and day.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from deltalake import DeltaTable
from sklearn.linear_model import HuberRegressor
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import PolynomialFeatures, StandardScaler

_COLUMNS: Final = ["fan", "time", "speed_fraction", "current_a", "airflow_m3s", "pressure_pa"]
_FANS_AT_ONCE: Final = 50
_RUNNING: Final = 0.15
_STEADY: Final = 0.1


def daily_residuals(
    readings: Path, fans: list[str], zone: ZoneInfo, healthy_to: pd.Timestamp
) -> Iterator[pd.DataFrame]:
    """Yield a fan's daily residuals of pressure and current against its healthy period's curves.

    Parameters: `readings`, the Delta table; `healthy_to`, the local end of the healthy period.
    """
    files = DeltaTable(str(readings)).file_uris()
    for start in range(0, len(fans), _FANS_AT_ONCE):
        batch = fans[start : start + _FANS_AT_ONCE]
        frame = pd.read_parquet(files, columns=_COLUMNS, filters=[("fan", "in", batch)])
        for fan, rows in frame.groupby("fan"):
            yield _of_fan(rows, zone, healthy_to).assign(fan=fan)


def _of_fan(rows: pd.DataFrame, zone: ZoneInfo, healthy_to: pd.Timestamp) -> pd.DataFrame:
    local = rows.drop(columns="fan").set_index("time").sort_index().tz_convert(zone)
    hourly = local.resample("1h").agg(["mean", "std"])
    mean = hourly.xs("mean", axis=1, level=1)
    scatter = hourly["speed_fraction"]["std"]
    speed = mean["speed_fraction"]
    steady = mean[(speed > _RUNNING) & (scatter < _STEADY * speed)].dropna()
    flow = steady["airflow_m3s"] / steady["speed_fraction"]
    features = np.column_stack([flow, np.log(steady["speed_fraction"])])
    measured = {
        "pressure": np.log(steady["pressure_pa"].clip(lower=1.0) / steady["speed_fraction"] ** 2),
        "current": np.log(steady["current_a"].clip(lower=0.1)),
    }
    is_healthy = (steady.index < healthy_to).nonzero()[0]
    missed = {}
    for name, value in measured.items():
        curve = make_pipeline(PolynomialFeatures(2), StandardScaler(), HuberRegressor(max_iter=1000))
        curve.fit(features[is_healthy], value.iloc[is_healthy])
        missed[name] = value - curve.predict(features)
    return pd.DataFrame(missed).resample("1D").median().dropna()
