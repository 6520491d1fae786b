"""What would the healthy drive have drawn at the same air, and what airflow do all readings agree on?"""

from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.model import Operating, expect

_ROUNDS: Final = 16
_STEP: Final = 1e-4
# Of one round's move in the logarithm of speed: the curves turn over below their peak.
_MOST_MOVE: Final = 0.2
_LEAST_SLOPE: Final = 0.4
_SPEED_BOUNDS: Final = (0.1, 1.6)


def healthy_at(
    airflow_m3s: Floats, pressure_pa: Floats, density: Floats, curves: HealthyCurves
) -> tuple[Floats, Floats, Floats]:
    """Find how the healthy fan would have delivered an airflow against a pressure.

    The speed is not asked for, since slip is what moves it: it is found from airflow and pressure.

    Parameters: `airflow_m3s`, `pressure_pa` with the sign of the export, `density` over 1.2 kg/m3, all
    (hours,); `curves` with airflow and pressure.
    Returns: motor torque [of rated], motor speed [of synchronous at base frequency] and what the reading of
    load would have been [of rated]; NaN where no speed gives that pressure.
    Equation: the root n of p(n, q) = p by Newton's steps in ln n; then the forward model at n.
    Validity: inside the fitted range; beyond it the curves are quadratics.
    Source: `analytics.model`.
    """
    airflow = airflow_m3s / curves.airflow_scale_m3s
    pressure = curves.pressure_sign * pressure_pa / curves.pressure_scale_pa
    is_read = (airflow > 0.0) & (pressure > 0.0)
    airflow, wanted = np.where(is_read, airflow, 1.0), np.where(is_read, pressure, 1.0)
    speed = np.sqrt(np.maximum(wanted, 1e-3) / density)

    def given(at: Floats) -> Operating:
        ones = np.ones((1, len(at)))
        is_used = np.ones((1, len(at)), dtype=bool)
        return Operating(at[None], airflow[None], density[None], ones, ones, is_used)

    def miss(at: Floats) -> Floats:
        found = expect(curves.mean[None], curves.plant, given(at)).pressure[0]
        return np.asarray(np.log(np.maximum(found, 1e-6) / wanted))

    for _ in range(_ROUNDS):
        here = miss(speed)
        slope = (miss(speed * (1.0 + _STEP)) - here) / _STEP
        move = np.clip(-here / np.maximum(slope, _LEAST_SLOPE), -_MOST_MOVE, _MOST_MOVE)
        speed = np.clip(speed * np.exp(move), *_SPEED_BOUNDS)
    is_found = is_read & (np.abs(miss(speed)) < 1e-3)
    at_root = expect(curves.mean[None], curves.plant, given(speed))
    found = (at_root.torque[0], at_root.motor_speed[0], at_root.load[0])
    torque, motor_speed, load = (np.where(is_found, values, np.nan) for values in found)
    return torque, motor_speed, load


def agreed_airflow(airflow: Floats, beside: Floats, noise: float) -> Floats:
    """Return the airflow that the station and the readings beside it agree on, in one period.

    A regression on a noisy station is too flat; regressing on what is expected of the true airflow given all
    readings is not (regression calibration). The mean of its logarithm stays the station's.

    Parameters: `airflow` (hours,); `beside` (hours, readings), logarithms of speed, pressure and the like;
    `noise`, relative deviation of an hour's airflow [-].
    Returns: airflow (hours,) in the unit given.
    Equation: exp(f + k (ln q - f)), f the least-squares fit on the others,
    k = max(0, 1 - noise^2 / var(ln q - f)).
    Validity: errors small beside the airflow, and not shared with the readings beside it.
    Source: regression calibration, Carroll et al., Measurement Error in Nonlinear Models, chapter 4 (from
    memory).
    """
    log_flow = np.log(airflow)
    design = np.column_stack([np.ones(len(airflow)), beside - beside.mean(axis=0)])
    solution, *_ = np.linalg.lstsq(design, log_flow, rcond=1e-8)
    fitted = design @ solution
    left = log_flow - fitted
    spread = float(np.mean(np.square(left)))
    kept = max(0.0, 1.0 - noise**2 / spread) if spread > 0.0 else 0.0
    return np.asarray(np.exp(fitted + kept * left))
