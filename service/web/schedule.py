"""A fan's row of the equipment schedule, as an engineer reads it."""

from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import Role
from config.epoch import FanEpoch
from config.site import Units
from config.units import AIRFLOW, INCH_M, PRESSURE

_KILO: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact with its name; blank where the schedule does not say."""

    name: str
    value: str


def schedule(epoch: FanEpoch, units: Units) -> tuple[tuple[str, tuple[Fact, ...]], ...]:
    """Return the facts by group, in the units of the site's trends."""
    groups = (
        ("Fan", _fan(epoch, units)),
        ("Drive", _drive(epoch)),
        ("Motor", _motor(epoch)),
        ("Points", _points(epoch)),
        ("Limits", _limits(epoch)),
    )
    return tuple((name, tuple(fact for fact in facts if fact.value)) for name, facts in groups)


def _words(value: str) -> str:
    return value.replace("_", " ")


def _number(value: float | None, unit: str, digits: int = 0) -> str:
    return "" if value is None else f"{value:,.{digits}f} {unit}"


def _fan(epoch: FanEpoch, units: Units) -> list[Fact]:
    machine = epoch.machine
    airflow, pressure = machine.design_airflow_m3s, machine.design_pressure_pa
    if airflow is not None:
        airflow = airflow / AIRFLOW[units.airflow].scale
    if pressure is not None:
        pressure = pressure / PRESSURE[units.pressure].scale
    return [
        Fact("type", _words(machine.fan_type.value)),
        Fact("duty", machine.duty.value),
        Fact("criticality", _words(epoch.criticality.value)),
        Fact("design airflow", _number(airflow, units.airflow, 0 if units.airflow != "m3/s" else 2)),
        Fact("design pressure", _number(pressure, units.pressure, 2 if units.pressure != "Pa" else 0)),
        Fact("design speed", _number(machine.design_wheel_rpm, "rpm")),
        Fact("most speed", _number(epoch.wheel_max_rpm, "rpm")),
        Fact("pressure measured", _words(machine.pressure_location.value)),
        Fact("airflow reported", f"as {machine.airflow_basis.value} volume"),
    ]


def _drive(epoch: FanEpoch) -> list[Fact]:
    machine = epoch.machine
    belts = "" if epoch.belt_count is None else f"{epoch.belt_count} × "
    belt = f"{belts}{epoch.belt_length or epoch.belt_section or ''}".strip(" ×")
    lubrication = "" if epoch.bearing_lubrication is None else epoch.bearing_lubrication.value
    bearing = ", ".join(part for part in (epoch.bearing_type or "", lubrication) if part)
    return [
        Fact("drive", _words(machine.drive.value)),
        Fact("motor sheave, pitch", _sheave(machine.motor_sheave_m)),
        Fact("fan sheave, pitch", _sheave(machine.wheel_sheave_m)),
        Fact("sheave adjustable", _yes_no(epoch.is_sheave_adjustable)),
        Fact("belts", belt),
        Fact("tensioner", epoch.belt_tensioner or ""),
        Fact(
            "centre distance",
            _number(None if epoch.centre_distance_m is None else _KILO * epoch.centre_distance_m, "mm"),
        ),
        Fact("bearings", bearing),
        Fact("bearing bore", _number(epoch.bearing_bore_mm, "mm")),
    ]


def _sheave(pitch_m: float | None) -> str:
    return "" if pitch_m is None else f"{_KILO * pitch_m:.0f} mm ({pitch_m / INCH_M:.2f} in)"


def _yes_no(value: bool | None) -> str:
    return {None: "", True: "yes", False: "no"}[value]


def _motor(epoch: FanEpoch) -> list[Fact]:
    machine = epoch.machine
    count = f"{machine.motor_count} × " if machine.motor_count > 1 else ""
    efficiency, factor = machine.motor_efficiency, machine.motor_power_factor
    return [
        Fact("rated output", f"{count}{machine.motor_rated_power_w / _KILO:.1f} kW"),
        Fact("type", _words(machine.motor_type.value)),
        Fact("rated current", _number(machine.motor_rated_current_a, "A", 1)),
        Fact("no-load current", _number(machine.motor_no_load_current_a, "A", 1)),
        Fact("rated speed", _number(machine.motor_rpm, "rpm")),
        Fact("base frequency", _number(machine.motor_hz, "Hz")),
        Fact("volts", _number(machine.motor_volts, "V")),
        Fact("efficiency", "" if efficiency is None else f"{100 * efficiency:.1f} %"),
        Fact("power factor", "" if factor is None else f"{factor:.2f}"),
        Fact("speed control", _words(machine.speed_control.value)),
    ]


def _points(epoch: FanEpoch) -> list[Fact]:
    return [Fact(_words(role.value), epoch.points.get(role, "")) for role in Role]


def _limits(epoch: FanEpoch) -> list[Fact]:
    limits = epoch.limits
    return [
        Fact("slip, watch and act", f"{limits.slip_watch_pct:g} and {limits.slip_act_pct:g} %"),
        Fact(
            "drive loss rise, watch and act",
            f"{limits.drive_loss_rise_watch_pct:g} and {limits.drive_loss_rise_act_pct:g} %",
        ),
        Fact("judged days in a row", str(limits.hold_days)),
    ]
