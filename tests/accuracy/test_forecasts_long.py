"""Drifts planted in drawn fans: noticed before the limit, forecast with a span that holds what it says."""

import numpy as np
import pandas as pd
import pytest

from analytics.drift import SLACK, forecast
from analytics.episodes import MOST_INNOVATION, notice_threshold
from tests.accuracy.drawing import FAULT_DAY, QUIET, RAMP
from tests.accuracy.running import judge_classes

LIMIT_PCT = 3.0
FORECASTS = 20
ALLOWED_A_YEAR = 0.1
pytestmark = [pytest.mark.long, pytest.mark.timeout(7200)]


@pytest.fixture(scope="module")
def drifts() -> pd.DataFrame:
    return judge_classes(11, (RAMP,), 45)


def noticed_on(fan: pd.DataFrame) -> float:
    threshold, total = notice_threshold(ALLOWED_A_YEAR), 0.0
    for day, innovation in zip(fan["day"], fan["slip_innovation"], strict=True):
        total = max(0.0, total + min(float(np.nan_to_num(innovation)), MOST_INNOVATION) - SLACK)
        if total >= threshold:
            return float(day)
    return np.inf


def test_of_twenty_planted_drifts_the_span_holds_thirteen_to_nineteen(drifts: pd.DataFrame) -> None:
    held = []
    for _, fan in drifts[drifts["refused"] == ""].groupby("fan"):
        rows = fan.sort_values("day")
        past = rows.loc[rows["true_slip_ref_pct"] >= LIMIT_PCT, "day"]
        if past.empty:
            continue
        crossing = float(past.iloc[0])
        seen = rows[rows["day"] <= FAULT_DAY + 0.65 * (crossing - FAULT_DAY)]
        found = forecast(seen["day"].to_numpy(float), seen["slip_alone_pct"].to_numpy(float), LIMIT_PCT)
        if found is not None:
            left = crossing - float(seen["day"].iloc[-1])
            held.append(found.earliest_days <= left <= found.latest_days)
    assert len(held) >= FORECASTS
    assert 13 <= sum(held[:FORECASTS]) <= 19


def test_most_drifts_are_noticed_below_the_limit(drifts: pd.DataFrame) -> None:
    sooner = []
    for _, fan in drifts[drifts["refused"] == ""].groupby("fan"):
        rows = fan.sort_values("day")
        past = rows.loc[rows["slip_ref_pct"] > LIMIT_PCT, "day"]
        sooner.append(noticed_on(rows) < (past.iloc[0] if len(past) else np.inf))
    assert np.mean(sooner) > 0.6


def test_quiet_fans_have_no_forecast_and_hardly_a_drift() -> None:
    quiet = judge_classes(11, (QUIET,), 20)
    quiet = quiet[quiet["refused"] == ""]
    told = alarms = 0
    for _, fan in quiet.groupby("fan"):
        rows = fan.sort_values("day")
        alarms += np.isfinite(noticed_on(rows))
        values = rows["day"].to_numpy(float), rows["slip_alone_pct"].to_numpy(float)
        ends = range(20, len(rows), 10)
        told += sum(forecast(values[0][:end], values[1][:end], LIMIT_PCT) is not None for end in ends)
    assert told <= 0.02 * len(quiet) / 10.0 + 1
    # Of 5.5 quiet fan-years, one alarm is twice what is allowed and happens by chance in four of ten runs.
    assert alarms <= 1
