"""Healthy curves: planted fans, a published rating table and a digitised fan with slip imposed on them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.between_days import predict
from analytics.curves import HealthyCurves, TooLittleHealthyDataError, fit_curves
from analytics.machine import Machine
from analytics.mixtures import held_weights
from analytics.model import CAUSES, INDEX, Operating, Parameter, expect
from analytics.scaled_hours import ScaledHours
from analytics.slip_law import slip_above_creep
from analytics.state import DayZeros, start, update
from analytics.vocabulary import Drive, FanType, PressureLocation
from analytics.watch import watch
from tests.analytics.planted import (
    CHANNELS,
    MACHINE,
    PLANT,
    SLOPES,
    planted_curves,
    planted_operating,
    planted_theta,
    scaled,
)

DATA = Path(__file__).parent / "data"


@pytest.mark.parametrize("airflow_noise", [0.0, 0.015, 0.03])
def test_slopes_come_back_however_noisy_the_airflow_is(airflow_noise: float) -> None:
    curves = planted_curves(airflow_noise=airflow_noise)
    for name, value in SLOPES.items():
        assert curves.mean[INDEX[name]] == pytest.approx(value, abs=0.15)


def test_a_narrow_healthy_period_rests_on_the_fan_type() -> None:
    # x within two per cent: the data alone would give slopes of the noise.
    rng = np.random.default_rng(8)
    hours = planted_operating(planted_theta(), 300, seed=4, airflow_noise=0.0)
    narrow = Operating(
        hours.speed,
        hours.speed * np.exp(0.01 * rng.normal(size=hours.speed.shape)),
        hours.density,
        hours.pressure,
        hours.load,
        hours.is_used,
    )
    true = _read_again(narrow, rng)
    curves = fit_curves(scaled(true), np.arange(300) // 10, MACHINE, CHANNELS)
    assert -1.6 < curves.mean[INDEX[Parameter.PRESSURE_SLOPE]] < -0.4
    assert -0.1 < curves.mean[INDEX[Parameter.TORQUE_SLOPE]] < 0.7


def _read_again(hours: Operating, rng: np.random.Generator) -> Operating:
    true = expect(planted_theta(), PLANT, hours)
    shape = hours.speed.shape
    return Operating(
        hours.speed,
        hours.airflow * np.exp(0.025 * rng.normal(size=shape)),
        hours.density,
        true.pressure * (1.0 + 0.01 * rng.normal(size=shape)),
        true.load * (1.0 + 0.01 * rng.normal(size=shape)),
        hours.is_used,
    )


def test_an_exhaust_fan_keeps_its_sign() -> None:
    hours = scaled(planted_operating(planted_theta(), 240, seed=2))
    negative = ScaledHours(
        *(
            -hours.pressure_pa if name == "pressure_pa" else getattr(hours, name)
            for name in ScaledHours.__slots__
        )
    )
    day = np.arange(240) // 12
    ours, theirs = (fit_curves(h, day, MACHINE, CHANNELS) for h in (hours, negative))
    assert theirs.pressure_sign == -1.0
    assert theirs.mean == pytest.approx(ours.mean, abs=1e-9)


def test_curves_do_not_know_the_unit_of_flow_and_pressure() -> None:
    hours = scaled(planted_operating(planted_theta(), 240, seed=3))
    larger = ScaledHours(
        *(
            getattr(hours, name) * {"airflow_m3s": 7.0, "pressure_pa": 0.25}.get(name, 1)
            if name != "is_steady"
            else hours.is_steady
            for name in ScaledHours.__slots__
        )
    )
    day = np.arange(240) // 12
    ours, theirs = (fit_curves(h, day, MACHINE, CHANNELS) for h in (hours, larger))
    assert theirs.mean == pytest.approx(ours.mean, rel=1e-6, abs=1e-7)
    assert theirs.airflow_scale_m3s == pytest.approx(7.0 * ours.airflow_scale_m3s)
    assert theirs.pressure_scale_pa == pytest.approx(0.25 * ours.pressure_scale_pa)


def test_too_few_hours_are_refused_with_their_number() -> None:
    hours = scaled(planted_operating(planted_theta(), 12, seed=1))
    with pytest.raises(TooLittleHealthyDataError, match="12 steady hours"):
        fit_curves(hours, np.zeros(12), MACHINE, CHANNELS)


def _days_of(table: pd.DataFrame, rated_w: float, days: int, slip: float, seed: int) -> ScaledHours:
    """Rows of a table as hours of a fan whose belt slips with the cube of its torque, `slip` at the most."""
    rng = np.random.default_rng(seed)
    rows = table.iloc[np.concatenate([rng.permutation(len(table)) for _ in range(days)])]
    count = len(rows)
    top = float(table["speed_rpm"].max())
    torque = rows["shaft_w"].to_numpy() / (rated_w * rows["speed_rpm"].to_numpy() / top * 0.9)
    slipping = slip * np.power(torque / torque.max(), 3.0)
    speed = rows["speed_rpm"].to_numpy() / top / (1.0 - slipping) * 0.9
    nothing = np.full(count, np.nan)
    return ScaledHours(
        speed,
        rows["airflow_m3s"].to_numpy() * (1.0 + 0.015 * rng.normal(size=count)),
        np.ones(count),
        rows["static_pa"].to_numpy() * (1.0 + 0.01 * rng.normal(size=count)),
        torque * (1.0 + 0.01 * rng.normal(size=count)),
        np.ones(count, dtype=bool),
        nothing,
        nothing,
        nothing,
    )


def _found_slip(curves: HealthyCurves, machine: Machine, hours: ScaledHours, a_day: int) -> float:
    state, constants = start(curves, machine), watch(curves, machine)
    for first in range(0, len(hours.speed) - a_day + 1, a_day):
        part = slice(first, first + a_day)
        one = Operating(
            hours.speed[part][None],
            hours.airflow_m3s[part][None] / curves.airflow_scale_m3s,
            hours.density[part][None],
            hours.pressure_pa[part][None] / curves.pressure_scale_pa,
            hours.load[part][None],
            np.ones((1, a_day), dtype=bool),
        )
        state = predict(state, constants, np.array([1.0]))
        state, reading = update(state, constants, one, DayZeros(*np.full((4, 1), np.nan)))
    weight = held_weights(state, constants.beliefs)[0]
    slip, steepness = state.mean[0, :, CAUSES.index(Parameter.SLIP)], state.mean[0, :, len(CAUSES)]
    at_hours, _ = slip_above_creep(reading.load_ratio[0][None], slip[:, None], steepness[:, None])
    return float((weight * at_hours.mean(axis=1)).sum())


def _office_table() -> pd.DataFrame:
    # One speed is digitised; the fan laws give the others. Where fans are selected, as in the rating table:
    # not by free delivery, where a reading's error is as large as the pressure left.
    base = pd.read_csv(DATA / "office_supply_fan_curve.csv").iloc[1:]
    base = base[base["static_pa"] > 0.3 * base["static_pa"].max()]
    grid = np.linspace(base["airflow_m3s"].min(), base["airflow_m3s"].max(), 9)
    parts = []
    for speed in (0.6, 0.75, 0.9, 1.0):
        part = pd.DataFrame({"airflow_m3s": grid * speed})
        part["static_pa"] = np.interp(grid, base["airflow_m3s"], base["static_pa"]) * speed**2
        part["shaft_w"] = np.interp(grid, base["airflow_m3s"], base["shaft_w"]) * speed**3
        part["speed_rpm"] = 1000.0 * speed
        parts.append(part)
    return pd.concat(parts)


def _rating_table() -> pd.DataFrame:
    # Where fans are selected: not beyond the steep end of the table.
    table = pd.read_csv(DATA / "fan_rating_table.csv")
    x = table["airflow_m3s"] / table["speed_rpm"]
    return table[(x > x.quantile(0.2)) & (x < x.quantile(0.9))]


@pytest.mark.parametrize("name", ["rating table", "office fan"])
@pytest.mark.parametrize("slip", [0.0, 0.06])
def test_slip_imposed_on_published_fans_comes_back(name: str, slip: float) -> None:
    # tests/analytics/data/README.md names both sources; the slip is ours, the fans are not.
    table = _rating_table() if name == "rating table" else _office_table()
    rated_w = float(table["shaft_w"].max())
    machine = Machine(
        drive=Drive.V_BELT,
        motor_rated_power_w=rated_w,
        fan_type=FanType.BACKWARD_INCLINED if name == "rating table" else FanType.UNKNOWN,
        pressure_location=PressureLocation.ACROSS_FAN,
        is_slip_compensated=True,
    )
    count = len(table)
    healthy = _days_of(table, rated_w, 20, 0.0, seed=1)
    curves = fit_curves(healthy, np.arange(len(healthy.speed)) // count, machine, CHANNELS)
    found = _found_slip(curves, machine, _days_of(table, rated_w, 10, slip, seed=2), min(count, 24))
    reference = np.power(healthy.load / healthy.load.max(), 3.0).mean()
    assert found == pytest.approx(slip * reference, abs=0.004 + 0.15 * slip)
