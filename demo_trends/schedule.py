"""The rows of fans.csv that an engineer would keep about a simulated fan."""

from collections.abc import Mapping

from demo_trends.plan import FanPlan
from demo_trends.units import M3S_PER_CFM, PA_PER_INWG, W_PER_HP

MM_PER_INCH = 25.4

COLUMNS = (
    # which fan, where, for whom
    *("fan", "building", "location", "access", "serves", "duty", "criticality", "round_order"),
    # wheel
    *("fan_type", "design_airflow_cfm", "design_airflow_m3s", "design_pressure_inwg", "design_pressure_pa"),
    "design_fan_rpm",
    # drive and bearings
    *("drive", "motor_sheave_in", "fan_sheave_in", "motor_sheave_mm", "fan_sheave_mm", "sheave_adjustable"),
    *("belt_section", "belt_length", "belt_count", "belt_tensioner", "centre_distance_in"),
    *("bearing_bore_mm", "bearing_type", "bearing_lubrication"),
    # motor
    *("motor_type", "motor_hp", "motor_kw", "motor_volts", "motor_fla", "motor_rpm", "motor_hz", "motor_pf"),
    *("motor_efficiency", "motor_no_load_a"),
    # control and measuring
    *("speed_control", "max_hz", "min_hz", "slip_compensation", "speed_signal"),
    *("pressure_location", "airflow_basis", "current_at", "power_at"),
    # points and their units
    *("speed_point", "current_point", "power_point", "torque_point", "airflow_point", "pressure_point"),
    *("air_temperature_point", "run_status_point", "motor_speed_point", "wheel_speed_point"),
    "outdoor_air_damper_point",
    *("speed_unit", "current_unit", "power_unit", "torque_unit", "airflow_unit", "pressure_unit"),
    "air_temperature_unit",
)
"""Columns of fans.csv in their order; a column that is blank in every row is left out of the file."""


def schedule_row(plan: FanPlan, points: Mapping[str, str], *, is_metric: bool) -> dict[str, str]:
    """What the nameplates and drawings of this fan say, rounded as nameplates are; `points` is by role."""
    wheel, control = plan.wheel, plan.control
    row = {
        "fan": plan.name,
        "duty": plan.duty,
        "fan_type": wheel.fan_type,
        "design_fan_rpm": f"{wheel.design_rpm:.0f}",
        "drive": plan.drive,
        "speed_control": "vfd" if plan.motor.has_drive else "constant",
        "speed_signal": plan.speed_signal if plan.motor.has_drive and "speed" in points else "",
        "pressure_location": plan.pressure_location if "pressure" in points else "",
        "airflow_basis": _basis(plan) if "airflow" in points else "",
        "current_at": plan.current_at if "current" in points else "",
        "power_at": plan.power_at if "power" in points else "",
    }
    if is_metric:
        row["design_airflow_m3s"] = f"{wheel.design_airflow_m3s:.3f}"
        row["design_pressure_pa"] = f"{wheel.design_pressure_pa:.0f}"
    else:
        row["design_airflow_cfm"] = f"{wheel.design_airflow_m3s / M3S_PER_CFM:.0f}"
        row["design_pressure_inwg"] = f"{wheel.design_pressure_pa / PA_PER_INWG:.2f}"
    if plan.motor.has_drive:
        row["max_hz"] = f"{control.max_fraction * plan.motor.base_hz:.0f}"
        row["min_hz"] = f"{control.min_fraction * plan.motor.base_hz:.0f}"
    row |= _motor_columns(plan, is_metric=is_metric) | _sheave_columns(plan, is_metric=is_metric)
    for role, point in points.items():
        row[f"{role}_point"] = point
        if role in ("speed", "current", "power", "torque", "airflow", "pressure", "air_temperature"):
            row[f"{role}_unit"] = plan.sensors[role].unit
    return row


def _basis(plan: FanPlan) -> str:
    return "standard" if plan.sensors["airflow"].kind == "thermal" else "actual"


def _motor_columns(plan: FanPlan, *, is_metric: bool) -> dict[str, str]:
    """The nameplate: slip may be off by what the makers are allowed, the rest is rounded."""
    motor = plan.motor
    rated_slip = (motor.sync_rpm - motor.rated_rpm) * plan.nameplate_slip
    size = (
        {"motor_kw": f"{motor.rated_w / 1000:g}"}
        if is_metric
        else {"motor_hp": f"{motor.rated_w / W_PER_HP:.1f}"}
    )
    row = size | {
        "motor_type": motor.kind,
        "motor_volts": f"{motor.volts:.0f}",
        "motor_fla": f"{motor.rated_current_a:.1f}",
        "motor_rpm": f"{motor.sync_rpm - rated_slip:.0f}",
        "motor_hz": f"{motor.base_hz:.0f}",
        "motor_pf": f"{motor.rated_power_factor:.2f}",
        "motor_efficiency": f"{motor.rated_efficiency:.3f}",
        "slip_compensation": "yes" if motor.slip_compensation else "no",
    }
    if plan.is_no_load_measured:
        row["motor_no_load_a"] = f"{motor.no_load_current_a:.1f}"
    return row


def _sheave_columns(plan: FanPlan, *, is_metric: bool) -> dict[str, str]:
    """Pitch diameters: a usual motor sheave and the fan sheave that gives the ratio."""
    if plan.drive == "direct":
        return {}
    motor_in = 3.6 + 0.55 * (plan.motor.rated_w / 1000.0) ** 0.5
    fan_in = round(motor_in, 1) / plan.ratio
    if is_metric:
        return {
            "motor_sheave_mm": f"{round(motor_in, 1) * MM_PER_INCH:.0f}",
            "fan_sheave_mm": f"{fan_in * MM_PER_INCH:.0f}",
        }
    return {"motor_sheave_in": f"{motor_in:.1f}", "fan_sheave_in": f"{fan_in:.1f}"}
