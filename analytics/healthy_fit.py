"""Which curves fit the healthy hours best, when airflow is measured no better than the rest?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.arrays import Floats
from analytics.curve_fit import LOAD, PRESSURE, Fit, Healthy, Noise, missed_and_slopes, tame
from analytics.curve_misfit import CurveMisfit
from analytics.least_cost import least_cost
from analytics.model import INDEX, SIZE, Operating, Parameter, expect
from analytics.priors import AIRFLOW_NOISE, FLUX_RANGE, LEAST_HOUR_SD, PINNED_SD

_FLUX_STARTS = (0.0, 0.5, 1.0)
# Drives' flux laws tried, and the share of the fits' difference that is evidence of one: neighbouring hours
# err together, and a motor's amps follow no formula to the per cent.
_FLUX_LAWS = (0.0, 0.25, 0.5, 0.75, 1.0)
_FLUX_EVIDENCE_SHARE = 0.1
_START_NOISE = (0.015, 0.015)
# Noises of the station tried, in its prior's deviations.
_NOISES_TRIED = (-1.2, -0.6, 0.0, 0.4, 0.8, 1.2)
_EXCESS_SD = 0.15
# How near its least a cost must come, as a share of it: where curves only choose where to search on; where
# they choose a noise (less near, four of 120 drawn fans chose another) or weigh flux laws and doubts; and
# where they are what is told.
ROUGH, FAIR, CLOSE = 1e-4, 1e-5, 2e-9
_FEWER_HOURS = 250
# Hours next to each other share much of their noise: a third of them count for its covariance.
_INDEPENDENT_SHARE = 1.0 / 3.0
# Variance that pressure and load may share for other reasons than airflow: density, creep.
_SHARED_OTHER = 3e-5
# What a search may not leave. More magnetising current than rated is no motor; a path that takes more than
# seven tenths of the fan's pressure is no duct (as `PATH_LOSS` says), but where a system hardly moves, path
# and curve would run away against each other.
_RANGES = {
    Parameter.FRICTION: (0.0, np.inf),
    Parameter.PATH: (0.0, 7.0 / 3.0),
    Parameter.FLUX_EXPONENT: FLUX_RANGE,
    Parameter.NO_LOAD_CURRENT: (0.0, 0.95),
}


def fit_healthy(problem: Healthy) -> tuple[Healthy, Fit]:
    """Fit curves, friction, flux law, magnetising current, creep and path loading at once.

    Maximum a posteriori with errors in every reading: a plain regression on measured airflow flattens
    both curves where the flow hardly varies (on a constant system its slopes are the noise's own). Stray
    hours are drawn in by a robust loss. The noise of the airflow is found from what pressure and load
    residuals share, against a prior.

    Parameters: `problem`, the healthy period's hours and the priors.
    Returns: the problem at the reference torque of its own curves, and the fit.
    Equation: minimise sum r' S^-1 r with S = diag(sp^2, sT^2) + sq^2 m m', m the log slopes of pressure
    and load by airflow; the latent flow of each hour is thereby eliminated.
    Validity: relative errors small against the range over which the curves bend.
    Source: generalised least squares with errors in the variables (Deming), as in any text on it.
    """
    noise = Noise(AIRFLOW_NOISE[0], *_START_NOISE)
    thin = _thinned(problem)
    flux = INDEX[Parameter.FLUX_EXPONENT]
    starts = _FLUX_STARTS if flux in problem.free else (float(problem.mean[flux]),)
    guesses = np.tile(problem.mean, (len(starts), 1))
    guesses[:, flux] = starts
    found, trends, costs = _solve(thin, guesses, np.zeros(len(starts)), [noise] * len(starts), ROUGH)
    best = int(np.argmin(costs))
    theta, trend, noise = _noise_found(problem, thin, found[best], float(trends[best]))
    # Creep and the load's exponent are told at the reference torque, which the curves themselves set.
    problem, theta = referred(problem, theta)
    pinned, law_doubt = problem, np.zeros((len(theta), len(theta)))
    if flux in problem.free:
        pinned, theta, law_doubt = _flux_law(problem, theta, trend, noise)
    found, trends, _ = _solve(pinned, theta[None], np.array([trend]), [noise], CLOSE)
    return problem, Fit(found[0], float(trends[0]), noise, law_doubt)


def _noise_found(problem: Healthy, thin: Healthy, theta: Floats, trend: float) -> tuple[Floats, float, Noise]:
    """Fit the curves under each noise of the station that may be; return the least strange with its fit."""
    airflows = AIRFLOW_NOISE[0] * np.exp(AIRFLOW_NOISE[1] * np.array(_NOISES_TRIED))
    (first,) = _scatters(problem, theta[None], np.array([trend]))
    noises = [_rest_of_noise(first, float(airflow)) for airflow in airflows]
    count = len(noises)
    found, trends, _ = _solve(thin, np.tile(theta, (count, 1)), np.full(count, trend), noises, FAIR)
    scatters = _scatters(problem, found, trends)
    strange = [_strangeness(problem, found[i], scatters[i], airflows[i]) for i in range(count)]
    best = int(np.argmin(strange))
    return found[best], float(trends[best]), _rest_of_noise(scatters[best], float(airflows[best]))


def referred(problem: Healthy, theta: Floats) -> tuple[Healthy, Floats]:
    """Return the problem at the reference torque that its curves set, and the parameters told there."""
    torque = expect(theta[None], problem.plant, problem.operating).torque[0]
    reference = float(np.percentile(torque, 95))
    at = theta.copy()
    at[INDEX[Parameter.CREEP]] *= reference / problem.plant.reference_torque[0]
    plant = replace(problem.plant, reference_torque=np.array([reference]))
    return replace(problem, plant=plant), at


def _flux_law(problem: Healthy, theta: Floats, trend: float, noise: Noise) -> tuple[Healthy, Floats, Floats]:
    # Several laws fit the same hours with other curves, and each makes another torque of a rise in amps: the
    # middle of what is possible is taken, and the distance between them kept as doubt.
    thin, place = _thinned(problem), INDEX[Parameter.FLUX_EXPONENT]
    held, _ = _with_flux(thin, theta, 0.0)
    guesses = np.array([_with_flux(thin, theta, law)[1] for law in _FLUX_LAWS])
    count = len(_FLUX_LAWS)
    every, _, misfits = _solve(held, guesses, np.full(count, trend), [noise] * count, FAIR)
    believed = (np.array(_FLUX_LAWS) - problem.mean[place]) / problem.sd[place]
    costs = _FLUX_EVIDENCE_SHARE * misfits + 0.5 * np.square(believed)
    weight = np.exp(costs.min() - costs)
    weight /= weight.sum()
    middle = weight @ every
    away = every - middle
    held, guess = _with_flux(problem, middle, float(middle[place]))
    return held, guess, np.asarray((weight * away.T) @ away)


def _with_flux(problem: Healthy, theta: Floats, law: float) -> tuple[Healthy, Floats]:
    sd, guess = problem.sd.copy(), theta.copy()
    sd[INDEX[Parameter.FLUX_EXPONENT]] = PINNED_SD
    guess[INDEX[Parameter.FLUX_EXPONENT]] = law
    return replace(problem, sd=sd), guess


def _thinned(problem: Healthy) -> Healthy:
    # The way to the optimum is found on fewer hours, spread over the period; the optimum itself on all.
    step = -(-len(problem.age) // _FEWER_HOURS)
    hours = problem.operating
    fewer = Operating(*(getattr(hours, name)[:, ::step] for name in Operating.__slots__))
    return replace(problem, operating=fewer, age=problem.age[::step])


def refits(problem: Healthy, fit: Fit, noises: Sequence[Noise], tolerance: float = FAIR) -> list[Fit]:
    """Return the fit under each of some noises, started where the first one ended, on fewer hours."""
    count = len(noises)
    guesses, trends = np.tile(fit.theta, (count, 1)), np.full(count, fit.trend)
    found, loading, _ = _solve(_thinned(problem), guesses, trends, noises, tolerance)
    return [replace(fit, theta=found[i], trend=float(loading[i]), noise=noises[i]) for i in range(count)]


def _solve(
    problem: Healthy, guesses: Floats, trends: Floats, noises: Sequence[Noise], tolerance: float
) -> tuple[Floats, Floats, Floats]:
    """Fit the curves from several guesses, each under its noise: parameters, trends and costs."""
    misfit = CurveMisfit(problem, guesses, noises)
    found = least_cost(misfit, misfit.values(trends), _bounds(problem), tolerance)
    theta, trend = misfit.spelled(found.place, np.arange(len(guesses)))
    return theta, trend, found.cost


def _bounds(problem: Healthy) -> tuple[Floats, Floats]:
    lower, upper = np.full(SIZE, -np.inf), np.full(SIZE, np.inf)
    for name, (least, most) in _RANGES.items():
        lower[INDEX[name]], upper[INDEX[name]] = least, most
    free = problem.free
    bounds = [(bound[free] - problem.mean[free]) / problem.sd[free] for bound in (lower, upper)]
    return np.append(bounds[0], -np.inf), np.append(bounds[1], np.inf)


@dataclass(frozen=True, slots=True)
class _Scatter:
    """How misses scatter within days, and how the readings follow the flow.

    `within` (2, 2) of pressure and load; `squared_slopes` (2,) by the log of airflow and `product` of the two
    slopes, means over the hours.
    """

    within: Floats
    squared_slopes: Floats
    product: float


def _scatters(problem: Healthy, theta: Floats, trends: Floats) -> list[_Scatter]:
    missed, slopes = missed_and_slopes(problem, theta, trends)
    products = np.mean(slopes[..., PRESSURE] * slopes[..., LOAD], axis=1)
    squared = np.mean(np.square(slopes), axis=1)
    within = [_within_days(tame(one), problem.age) for one in missed]
    return [_Scatter(*one) for one in zip(within, squared, products, strict=True)]


def _rest_of_noise(scatter: _Scatter, airflow: float) -> Noise:
    # What the airflow's noise does not explain of the scatter is pressure's and load's own.
    every = np.diag(scatter.within)
    rest = every - scatter.squared_slopes * airflow**2
    own = np.sqrt(np.maximum(rest, np.maximum(0.2 * every, np.square(LEAST_HOUR_SD))))
    return Noise(airflow, float(own[PRESSURE]), float(own[LOAD]))


def _strangeness(problem: Healthy, theta: Floats, scatter: _Scatter, airflow: float) -> float:
    # Flat curves with a quiet station and steep ones with a noisy station fit a narrow range alike. What
    # pressure and load share, and what is believed of curves and stations, decides (half squares).
    within = scatter.within
    number = max(len(problem.age) * _INDEPENDENT_SHARE, 8.0)
    doubt = (within[0, 0] * within[1, 1] + within[0, 1] ** 2) / number + _SHARED_OTHER**2
    shared = (within[0, 1] - airflow**2 * scatter.product) ** 2 / doubt if problem.has.all() else 0.0
    believed = np.square((theta - problem.mean) / problem.sd)[problem.free].sum()
    station = (np.log(airflow / AIRFLOW_NOISE[0]) / AIRFLOW_NOISE[1]) ** 2
    passed = scatter.squared_slopes * airflow**2
    # No noise explains more than the scatter that is there, in either reading or in the flow itself.
    hours = problem.operating
    spread = float(np.var(np.log(hours.airflow[0] / hours.speed[0])))
    excess = [passed[c] / max(within[c, c], 1e-9) for c in (PRESSURE, LOAD) if problem.has[c]]
    excess.append(airflow**2 / max(spread, 1e-9))
    beyond = sum((max(share - 1.0, 0.0) / _EXCESS_SD) ** 2 for share in excess)
    return 0.5 * float(shared + believed + station + beyond)


def _within_days(missed: Floats, age: Floats) -> Floats:
    # Density and a sensor's mood are shared by pressure and load too, but for whole days.
    _, group, count = np.unique(age, return_inverse=True, return_counts=True)
    means = np.stack([np.bincount(group, weights=missed[:, c]) / count for c in (PRESSURE, LOAD)], axis=1)
    within = missed - means[group]
    return np.asarray(within.T @ within / max(len(missed) - len(count), 1))
