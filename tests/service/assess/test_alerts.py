"""Alerts against the exported rows: the limit rule written a second time, from the agreement's words."""

import datetime as dt
from dataclasses import dataclass

import pandas as pd
import pytest

from tests.service.assess.conftest import LOST, LOST_DAY, SLIPPING, Plant, schedule
from tests.service.conftest import Run

HOLD, BELOW_HALF = 3, 10
COLUMN = {"belt_slip": "slip_ref_pct", "drive_loss": "drag_ref_pct"}


@dataclass
class Opened:
    opened_on: dt.date
    act_on: dt.date | None = None
    closed_on: dt.date | None = None


def by_the_rule(rows: pd.DataFrame, kind: str, watch: float, act: float) -> list[Opened]:
    """Find the alerts of one fan that no service closes."""
    judged = rows[
        ~rows["cause"].isin(["not_judged", "drive_lost"]) & ~rows["note"].str.contains("healthy period")
    ]
    alerts: list[Opened] = []
    past_watch = past_act = low = 0
    for date, value in zip(judged["date"], judged[COLUMN[kind]], strict=True):
        past_watch = past_watch + 1 if value > watch else 0
        past_act = past_act + 1 if value > act else 0
        low = low + 1 if value < watch / 2 else 0
        is_open = bool(alerts) and alerts[-1].closed_on is None
        if not is_open and past_watch >= HOLD:
            alerts.append(Opened(date))
            is_open = True
        if is_open and alerts[-1].act_on is None and past_act >= HOLD:
            alerts[-1].act_on = date
        if is_open and low >= BELOW_HALF:
            alerts[-1].closed_on = date
            past_watch = past_act = low = 0
    return alerts


@pytest.mark.parametrize("watch_pct", [0.5, 0.9, 1.0, 3.0])
def test_limit_alerts_are_those_the_rows_say(plant: Plant, watch_pct: float) -> None:
    # Limits among the healthy fans' own wander make many alerts open and close.
    cells = {"slip_watch_pct": str(watch_pct), "drive_loss_rise_watch_pct": str(0.05 * watch_pct)}
    cells["drive_loss_rise_act_pct"] = str(0.1 * watch_pct)
    every = {"SF_1": cells, "EF_2": cells, "RF_3": cells}
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, **every))
    plant.assess()
    daily, alerts = plant.daily(), plant.alerts()
    limits = {
        "belt_slip": (watch_pct, 5.0),
        "drive_loss": (0.05 * watch_pct, 0.1 * watch_pct),
    }
    count = 0
    for fan, rows in daily.groupby("fan"):
        for kind, (watch, act) in limits.items():
            found = alerts[(alerts["fan"] == fan) & (alerts["kind"] == kind)]
            wanted = by_the_rule(rows, kind, watch, act)
            told = [
                Opened(
                    row.opened_on,
                    row.act_on if pd.notna(row.act_on) else None,
                    row.closed_on if pd.notna(row.closed_on) else None,
                )
                for row in found.itertuples()
            ]
            assert told == wanted
            assert (found["level"] == ["watch" if one.act_on is None else "act" for one in wanted]).all()
            assert set(found["closed_by"].dropna()) <= {"data"}
            count += len(wanted)
    assert count > 0


def test_opened_at_is_the_last_reading_used(whole: Plant) -> None:
    alert = whole.alerts(SLIPPING).iloc[0]
    # The plant day's last quarter of an hour, on the clock of New York in winter.
    expected = whole.midnight(alert["opened_on"] + dt.timedelta(days=1)) - dt.timedelta(minutes=15)
    assert alert["opened_at"] == f"{expected:%Y-%m-%dT%H:%M:%SZ}"


def test_a_log_alone_does_not_close_a_lost_drive(plant: Plant) -> None:
    plant.log(f"{LOST},{LOST_DAY + dt.timedelta(days=1)},09:00,belt_replaced")
    plant.assess()
    # The belt was not replaced in truth: the drive stays lost and the alert open, whatever the log says.
    alert = plant.alerts(LOST).iloc[0]
    assert alert["kind"] == "drive_lost"
    assert pd.isna(alert["closed_on"])


def test_the_message_says_what_was_found(whole: Plant) -> None:
    for message in whole.alerts()["message"]:
        assert message.endswith(".")
        assert len(message) < 200


def test_the_command_says_how_many_are_open_and_where_to_go_on(run: Run, plant: Plant) -> None:
    count = int(plant.alerts()["closed_on"].isna().sum())
    assert count > 1
    code, out, err = run("assess", plant.folder)
    assert (code, out) == (0, "0 of 3 fans brought up to date.\n")
    assert f"{count} alerts are open: slipledger alert {plant.folder}" in err
