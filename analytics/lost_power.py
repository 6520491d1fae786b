"""What power does a motor take whose drive is lost, all of which is excess?"""

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.measured_torque import measured_torque, shaft_power
from analytics.scaled_hours import ScaledHours


def lost_power_kw(
    hours: ScaledHours, line_power_w: Floats, is_lost: Bools, curves: HealthyCurves, machine: Machine
) -> Floats:
    """Return the power that reaches no wheel, as the ledger tells excess power: the line's, else the shaft's.

    A wheel that stands moves no air, for which the healthy drive would need nothing: all of it is excess.
    Parameters: `hours`; `line_power_w` the power point's reading (hours,) [W]; `is_lost` (hours,) in which
    the motor ran and the drive was lost; `curves`; `machine`.
    Returns: (hours,) [kW]; NaN where the drive was not lost or the load was not read.
    Equation: `shaft_power`; 0 where the motor draws no more than idle.
    Validity: as for `analytics.measured_torque`, whose level at idle rests on the no-load current.
    """
    power_kw = np.full(len(is_lost), np.nan)
    if not is_lost.any():
        return power_kw
    if curves.channels.has_line_power:
        power_kw[is_lost] = line_power_w[is_lost] / 1000.0
        return power_kw
    torque, motor_speed = measured_torque(hours.load[is_lost], hours.speed[is_lost], curves)
    rated_kw = machine.motor_rated_power_w * machine.motor_count / 1000.0
    power_kw[is_lost] = shaft_power(np.maximum(torque, 0.0), motor_speed, curves) * rated_kw
    return power_kw
