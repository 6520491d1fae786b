"""A fan of known curves, its healthy period and its days, made by the forward model with planted causes."""

import numpy as np

from analytics.curves import HealthyCurves, fit_curves
from analytics.machine import Machine
from analytics.model import INDEX, SIZE, LoadKind, Operating, Parameter, Plant, expect
from analytics.scaled_hours import Channels, ScaledHours
from analytics.vocabulary import Drive, FanType, PressureLocation

DAY = 24
PRESSURE_PA, AIRFLOW_M3S = 800.0, 5.0
MACHINE = Machine(
    drive=Drive.V_BELT,
    motor_rated_power_w=11_000.0,
    fan_type=FanType.BACKWARD_INCLINED,
    motor_rpm=1460.0,
    motor_hz=50.0,
    pressure_location=PressureLocation.ACROSS_FAN,
    is_slip_compensated=True,
)
CHANNELS = Channels(
    load_kind=LoadKind.TORQUE,
    has_airflow=True,
    has_pressure=True,
    has_temperature=True,
    is_outdoor_air=False,
    has_barometer=True,
    has_motor_speed=False,
    has_wheel_speed=False,
)
PLANT = Plant(np.array([0.0]), np.array([float(LoadKind.TORQUE)]), np.array([0.7]))
SLOPES = {Parameter.PRESSURE_SLOPE: -1.0, Parameter.TORQUE_SLOPE: 0.3}


def planted_theta(level: float = 0.0, **causes: float) -> np.ndarray:
    """Parameters of the fan, shape (1, SIZE), with causes planted by name."""
    theta = np.zeros((1, SIZE))
    shape = {
        **SLOPES,
        Parameter.PRESSURE_BEND: -0.5,
        Parameter.TORQUE_BEND: -0.6,
        Parameter.TORQUE_LEVEL: np.log(0.75) + level,
        Parameter.FRICTION: 0.02,
        Parameter.SLIP_STEEPNESS: -1.3,
        Parameter.CREEP: 0.01,
    }
    for name, value in shape.items():
        theta[0, INDEX[name]] = value
    for cause, value in causes.items():
        theta[0, INDEX[Parameter(cause)]] = value
    return theta


def planted_operating(theta: np.ndarray, count: int, seed: int, airflow_noise: float = 0.015) -> Operating:
    """Hours at many speeds and places on the curve, read with noise by every sensor."""
    rng = np.random.default_rng([seed, count])
    speed = rng.uniform(0.6, 0.97, (1, count))
    airflow = speed * rng.uniform(0.8, 1.12, (1, count))
    density = rng.uniform(0.97, 1.03, (1, count))
    one = np.ones((1, count))
    true = expect(theta, PLANT, Operating(speed, airflow, density, one, one, one > 0))
    return Operating(
        speed,
        airflow * np.exp(airflow_noise * rng.normal(size=(1, count))),
        density,
        true.pressure * (1.0 + 0.01 * rng.normal(size=(1, count))),
        true.load * (1.0 + 0.01 * rng.normal(size=(1, count))),
        one > 0,
    )


def scaled(hours: Operating) -> ScaledHours:
    """Hours of the model in SI."""
    nothing = np.full(hours.speed.shape[1], np.nan)
    return ScaledHours(
        hours.speed[0],
        AIRFLOW_M3S * hours.airflow[0],
        hours.density[0],
        PRESSURE_PA * hours.pressure[0],
        hours.load[0],
        hours.is_used[0],
        nothing,
        nothing,
        nothing,
    )


def planted_curves(level: float = 0.0, airflow_noise: float = 0.015) -> HealthyCurves:
    """The curves learned from thirty healthy days of twelve hours."""
    hours = planted_operating(planted_theta(level), 360, seed=17, airflow_noise=airflow_noise)
    return fit_curves(scaled(hours), np.arange(360) // 12, MACHINE, CHANNELS)


def planted_day(curves: HealthyCurves, seed: int, level: float = 0.0, **causes: float) -> Operating:
    """A day of the fan as its curves scale it."""
    hours = planted_operating(planted_theta(level, **causes), DAY, seed=1000 + seed)
    return Operating(
        hours.speed,
        hours.airflow * AIRFLOW_M3S / curves.airflow_scale_m3s,
        hours.density,
        hours.pressure * PRESSURE_PA / curves.pressure_scale_pa,
        hours.load,
        hours.is_used,
    )
