"""What a row of fans.csv means: a fan's machine, limits and points in SI, for as long as the row holds."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, ConfigDict

from analytics.machine import Limits, Machine
from analytics.vocabulary import BearingLubrication, Criticality, Role, SpeedSignal
from config.fans import FanRow
from config.motor import base_frequency_hz, synchronous_rpm
from config.site import Baseline, LimitsTable, Site
from config.units import AIRFLOW, INCH_M, POWER, PRESSURE, Factor, number_to_si, to_si


class PointUnit(BaseModel):
    """All that turns one point's written values into SI."""

    model_config = ConfigDict(frozen=True)

    role: Role
    unit: str
    full_scale: float | None = None
    motor_hz: float | None = None
    max_hz: float | None = None
    zero_hz: float = 0.0
    sync_rpm: float | None = None

    def to_si(self, values: ArrayLike) -> NDArray[np.float64]:
        """Convert written values to SI."""
        return to_si(
            self.role,
            self.unit,
            values,
            full_scale=self.full_scale,
            motor_hz=self.motor_hz,
            max_hz=self.max_hz,
            zero_hz=self.zero_hz,
            sync_rpm=self.sync_rpm,
        )


class FanEpoch(BaseModel):
    """A fan from one date on: where it is, what it is, what it is held against, what is trended."""

    model_config = ConfigDict(frozen=True)

    fan: str
    valid_from: dt.date | None
    row: int
    building: str | None
    location: str | None
    access: str | None
    serves: str | None
    criticality: Criticality
    round_order: float | None
    machine: Machine
    limits: Limits
    baseline: Baseline | None
    points: Mapping[Role, str]
    units: Mapping[Role, PointUnit]
    speed_unit: PointUnit  # of the speed point, and of speeds written in the service log
    wheel_max_rpm: float | None
    is_sheave_adjustable: bool | None
    belt_section: str | None
    belt_length: str | None
    belt_count: int | None
    belt_tensioner: str | None
    centre_distance_m: float | None
    bearing_bore_mm: float | None
    bearing_type: str | None
    bearing_lubrication: BearingLubrication | None
    motor_service_factor: float | None
    given: frozenset[str]  # the columns that are not blank in the row


def build_epoch(row: FanRow, line: int, given: frozenset[str], site: Site) -> FanEpoch:
    """Return the epoch that a row without a fault declares."""
    units = _units(row, site)
    own_limits = {name: value for name in LimitsTable.names() if (value := getattr(row, name)) is not None}
    return FanEpoch(
        fan=row.fan,
        valid_from=row.valid_from,
        row=line,
        building=row.building,
        location=row.location,
        access=row.access,
        serves=row.serves,
        criticality=row.criticality,
        round_order=row.round_order,
        machine=_machine(row, site, units[Role.SPEED]),
        limits=replace(site.limits, **own_limits),
        baseline=_baseline(row, site),
        points={role: point for role in Role if (point := row.point(role)) is not None},
        units={role: unit for role, unit in units.items() if row.point(role) is not None},
        speed_unit=units[Role.SPEED],
        wheel_max_rpm=row.fan_max_rpm,
        is_sheave_adjustable=row.sheave_adjustable,
        belt_section=row.belt_section,
        belt_length=row.belt_length,
        belt_count=row.belt_count,
        belt_tensioner=row.belt_tensioner,
        centre_distance_m=_length_m(row.centre_distance_mm, row.centre_distance_in),
        bearing_bore_mm=row.bearing_bore_mm,
        bearing_type=row.bearing_type,
        bearing_lubrication=row.bearing_lubrication,
        motor_service_factor=row.motor_service_factor,
        given=given,
    )


def _machine(row: FanRow, site: Site, speed: PointUnit) -> Machine:
    motor_hz, max_hz = _frequencies(row)
    airflows = {
        "cfm": row.design_airflow_cfm,
        "m3/s": row.design_airflow_m3s,
        "L/s": row.design_airflow_ls,
        "m3/h": row.design_airflow_m3h,
    }
    pressures = {"inwg": row.design_pressure_inwg, "Pa": row.design_pressure_pa}
    unsaid_signal = SpeedSignal.MOTOR_RPM if speed.unit == "rpm" else SpeedSignal.COMMAND
    return Machine(
        drive=row.drive,
        motor_rated_power_w=_rated_power_w(row),
        duty=row.duty,
        fan_type=row.fan_type,
        design_airflow_m3s=_first_in_si(AIRFLOW, airflows),
        design_pressure_pa=_first_in_si(PRESSURE, pressures),
        design_wheel_rpm=row.design_fan_rpm,
        motor_sheave_m=_length_m(row.motor_sheave_mm, row.motor_sheave_in),
        wheel_sheave_m=_length_m(row.fan_sheave_mm, row.fan_sheave_in),
        motor_type=row.motor_type,
        motor_count=row.motor_count,
        motor_volts=row.motor_volts,
        motor_rated_current_a=row.motor_fla,
        motor_rpm=row.motor_rpm,
        motor_hz=motor_hz,
        motor_power_factor=row.motor_pf,
        motor_efficiency=row.motor_efficiency,
        motor_no_load_current_a=row.motor_no_load_a,
        speed_control=row.speed_control,
        max_speed_fraction=max_hz / motor_hz,
        min_speed_fraction=None if row.min_hz is None else row.min_hz / motor_hz,
        is_slip_compensated=row.slip_compensation,
        speed_signal=row.speed_signal or unsaid_signal,
        pressure_location=row.pressure_location,
        airflow_basis=row.airflow_basis,
        current_at=row.current_at,
        power_at=row.power_at,
        altitude_m=site.altitude_m,
    )


def _frequencies(row: FanRow) -> tuple[float, float]:
    motor_hz = row.motor_hz or base_frequency_hz(row.motor_rpm, row.motor_volts)
    return motor_hz, row.max_hz or motor_hz


def speed_unit(row: FanRow, site: Site) -> PointUnit:
    """Return the unit of a row's speeds; raise CannotSay where what it rests on could not be read."""
    motor_hz, max_hz = _frequencies(row)
    sync_rpm = None
    if row.motor_rpm is not None:
        sync_rpm = synchronous_rpm(float(row.motor_rpm), motor_hz, row.motor_type)
    return PointUnit(
        role=Role.SPEED,
        unit=row.speed_unit or site.units.of(Role.SPEED),
        motor_hz=motor_hz,
        max_hz=max_hz,
        zero_hz=float(row.zero_hz),
        sync_rpm=sync_rpm,
    )


def _units(row: FanRow, site: Site) -> dict[Role, PointUnit]:
    units: dict[Role, PointUnit] = {}
    for role in Role:
        unit = row.unit(role) or site.units.of(role)
        full_scale = row.full_scale(role)
        if role is Role.CURRENT and unit == "percent" and full_scale is None:
            full_scale = None if row.motor_fla is None else row.motor_fla * row.motor_count
        units[role] = PointUnit(role=role, unit=unit, full_scale=full_scale)
    return {**units, Role.SPEED: speed_unit(row, site)}


def _baseline(row: FanRow, site: Site) -> Baseline | None:
    if row.baseline_from is None:
        return site.baseline
    return Baseline.model_validate({"from": row.baseline_from, "to": row.baseline_to})


def _rated_power_w(row: FanRow) -> float:
    power_w = _first_in_si(POWER, {"hp": row.motor_hp, "kW": row.motor_kw})
    assert power_w is not None, "a row without its motor's power is refused before"
    return power_w


def _first_in_si(factors: Mapping[str, Factor], written: Mapping[str, float | None]) -> float | None:
    for unit, value in written.items():
        if value is not None:
            return number_to_si(factors, unit, value)
    return None


def _length_m(millimetres: float | None, inches: float | None) -> float | None:
    if millimetres is not None:
        return millimetres / 1000.0
    return None if inches is None else inches * INCH_M
