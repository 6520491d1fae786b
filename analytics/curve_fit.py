"""Which curves fit the healthy hours best, when airflow is measured no better than the rest?"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from analytics.arrays import Bools, Floats
from analytics.model import INDEX, SIZE, Expected, LoadKind, Operating, Parameter, Plant, expect
from analytics.priors import (
    AIRFLOW_NOISE,
    FLUX_RANGE,
    LEAST_HOUR_SD,
    PATH_TREND_SD,
    PINNED_SD,
    WEAK_CURRENT_SPEED,
)

PRESSURE, LOAD = 0, 1
_ROBUST_SCALE = 1.5
_FLUX_STARTS = (0.0, 0.5, 1.0)
# Drives' flux laws tried, and the share of the fits' difference that is evidence of one: neighbouring hours
# err together, and a motor's amps follow no formula to the per cent.
_FLUX_LAWS = (0.0, 0.25, 0.5, 0.75, 1.0)
_FLUX_EVIDENCE_SHARE = 0.1
_START_NOISE = (0.015, 0.015)
_STEP = 1e-5
# Noises of the station tried, in its prior's deviations.
_NOISES_TRIED = (-1.2, -0.6, 0.0, 0.4, 0.8, 1.2)
_EXCESS_SD = 0.15
# Of the cost of some hundreds: far below what any decision here rests on.
_TOLERANCE = 1e-4
_MOST_STEPS = 20
_FEWER_HOURS = 250
_FLOW_STEP = 1e-4
# Hours next to each other share much of their noise: a third of them count for its covariance.
_INDEPENDENT_SHARE = 1.0 / 3.0
# Variance that pressure and load may share for other reasons than airflow: density, creep.
_SHARED_OTHER = 3e-5


@dataclass(frozen=True, slots=True)
class Noise:
    """Relative standard deviations of an hour's airflow, pressure and load readings."""

    airflow: float
    pressure: float
    load: float


@dataclass(frozen=True, slots=True)
class Healthy:
    """The healthy hours of one fan and what is believed of it, ready to be fitted.

    `operating` and `plant` a batch of one; `mean`, `sd` (SIZE,) the prior; `has` (2,) whether pressure
    and load count; `age` (hours,) days since the first; `is_loading` whether a filter may load; `density_sd`
    what is not known of the air density.
    """

    operating: Operating
    plant: Plant
    mean: Floats
    sd: Floats
    has: Bools
    age: Floats
    is_loading: bool
    density_sd: float

    @property
    def spread(self) -> Floats:
        """The factor on each hour's load error."""
        return np.asarray(load_spread(self.operating.speed, self.plant.load_kind[:, None])[0])

    @property
    def free(self) -> npt.NDArray[np.intp]:
        """Places of the parameters that the data may move."""
        return np.flatnonzero(self.sd > 10 * PINNED_SD)


@dataclass(frozen=True, slots=True)
class Fit:
    """Fitted parameters `theta` (SIZE,), the daily `trend` of the path's loading, and the noise assumed.

    `law_doubt` (SIZE, SIZE) is the covariance between the flux laws that the hours leave possible.
    """

    theta: Floats
    trend: float
    noise: Noise
    law_doubt: Floats = field(default_factory=lambda: np.zeros((SIZE, SIZE)))


def load_spread(speed: Floats, load_kind: Floats) -> Floats:
    """Return the factor on an hour's load error: amps say little of torque at low speed."""
    weak = np.maximum(1.0, np.square(WEAK_CURRENT_SPEED / np.maximum(speed, 0.05)))
    return np.where(load_kind == LoadKind.CURRENT, weak, 1.0)


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
    found = []
    for start in starts:
        guess = problem.mean.copy()
        guess[flux] = start
        found.append(_solve(thin, guess, 0.0, noise))
    theta, trend, _ = min(found, key=lambda item: item[2])
    tried = []
    for airflow in AIRFLOW_NOISE[0] * np.exp(AIRFLOW_NOISE[1] * np.array(_NOISES_TRIED)):
        noise = _rest_of_noise(problem, theta, trend, float(airflow))
        at, loading, _ = _solve(thin, theta, trend, noise)
        tried.append((_strangeness(problem, at, loading, float(airflow)), float(airflow), at, loading))
    _, airflow, theta, trend = min(tried, key=lambda item: item[0])
    noise = _rest_of_noise(problem, theta, trend, airflow)
    # Creep and the load's exponent are told at the reference torque, which the curves themselves set.
    problem, theta = referred(problem, theta)
    pinned, law_doubt = problem, np.zeros((len(theta), len(theta)))
    if flux in problem.free:
        pinned, theta, law_doubt = _flux_law(problem, theta, trend, noise)
    theta, trend, _ = _solve(pinned, theta, trend, noise)
    return problem, Fit(theta, trend, noise, law_doubt)


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
    fits, costs = [], []
    for law in _FLUX_LAWS:
        held, guess = _with_flux(thin, theta, law)
        at, _, cost = _solve(held, guess, trend, noise)
        believed = (law - problem.mean[place]) / problem.sd[place]
        fits.append(at)
        costs.append(_FLUX_EVIDENCE_SHARE * cost + 0.5 * believed**2)
    weight = np.exp(min(costs) - np.array(costs))
    weight /= weight.sum()
    every = np.array(fits)
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


def refit(problem: Healthy, fit: Fit, noise: Noise) -> Fit:
    """Return the fit under another noise, started where the first one ended, on fewer hours."""
    theta, trend, _ = _solve(_thinned(problem), fit.theta, fit.trend, noise)
    return replace(fit, theta=theta, trend=trend, noise=noise)


def residuals(problem: Healthy, theta: Floats, trend: float) -> tuple[Floats, Expected]:
    """Return residuals of pressure and load over the readings, and what was expected.

    Parameters: `problem`; `theta` (SIZE,) the model's parameters; `trend` of the loading path a day.
    Returns: (hours, 2), relative; the expectation as a batch of one.
    """
    missed, _ = _missed_and_slopes(problem, theta[None], np.array([trend]))
    return missed[0], expect(theta[None], problem.plant, problem.operating)


def latent_airflow(problem: Healthy, fit: Fit) -> Floats:
    """Return each hour's airflow (hours,) as all three readings together see it."""
    missed, _ = residuals(problem, fit.theta, fit.trend)
    slopes = flow_slopes(problem, fit.theta[None], np.array([fit.trend]))[0]
    variance = np.stack(
        [np.full(len(missed), fit.noise.pressure**2), np.square(fit.noise.load * problem.spread)], axis=-1
    )
    weighted = slopes / variance
    shift = -(weighted * missed).sum(-1) / (1.0 / fit.noise.airflow**2 + (weighted * slopes).sum(-1))
    return np.asarray(problem.operating.airflow[0] * np.exp(-np.clip(shift, -0.15, 0.15)))


def flow_slopes(problem: Healthy, theta: Floats, trend: Floats) -> Floats:
    """Return log slopes of pressure and load by airflow (sets, hours, 2) at the measured flow."""
    return _missed_and_slopes(problem, theta, trend)[1]


def _missed_and_slopes(problem: Healthy, theta: Floats, trend: Floats) -> tuple[Floats, Floats]:
    hours = problem.operating
    flows = hours.airflow * np.exp([0.0, _FLOW_STEP])[:, None]
    here, moved = _relative(problem, theta, trend, flows[:, None, None])
    missed = np.where(problem.has, 1.0 - here, 0.0)
    return missed, np.where(problem.has, (moved - here) / _FLOW_STEP, 0.0)


def _relative(problem: Healthy, theta: Floats, trend: Floats, airflow: Floats) -> Floats:
    # What is expected over what was read, (flows, sets, hours, 2), at flows (flows, 1, 1, hours).
    hours = problem.operating
    at = Operating(hours.speed, airflow, hours.density, hours.pressure, hours.load, hours.is_used)
    expected = expect(theta[:, None], problem.plant, at)
    loaded = trend[:, None] * (problem.age * hours.density[0] * np.square(airflow[:, 0]))
    pressure = (expected.pressure[..., 0, :] - loaded) / np.maximum(hours.pressure[0], 0.05)
    return np.stack([pressure, expected.load[..., 0, :] / np.maximum(hours.load[0], 0.02)], axis=-1)


def _whitened(problem: Healthy, theta: Floats, trend: Floats, noise: Noise) -> Floats:
    missed, slopes = _missed_and_slopes(problem, theta, trend)
    slopes = slopes * noise.airflow
    # What is not known of the density moves pressure and load alike: no airflow error, whatever it seems.
    density = problem.density_sd**2
    first = np.sqrt(noise.pressure**2 + np.square(slopes[..., PRESSURE]) + density)
    across = (slopes[..., PRESSURE] * slopes[..., LOAD] + density) / first
    own = np.square(noise.load * problem.spread) + np.square(slopes[..., LOAD]) + density - np.square(across)
    pressure = missed[..., PRESSURE] / first
    load = (missed[..., LOAD] - across * pressure) / np.sqrt(own)
    return np.concatenate([pressure, load], axis=-1)


def _softened(whitened: Floats) -> Floats:
    # Square roots of the soft absolute loss: stray hours pull as their distance, the prior as its square.
    softening = np.sqrt(2.0 / (1.0 + np.sqrt(1.0 + np.square(whitened / _ROBUST_SCALE))))
    return np.asarray(whitened * softening)


def _solve(problem: Healthy, guess: Floats, trend: float, noise: Noise) -> tuple[Floats, float, float]:
    free, mean, sd = problem.free, problem.mean, problem.sd
    trend_sd = PATH_TREND_SD if problem.is_loading else PINNED_SD
    lower, upper = np.full(len(free) + 1, -np.inf), np.full(len(free) + 1, np.inf)
    for name in (Parameter.FRICTION, Parameter.PATH):
        lower[:-1][free == INDEX[name]] = 0.0
    is_flux = free == INDEX[Parameter.FLUX_EXPONENT]
    lower[:-1][is_flux], upper[:-1][is_flux] = FLUX_RANGE

    def spelled(values: Floats) -> tuple[Floats, Floats]:
        theta = np.broadcast_to(guess, (len(values), len(guess))).copy()
        theta[:, free] = values[:, :-1]
        return theta, values[:, -1] * trend_sd

    def miss_of(values: Floats) -> Floats:
        data = _softened(_whitened(problem, *spelled(values), noise))
        believed = (values[:, :-1] - mean[free]) / sd[free]
        return np.concatenate([data, believed, values[:, -1:]], axis=1)

    def miss(values: Floats) -> Floats:
        return np.asarray(miss_of(values[None])[0])

    def jacobian(values: Floats) -> Floats:
        steps = _STEP * np.eye(len(values))
        moved = miss_of(np.concatenate([values[None], values + steps]))
        return np.ascontiguousarray(((moved[1:] - moved[0]) / _STEP).T)

    first = np.clip(np.append(guess[free], trend / trend_sd), lower + 1e-6, upper - 1e-6)
    found = least_squares(
        miss, first, jacobian, bounds=(lower, upper), max_nfev=_MOST_STEPS, ftol=_TOLERANCE, xtol=_TOLERANCE
    )
    theta, at_trend = spelled(found.x[None])
    return theta[0], float(at_trend[0]), float(found.cost)


def _rest_of_noise(problem: Healthy, theta: Floats, trend: float, airflow: float) -> Noise:
    # What the airflow's noise does not explain of the scatter is pressure's and load's own.
    missed, slopes = _missed_and_slopes(problem, theta[None], np.array([trend]))
    scatter = np.diag(_within_days(tame(missed[0]), problem.age))
    passed = np.mean(np.square(slopes[0]), axis=0) * airflow**2
    own = np.sqrt(np.maximum(scatter - passed, np.maximum(0.2 * scatter, np.square(LEAST_HOUR_SD))))
    return Noise(airflow, float(own[PRESSURE]), float(own[LOAD]))


def _strangeness(problem: Healthy, theta: Floats, trend: float, airflow: float) -> float:
    # Flat curves with a quiet station and steep ones with a noisy station fit a narrow range alike. What
    # pressure and load share, and what is believed of curves and stations, decides (half squares).
    missed, slopes = _missed_and_slopes(problem, theta[None], np.array([trend]))
    scatter = _within_days(tame(missed[0]), problem.age)
    number = max(len(problem.age) * _INDEPENDENT_SHARE, 8.0)
    product = float(np.mean(slopes[0, :, PRESSURE] * slopes[0, :, LOAD]))
    doubt = (scatter[0, 0] * scatter[1, 1] + scatter[0, 1] ** 2) / number + _SHARED_OTHER**2
    shared = (scatter[0, 1] - airflow**2 * product) ** 2 / doubt if problem.has.all() else 0.0
    believed = np.square((theta - problem.mean) / problem.sd)[problem.free].sum()
    station = (np.log(airflow / AIRFLOW_NOISE[0]) / AIRFLOW_NOISE[1]) ** 2
    passed = np.mean(np.square(slopes[0]), axis=0) * airflow**2
    # No noise explains more than the scatter that is there, in either reading or in the flow itself.
    hours = problem.operating
    spread = float(np.var(np.log(hours.airflow[0] / hours.speed[0])))
    excess = [passed[c] / max(scatter[c, c], 1e-9) for c in (PRESSURE, LOAD) if problem.has[c]]
    excess.append(airflow**2 / max(spread, 1e-9))
    beyond = sum((max(share - 1.0, 0.0) / _EXCESS_SD) ** 2 for share in excess)
    return 0.5 * float(shared + believed + station + beyond)


def _within_days(missed: Floats, age: Floats) -> Floats:
    # Density and a sensor's mood are shared by pressure and load too, but for whole days.
    _, group, count = np.unique(age, return_inverse=True, return_counts=True)
    means = np.stack([np.bincount(group, weights=missed[:, c]) / count for c in (PRESSURE, LOAD)], axis=1)
    within = missed - means[group]
    return np.asarray(within.T @ within / max(len(missed) - len(count), 1))


def tame(missed: Floats) -> Floats:
    """Return residuals (hours, 2) with stray hours pulled in to three and a half robust deviations."""
    centre = np.median(missed, axis=0)
    robust = 1.4826 * np.median(np.abs(missed - centre), axis=0) + 1e-9
    return np.asarray(np.clip(missed, centre - 3.5 * robust, centre + 3.5 * robust))
