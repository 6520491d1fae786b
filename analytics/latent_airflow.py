"""At which flow did an hour really run, as its airflow, pressure and load readings see it together?"""

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.model import Operating, Plant
from analytics.unmeasured_airflow import agreed_flow, expected_with_flow_slopes

# The noise of an airflow station is known to a factor. Taken too small it leaves its mark on every
# slope; taken too large the flow merely rests on pressure and load alone.
NOISE_FACTOR = 1.4
LEAST_NOISE = 0.01
_MOST_SHIFT = 0.15
_LEAST_OWN_SHARE = 0.3
_FREE_ROUNDS = 2


def latent_hours(
    theta: Floats,
    plant: Plant,
    hours: Operating,
    *,
    counted: Floats,
    hour_variance: Floats,
    airflow_noise: Floats,
    is_flow_free: Bools,
) -> tuple[Operating, Floats, Floats, Floats]:
    """Move a day's flows to where all readings agree, and return what that does to the residuals.

    A station that reads one hour too low puts that hour at a wrong place of the curves: pressure and
    load then fall short together, most where the torque seems highest, which is how a steep belt slip
    looks. Slopes taken at the agreed flow do not know the reading's error.

    Parameters: `theta` (fans, SIZE); `plant`; `hours` (fans, hours); `counted` (fans, hours, 2) 1 where
    pressure and load count; `hour_variance` (fans, 2) of their relative residuals; `airflow_noise`
    (fans,), relative; `is_flow_free` (fans,) where nobody measures it. Returns: the hours at the agreed
    flow; the share (fans, hours, 2) by which each residual there must be lowered to be that of the measured
    flow, to first order; the log slopes (fans, hours, 2) of pressure and load by the flow; the motor's torque
    (fans, hours) at the measured flow.
    Equation: e = sum(-m r / s^2) / (1 / s_q^2 + sum m^2 / s^2), m the log slopes of pressure and load by
    airflow, r the residuals less the day's mean; ln q = ln q_measured - e.
    Validity: errors of an hour's flow small against the range over which the curves bend.
    Source: errors in variables by generalised least squares (Deming); the day's own level is left to the
    causes.
    """
    noise = np.maximum(NOISE_FACTOR * airflow_noise, LEAST_NOISE)[:, None]
    here, slope, torque = expected_with_flow_slopes(theta, plant, hours)
    is_counted = counted > 0
    missed = np.clip(np.stack([hours.pressure, hours.load], axis=-1) / here - 1.0, -0.5, 0.5)
    missed = np.where(is_counted, missed, 0.0)
    missed = missed - missed.sum(axis=1, keepdims=True) / np.maximum(is_counted.sum(axis=1, keepdims=True), 1)
    variance = hour_variance[:, None]
    own = np.maximum(variance - np.square(slope * noise[..., None]), _LEAST_OWN_SHARE * variance)
    pulled = np.where(is_counted, -slope * missed / own, 0.0).sum(axis=-1)
    strength = 1.0 / np.square(noise) + np.where(is_counted, np.square(slope) / own, 0.0).sum(axis=-1)
    error = np.clip(pulled / strength, -_MOST_SHIFT, _MOST_SHIFT)
    agreed = Operating(
        hours.speed,
        hours.airflow * np.exp(-error),
        hours.density,
        hours.pressure,
        hours.load,
        hours.is_used,
    )
    lowered = slope * error[..., None]
    if not is_flow_free.any():
        return agreed, lowered, slope, torque
    # Only where nobody measures the flow is it searched for: a search costs three looks at the model.
    free = np.flatnonzero(is_flow_free)
    own_hours = Operating(*(getattr(hours, name)[free] for name in Operating.__slots__))
    found, by_flow = agreed_flow(
        theta[free],
        Plant(*(getattr(plant, name)[free] for name in Plant.__slots__)),
        own_hours,
        counted=counted[free],
        hour_variance=hour_variance[free],
        usual=own_hours.speed,
        rounds=_FREE_ROUNDS,
    )
    agreed.airflow[free], lowered[free], slope[free] = found.airflow, 0.0, by_flow
    return agreed, lowered, slope, torque
