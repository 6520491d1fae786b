"""Forecasts of the ledger: silent without a trend, begun again by work, the same when taken up again."""

import datetime as dt
from typing import Any

import numpy as np

from analytics.machine import Limits
from analytics.vocabulary import Cause, Work
from service.assess.trend import COLUMNS, Trend, fill_forecasts

FIRST = dt.date(2025, 3, 1)


def grown(days: int, a_day: float, noise: float = 0.1) -> Trend:
    rng = np.random.default_rng(3)
    trend = Trend()
    for day in range(days):
        slip = 1.0 + a_day * day + float(rng.normal(0.0, noise))
        trend.add(FIRST + dt.timedelta(days=day), slip, float(rng.normal(0.0, noise)))
    return trend


def told_of(trend: Trend, causes: list[Cause], *, can_slip: bool = True) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    trend.ask(row, Limits(), causes, can_slip=can_slip)
    fill_forecasts([trend])
    return row


def test_a_steady_rise_is_forecast_with_the_day_it_was_planted_to_reach_the_limit() -> None:
    told = told_of(grown(30, 0.04), [Cause.BELT_SLIP])
    crossing = FIRST + dt.timedelta(days=50)
    assert told["forecast_of"] == "slip"
    assert told["forecast_limit_pct"] == 3.0
    assert told["forecast_earliest"] < crossing < told["forecast_latest"]
    assert abs((told["forecast_on"] - crossing).days) <= 10


def test_without_a_trend_nothing_is_forecast() -> None:
    assert set(told_of(grown(40, 0.0), [Cause.BELT_SLIP]).values()) == {None}


def test_past_the_watch_limit_the_act_limit_is_the_next() -> None:
    told = told_of(grown(44, 0.06), [Cause.BELT_SLIP])
    assert told["forecast_limit_pct"] == 5.0


def test_a_drive_that_cannot_slip_has_no_forecast_of_slip() -> None:
    assert told_of(grown(30, 0.04), [Cause.BELT_SLIP], can_slip=False)["forecast_of"] is None


def test_work_on_the_belt_begins_the_trend_again() -> None:
    trend = grown(30, 0.04)
    trend.served(FIRST + dt.timedelta(days=25), [(Work.RETENSIONED, None)], can_slip=True)
    assert told_of(trend, [Cause.BELT_SLIP])["forecast_of"] is None


def test_greasing_leaves_the_trend_of_slip() -> None:
    trend = grown(30, 0.04)
    trend.served(FIRST + dt.timedelta(days=25), [(Work.GREASED, None)], can_slip=True)
    assert told_of(trend, [Cause.BELT_SLIP])["forecast_of"] == "slip"


def test_growth_that_the_day_gives_to_another_cause_is_not_forecast() -> None:
    rising = grown(30, 0.04)
    for other in ([Cause.DRAG], [Cause.AIR_PATH], [Cause.WHEEL, Cause.RATIO_CHANGE]):
        assert told_of(rising, other)["forecast_of"] is None
    for possible in ([Cause.NONE], [Cause.BELT_SLIP, Cause.AIR_PATH]):
        assert told_of(rising, possible)["forecast_of"] == "slip"


def test_drag_is_not_forecast_while_the_belt_slips() -> None:
    trend = Trend()
    rng = np.random.default_rng(4)
    for day in range(30):
        trend.add(FIRST + dt.timedelta(days=day), 1.0, 0.1 * day + float(rng.normal(0.0, 0.1)))
    assert told_of(trend, [Cause.BELT_SLIP])["forecast_of"] is None
    assert told_of(trend, [Cause.DRAG])["forecast_of"] == "drag"


def test_a_days_forecast_is_the_same_alone_and_among_others() -> None:
    together: list[dict[str, Any]] = []
    alone, trends = [], []
    for seed, days in ((1, 60), (2, 17), (3, 90)):
        rng = np.random.default_rng(seed)
        values = [1.0 + 0.04 * day + float(rng.normal(0.0, 0.1)) for day in range(days)]
        trend = Trend()
        for day, value in enumerate(values):
            date = FIRST + dt.timedelta(days=day)
            trend.add(date, value, 0.0)
            together.append(dict.fromkeys(COLUMNS))
            trend.ask(together[-1], Limits(), [Cause.BELT_SLIP], can_slip=True)
            # As it is taken up again: with the days of the last weeks and no more.
            later = Trend(trend.days[-46:])
            alone.append(told_of(later, [Cause.BELT_SLIP]))
        trends.append(trend)
    fill_forecasts(trends)
    assert together == alone
    assert any(row["forecast_of"] == "slip" for row in alone)
