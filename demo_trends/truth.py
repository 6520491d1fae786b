"""What was really so: slip, drag and loss at every step, against the healthy drive in the same air."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from demo_trends.arrays import Array, Mask
from demo_trends.ducts import Surroundings
from demo_trends.plan import FanPlan
from demo_trends.shafts import Drivetrain, standing_nm
from demo_trends.wheels import STANDARD_DENSITY

if TYPE_CHECKING:
    from demo_trends.simulator import Operation

RAD_S_PER_RPM = np.pi / 30


def tell_truth(
    plan: FanPlan,
    around: Surroundings,
    drive: Drivetrain,
    did: "Operation",
    *,
    is_healthy: Mask,
    reference: float,
) -> pd.DataFrame:
    """One row a step. Slips and losses are fractions, torques over rated torque.

    `_healthy` is the drive as it was in the healthy period (its mean tension and drag there, a clean wheel at
    the first ratio) moving the same air against the same pressure; `_ref` is at the reference torque.
    """
    before = is_healthy if is_healthy.any() else np.ones_like(is_healthy)
    tension_then = float(np.mean(drive.tension[before]))
    drag_then = float(np.mean(drive.drag_nm[before]))
    healthy = _healthy_drive(plan, around, did, tension_then, drag_then)
    rated, turning = plan.motor.rated_nm, did.turning
    motor_w = turning.motor_nm * turning.motor_rpm * RAD_S_PER_RPM
    flex, flex_then = (
        plan.belt.flexing_fraction(np.asarray(t)) * rated for t in (drive.tension, tension_then)
    )
    torque_ref = np.full_like(motor_w, reference)
    drag_rise = (drive.drag_nm - drag_then + flex - flex_then) / rated
    loss = _drive_loss(turning.motor_nm, turning.slip, flex + drive.drag_nm - drag_then)
    return pd.DataFrame(
        {
            "is_running": did.is_called,
            "is_lost": did.is_lost,
            "slip": np.where(did.is_called, turning.slip, np.nan),
            "slip_healthy": healthy.slip,
            "slip_ref": np.where(did.is_lost, 1.0, plan.belt.slip(torque_ref, drive.tension)),
            "slip_ref_healthy": plan.belt.slip(torque_ref, np.full_like(motor_w, tension_then)),
            "tension": np.where(did.is_lost, 0.0, drive.tension),
            "drag": drive.drag_nm / rated,
            "drag_ref": np.where(did.is_lost, np.nan, drag_rise / reference),
            "drive_loss": np.where(did.is_called, np.where(did.is_lost, 1.0, loss), np.nan),
            "drive_loss_healthy": _drive_loss(healthy.motor_nm, healthy.slip, flex_then),
            "motor_torque": turning.motor_nm / rated,
            "motor_torque_healthy": healthy.motor_nm / rated,
            "motor_shaft_w": motor_w,
            "excess_w": motor_w - healthy.motor_nm * healthy.motor_rpm * RAD_S_PER_RPM,
            "motor_rpm": turning.motor_rpm,
            "wheel_rpm": turning.wheel_rpm,
            "airflow_m3s": did.airflow,
            "fan_pressure_pa": did.fan_pa,
            "density_kg_m3": around.density_ratio * STANDARD_DENSITY,
        }
    )


def _drive_loss(motor_nm: Array, slip: Array, lost_nm: Array | float) -> Array:
    """Share of motor shaft power that reaches neither the air nor the healthy bearings."""
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (1.0 - lost_nm / motor_nm) * (1.0 - slip)
    return np.asarray(np.where(motor_nm > 0.0, 1.0 - kept, np.nan), dtype=np.float64)


class _Healthy(NamedTuple):
    """The healthy drive moving the same air; NaN where no air is moved."""

    motor_nm: Array
    motor_rpm: Array
    slip: Array


def _healthy_drive(
    plan: FanPlan, around: Surroundings, did: "Operation", tension: float, drag_nm: float
) -> _Healthy:
    """Motor torque, speed and slip of the healthy drive at the same airflow and pressure."""
    is_moving = did.airflow > 0.0
    airflow = np.where(is_moving, did.airflow, 1.0)
    resistance = np.where(is_moving, did.fan_pa, 1.0) / airflow**2
    density = around.density_ratio * STANDARD_DENSITY
    phi = plan.wheel.phi_on(resistance, density)
    wheel_rpm = airflow / phi / plan.wheel.design_airflow_m3s * plan.wheel.design_rpm
    held = np.full_like(airflow, tension)
    torque = plan.wheel.torque_nm(phi, wheel_rpm, density) * plan.ratio
    torque = torque + standing_nm(plan, held, np.full_like(airflow, drag_nm))
    slip = plan.belt.slip(torque / plan.motor.rated_nm, held)
    motor_rpm = wheel_rpm / (plan.ratio * (1.0 - slip))
    return _Healthy(*(np.where(is_moving, values, np.nan) for values in (torque, motor_rpm, slip)))


def daily(truth: pd.DataFrame, zone: str) -> pd.DataFrame:
    """One row an operating day in plant time, weighted by motor shaft energy where the ledger is.

    Columns, all in per cent but for the last three: slip, slip_healthy, slip_change, slip_ref,
    slip_ref_change, drag_ref, drive_loss, drive_loss_change; excess_w, hours, is_lost. A day on which the
    drive was lost counts the steps before, unless it was lost all day.
    """
    local = pd.DatetimeIndex(truth.index).tz_convert(zone)
    step_hours = (truth.index[1] - truth.index[0]) / pd.Timedelta(hours=1)
    running = truth.loc[truth["is_running"]].assign(date=local[truth["is_running"].to_numpy()].date)
    weighed = ["slip", "slip_healthy", "drive_loss", "drive_loss_healthy", "excess_w"]
    weight = running["motor_shaft_w"].where(~running["is_lost"] | _is_lost_all_day(running))
    weights = running[weighed].notna().mul(weight, axis=0)
    by_date = running["date"]
    energy = running[weighed].mul(weight, axis=0).groupby(by_date).sum(min_count=1)
    day = energy / weights.groupby(by_date).sum()
    turning = running.where(weight.notna())
    plain = turning.groupby(by_date)[["slip_ref", "slip_ref_healthy", "drag_ref"]].mean()
    return pd.DataFrame(
        {
            "slip_pct": 100 * day["slip"],
            "slip_healthy_pct": 100 * day["slip_healthy"],
            "slip_change_pct": 100 * (day["slip"] - day["slip_healthy"]),
            "slip_ref_pct": 100 * plain["slip_ref"],
            "slip_ref_change_pct": 100 * (plain["slip_ref"] - plain["slip_ref_healthy"]),
            "drag_ref_pct": 100 * plain["drag_ref"],
            "drive_loss_pct": 100 * day["drive_loss"],
            "drive_loss_change_pct": 100 * (day["drive_loss"] - day["drive_loss_healthy"]),
            "excess_w": day["excess_w"],
            "hours": running.groupby("date").size() * step_hours,
            "is_lost": running.groupby("date")["is_lost"].any(),
        }
    )


def _is_lost_all_day(running: pd.DataFrame) -> pd.Series:
    """Steps of the days on which the fan never had its drive."""
    return running.groupby("date")["is_lost"].transform("all")
