"""Fans drawn for the accuracy runs, each with its planted cause, and what their sites would log of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.machine import Machine
from analytics.operating_points import operating_points
from analytics.vocabulary import (
    AirflowBasis,
    CurrentAt,
    Drive,
    Duty,
    FanType,
    MotorType,
    PowerAt,
    PressureLocation,
    SpeedControl,
)
from demo_trends.draw import Choices, draw_fault, draw_plan
from demo_trends.faults import Fault
from demo_trends.plan import FanPlan
from demo_trends.schedule import schedule_row
from demo_trends.simulator import Trends, simulate
from demo_trends.truth import daily

HEALTHY_DAYS = 35
FAULT_DAY = 45.0
LOAD_ROLES = ("current", "power", "torque")
LOAD_ODDS = (0.6, 0.25, 0.15)
SLIPPING_DRIVES = ("v_belt", "cogged_belt", "flat_belt")
SLIPPING_ODDS = (0.65, 0.27, 0.08)
QUIET = "none"
SENSOR_KINDS = ("airflow_gain", "airflow_zero", "pressure_gain", "pressure_zero", "load_gain")
BELT_SLIP, STEP, RAMP, SLIP_AND_DRIFT = "slip", "step of 3", "ramp of 0.05", "slip and drift"
NARROW, SLIPPING, DRIFTING = "narrow healthy", "slipping healthy", "drifting healthy"
ODD_HEALTHY = (NARROW, SLIPPING, DRIFTING)
INTERVALS_MINUTES = (1, 5, 15, 60)
INTERVAL_ODDS = (0.05, 0.35, 0.40, 0.20)
UNMODELLED_SHARE = 0.3
CAUSES = (
    QUIET,
    BELT_SLIP,
    "drag",
    "ratio",
    "wheel",
    *SENSOR_KINDS,
    "speed_scale",
    "path",
    SLIP_AND_DRIFT,
    *ODD_HEALTHY,
)
DAYS = {QUIET: 135, STEP: 60, RAMP: 115}
DAYS_WITH_FAULT = int(FAULT_DAY) + 90


@dataclass(frozen=True, slots=True)
class DrawnFan:
    """One drawn fan as the inference meets it, with the truth beside it.

    `hours` are its operating points, `day` their plant days from the first; `truth` has a row a day with the
    columns of `demo_trends.truth.daily`, by plant day.
    """

    plan: FanPlan
    machine: Machine
    hours: pd.DataFrame
    day: np.ndarray
    days: int
    truth: pd.DataFrame
    facts: dict[str, str | float]


def draw_fan(
    seed: int, index: int, cause: str, interval_minutes: int | None = None, days: int | None = None
) -> DrawnFan:
    """Draw and run the fan of this number in a class; the same arguments give the same fan.

    The logging interval is drawn too unless it is given.
    """
    rng = np.random.default_rng([seed, index, *cause.encode()])
    load = str(rng.choice(np.array(LOAD_ROLES), p=LOAD_ODDS))
    has_temperature = bool(rng.random() < 0.85)
    has_barometer = bool(rng.random() < 0.3)
    roles = ("speed", load, "airflow", "pressure", *(("air_temperature",) if has_temperature else ()))
    needs_belt = cause in (BELT_SLIP, STEP, RAMP, SLIP_AND_DRIFT, *ODD_HEALTHY)
    drive = str(rng.choice(np.array(SLIPPING_DRIVES), p=SLIPPING_ODDS)) if needs_belt else None
    if cause == "ratio":
        # A direct drive has no ratio to change.
        drive = str(rng.choice(np.array((*SLIPPING_DRIVES, "synchronous_belt"))))
    location = None
    if cause == "path":
        location = str(rng.choice(np.array(["duct", "near"])))
    # A thermal station has no differential pressure whose zero could be off.
    airflow_kind = "dp" if cause == "airflow_zero" else None
    # A stream of its own, so that a new circumstance does not draw other fans.
    around = np.random.default_rng([seed, index, *cause.encode(), 1])
    drawn_minutes = int(around.choice(np.array(INTERVALS_MINUTES), p=INTERVAL_ODDS))
    choices = Choices(
        drive=drive,
        pressure_location=location,
        roles=roles,
        airflow_kind=airflow_kind,
        faults=_faults(rng, cause, load),
        use="always" if cause in (STEP, RAMP) and rng.random() < 0.2 else None,
        is_narrow=cause == NARROW,
        unmodelled=1.0 if around.random() < UNMODELLED_SHARE else 0.0,
    )
    plan = draw_plan(rng, f"{cause} {index}", choices)
    start = f"2025-{int(rng.integers(1, 13)):02d}-01"
    run_days = DAYS.get(cause, DAYS_WITH_FAULT) if days is None else days
    minutes = drawn_minutes if interval_minutes is None else interval_minutes
    trends = simulate(plan, start, run_days, minutes, seed=int(rng.integers(1 << 30)))
    facts: dict[str, str | float] = {
        "interval": f"{minutes} min",
        "economiser": "swings" if plan.duct.economiser_swing > 0.0 else "none",
        "unmodelled": "some" if choices.unmodelled else "none",
    }
    return _drawn(trends, run_days, has_barometer, cause, load, facts)


def _faults(rng: np.random.Generator, cause: str, load: str) -> tuple[Fault, ...]:
    if cause == QUIET:
        return ()
    if cause == STEP:
        return (Fault("slip", FAULT_DAY, 0.03, "step"),)
    if cause == RAMP:
        return (Fault("slip", FAULT_DAY, 0.05, "ramp", 100.0),)
    if cause == SLIP_AND_DRIFT:
        drifting = str(rng.choice(np.array(["airflow_gain", "pressure_gain", f"{load}_gain"])))
        mild = Fault(drifting, FAULT_DAY - 5.0, float(rng.choice([-1, 1]) * rng.uniform(0.03, 0.08)), "ramp")
        return (draw_fault(rng, "slip", FAULT_DAY), mild)
    if cause in ODD_HEALTHY:
        return (*_in_healthy_period(rng, cause), draw_fault(rng, "slip", FAULT_DAY))
    kind = f"{load}_gain" if cause == "load_gain" else cause
    return (draw_fault(rng, kind, FAULT_DAY),)


def _in_healthy_period(rng: np.random.Generator, cause: str) -> tuple[Fault, ...]:
    """What is wrong from the start: a belt that slips, or a sensor that drifts while it is learned."""
    if cause == SLIPPING:
        return (Fault("slip", -1.0, float(rng.uniform(0.01, 0.03)), "step"),)
    if cause == DRIFTING:
        kind = str(rng.choice(np.array(["airflow_gain", "pressure_gain"])))
        return (Fault(kind, 0.0, float(rng.choice([-1, 1]) * rng.uniform(0.02, 0.05)), "ramp", 35.0),)
    return ()


def _drawn(
    trends: Trends,
    days: int,
    has_barometer: bool,
    cause: str,
    load: str,
    circumstances: dict[str, str | float],
) -> DrawnFan:
    plan = trends.plan
    readings = trends.readings.dropna(how="all").rename_axis("time").reset_index()
    machine = machine_of(plan)
    hours = operating_points(readings, machine)
    if has_barometer:
        sky = pd.Series(trends.weather.barometer_pa, index=trends.weather.time).resample("1h").mean()
        hours["barometric_pressure_pa"] = sky.reindex(pd.DatetimeIndex(hours["time"])).to_numpy()
    first = pd.DatetimeIndex(trends.readings.index)[0].tz_convert(plan.site.zone).tz_localize(None)
    local = pd.DatetimeIndex(hours["time"]).tz_convert(plan.site.zone).tz_localize(None)
    truth = daily(trends.truth, plan.site.zone)
    truth.index = pd.Index([(pd.Timestamp(date) - first.normalize()).days for date in truth.index])
    facts: dict[str, str | float] = {
        "fan": plan.name,
        "cause": cause,
        "load": load,
        "flux": plan.motor.flux_law if plan.motor.kind == "induction" else plan.motor.kind,
        "fan_type": plan.wheel.fan_type,
        "drive": plan.drive,
        "control": plan.control.kind,
        "location": plan.pressure_location,
        "barometer": "barometer" if has_barometer else "no barometer",
        "temperature": "temperature" if "air_temperature" in plan.sensors else "no temperature",
        "belt_law": plan.belt.law.shape if plan.belt.law is not None else "none",
        **circumstances,
        "fault": " ".join(f"{f.kind} {f.size:+.3f} {f.shape}" for f in plan.faults),
    }
    return DrawnFan(
        plan, machine, hours, (local.normalize() - first.normalize()).days.to_numpy(), days, truth, facts
    )


def machine_of(plan: FanPlan) -> Machine:
    """What fans.csv would say of this fan, with the nameplate's rounding."""
    row = schedule_row(plan, {role: role for role in plan.sensors}, is_metric=True)
    no_load = row.get("motor_no_load_a")
    return Machine(
        drive=Drive(plan.drive),
        motor_rated_power_w=1000.0 * float(row["motor_kw"]),
        duty=Duty(plan.duty),
        fan_type=FanType(plan.wheel.fan_type),
        motor_type=MotorType(row["motor_type"]),
        motor_volts=float(row["motor_volts"]),
        motor_rated_current_a=float(row["motor_fla"]),
        motor_rpm=float(row["motor_rpm"]),
        motor_hz=float(row["motor_hz"]),
        motor_power_factor=float(row["motor_pf"]),
        motor_efficiency=float(row["motor_efficiency"]),
        motor_no_load_current_a=None if no_load is None else float(no_load),
        speed_control=SpeedControl(row["speed_control"]),
        is_slip_compensated=row["slip_compensation"] == "yes",
        pressure_location=PressureLocation(row["pressure_location"] or "duct"),
        airflow_basis=AirflowBasis(row["airflow_basis"] or "actual"),
        current_at=CurrentAt(row["current_at"] or "motor"),
        power_at=PowerAt(row["power_at"] or "line"),
        altitude_m=plan.site.climate.altitude_m,
    )


def draw_class(
    seed: int, cause: str, numbers: Sequence[int], days: int | None = None, minutes: int | None = None
) -> list[DrawnFan]:
    """Draw several fans of one class, logged so often where `minutes` says so."""
    return [draw_fan(seed, number, cause, minutes, days) for number in numbers]
