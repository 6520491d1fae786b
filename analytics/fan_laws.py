"""What do speed, density and belt slip do to a fan's flow, pressure and power?

The laws hold for one wheel on one system curve. They are about the fan alone: belts, motors and drives
do not follow them (ASHRAE Handbook, chapter on fans).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats


def scaled_airflow(airflow_m3s: ArrayLike, speed_ratio: ArrayLike) -> Floats:
    """Airflow after a change of wheel speed.

    Parameters: `airflow_m3s` before [m3/s]; `speed_ratio`, new over old, broadcast against it [-].
    Returns: airflow after [m3/s]; density does not move it.
    Equation: q2 = q1 (n2/n1).
    Validity: same wheel, same system curve.
    Source: fan laws, ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans, table 2.
    """
    return as_floats(airflow_m3s) * as_floats(speed_ratio)


def scaled_pressure(pressure_pa: ArrayLike, speed_ratio: ArrayLike, density_ratio: ArrayLike = 1.0) -> Floats:
    """Fan pressure after a change of wheel speed and air density.

    Parameters: `pressure_pa` before, static or total [Pa]; `speed_ratio` and `density_ratio`, new over
    old, broadcast against it [-].
    Returns: pressure after [Pa].
    Equation: p2 = p1 (n2/n1)^2 (rho2/rho1).
    Validity: same wheel, same system curve.
    Source: fan laws, ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans, table 2.
    """
    return as_floats(pressure_pa) * np.square(as_floats(speed_ratio)) * as_floats(density_ratio)


def scaled_power(power_w: ArrayLike, speed_ratio: ArrayLike, density_ratio: ArrayLike = 1.0) -> Floats:
    """Fan shaft power after a change of wheel speed and air density.

    Parameters: `power_w` before [W]; `speed_ratio` and `density_ratio`, new over old, broadcast against
    it [-].
    Returns: power after [W].
    Equation: P2 = P1 (n2/n1)^3 (rho2/rho1).
    Validity: same wheel, same system curve; no motor's input and no belt's loss follows it.
    Source: fan laws, ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans, table 2.
    """
    ratio = as_floats(speed_ratio)
    return as_floats(power_w) * np.square(ratio) * ratio * as_floats(density_ratio)


def air_power_w(airflow_m3s: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Power that the fan hands to the air; over the fan's efficiency it is fan shaft power.

    Compressibility is left out: below 2.5 kPa it is under 1 %.

    Parameters: `airflow_m3s` [m3/s]; `pressure_pa`, fan total for total and fan static for static
    efficiency, broadcast against it [Pa].
    Returns: air power [W].
    Equation: P = q p; in inch-pound units bhp = cfm inwg / (6356 efficiency).
    Source: ANSI/AMCA 210, fan output power, with the compressibility factor 1.
    """
    return as_floats(airflow_m3s) * as_floats(pressure_pa)


@dataclass(frozen=True, slots=True)
class SlipSignature:
    """Ratios to the unslipping drive [-]; all have the shape of the slip that was asked for."""

    command: Floats
    airflow: Floats
    pressure: Floats
    wheel_power: Floats
    motor_torque: Floats
    motor_power: Floats


def slip_signature(slip: ArrayLike, *, is_airflow_held: bool = False) -> SlipSignature:
    """What belt slip does to a fan's readings, with the speed command fixed or with the airflow held.

    Torque passes through a slipping belt whole, power does not: the motor pays for the slip heat. So
    motor power falls with (1-s)^2 at a fixed command, not with the cube, and rises by 1/(1-s) where a
    controller holds the airflow or its pressure, while torque and current hardly move.

    Parameters: `slip`, share of wheel speed lost, any shape [-].
    Returns: `SlipSignature`; NaN outside 0 <= slip < 1, but a lost drive (slip 1) at a fixed command has
    zeros.
    Equation: fixed command: q (1-s), p (1-s)^2, wheel power (1-s)^3, torque and motor power (1-s)^2.
    Held airflow: command and motor power 1/(1-s), everything else 1.
    Validity: fixed system curve, belt torque loss unchanged.
    Source: derived from the fan laws and speed loss = 1 - s of a belt's power efficiency.
    """
    s = as_floats(slip)
    if is_airflow_held:
        kept = np.where((s >= 0.0) & (s < 1.0), 1.0 - s, np.nan)
        rise, same = 1.0 / kept, kept / kept
        return SlipSignature(
            command=rise, airflow=same, pressure=same, wheel_power=same, motor_torque=same, motor_power=rise
        )
    kept = np.where((s >= 0.0) & (s <= 1.0), 1.0 - s, np.nan)
    square = np.square(kept)
    return SlipSignature(
        command=np.where(np.isnan(kept), np.nan, 1.0),
        airflow=kept,
        pressure=square,
        wheel_power=square * kept,
        motor_torque=square,
        motor_power=square,
    )
