"""Which curves fit the healthy hours of a fan whose airflow nobody measures?"""

from dataclasses import replace

import numpy as np

from analytics.arrays import Floats
from analytics.curve_fit import Fit, Healthy, Noise, residuals
from analytics.healthy_fit import CLOSE, FAIR, referred, refits
from analytics.unmeasured_airflow import FLOW_COEFFICIENT_SD, agreed_flow

_START_NOISE = (0.015, 0.015)
# Far flows are found step by step: within one step the curves must hardly bend.
_STEP_SD = 0.12
_ROUNDS = 7
_FLOW_ROUNDS = 4
_AT_USUAL_FLOW = 1e-3


def fit_flowless(problem: Healthy) -> tuple[Healthy, Fit]:
    """Fit a fan's healthy curves without its airflow.

    With pressure and load each hour's flow is free around the usual one and is found together with the
    curves; only the trace of the curves in the plane of pressure and torque is then the data's, how the flow
    runs along it the prior's, and no slip or drag depends on that. With one of the two the usual flow stands
    for all hours: the healthy relation to speed, with what the system moves as its scatter.

    Parameters: `problem`, whose airflow is the usual one, its speed. Returns: the problem at the flows found,
    and the fit.
    Validity and source: as for `analytics.unmeasured_airflow`.
    """
    fit = Fit(problem.mean.copy(), 0.0, Noise(_AT_USUAL_FLOW, *_START_NOISE))
    if not problem.has.all():
        problem, theta = referred(problem, _refit(problem, fit, fit.noise).theta)
        return problem, _refit(problem, replace(fit, theta=theta), fit.noise, CLOSE)
    usual = problem.operating.airflow
    noise = Noise(_STEP_SD, *_START_NOISE)
    for _ in range(_ROUNDS):
        fit = _refit(problem, fit, noise)
        problem = replace(problem, operating=replace(problem.operating, airflow=_flows(problem, fit, usual)))
    problem, theta = referred(problem, fit.theta)
    fit = _refit(problem, replace(fit, theta=theta), noise, CLOSE)
    missed, _ = residuals(problem, fit.theta, fit.trend)
    own = np.maximum(np.std(missed, axis=0), _START_NOISE)
    return problem, Fit(fit.theta, fit.trend, Noise(FLOW_COEFFICIENT_SD, float(own[0]), float(own[1])))


def _refit(problem: Healthy, fit: Fit, noise: Noise, tolerance: float = FAIR) -> Fit:
    (found,) = refits(problem, fit, (noise,), tolerance)
    return found


def _flows(problem: Healthy, fit: Fit, usual: Floats) -> Floats:
    hours = problem.operating
    # The filter's loading is taken out of the reading, where the fit takes it out of the expectation.
    loaded = fit.trend * problem.age * hours.density[0] * np.square(hours.airflow[0])
    clean = replace(hours, pressure=hours.pressure + loaded[None])
    agreed, _ = agreed_flow(
        fit.theta[None],
        problem.plant,
        clean,
        counted=np.ones((*hours.speed.shape, 2)),
        hour_variance=np.square([[fit.noise.pressure, fit.noise.load]]),
        usual=usual,
        rounds=_FLOW_ROUNDS,
    )
    return agreed.airflow
