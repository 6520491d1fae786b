"""Which curves fit the healthy hours best, when airflow is measured no better than the rest?"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from analytics.arrays import Bools, Floats
from analytics.model import (
    INDEX,
    PARAMETERS,
    SIZE,
    Expected,
    LoadKind,
    Operating,
    Parameter,
    Plant,
    expect,
)
from analytics.priors import (
    AIRFLOW_NOISE,
    FLUX_RANGE,
    LEAST_HOUR_SD,
    PATH_TREND_SD,
    PINNED_SD,
    WEAK_CURRENT_SPEED,
)
from analytics.sloped import Sloped
from analytics.slopes import slopes_at

PRESSURE, LOAD = 0, 1
_ROBUST_SCALE = 1.5
_FLUX_STARTS = (0.0, 0.5, 1.0)
# Drives' flux laws tried, and the share of the fits' difference that is evidence of one: neighbouring hours
# err together, and a motor's amps follow no formula to the per cent.
_FLUX_LAWS = (0.0, 0.25, 0.5, 0.75, 1.0)
_FLUX_EVIDENCE_SHARE = 0.1
_START_NOISE = (0.015, 0.015)
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
    guesses = np.tile(problem.mean, (len(starts), 1))
    guesses[:, flux] = starts
    found, trends, costs = _solve(thin, guesses, np.zeros(len(starts)), [noise] * len(starts))
    best = int(np.argmin(costs))
    theta, trend, noise = _noise_found(problem, thin, found[best], float(trends[best]))
    # Creep and the load's exponent are told at the reference torque, which the curves themselves set.
    problem, theta = referred(problem, theta)
    pinned, law_doubt = problem, np.zeros((len(theta), len(theta)))
    if flux in problem.free:
        pinned, theta, law_doubt = _flux_law(problem, theta, trend, noise)
    found, trends, _ = _solve(pinned, theta[None], np.array([trend]), [noise])
    return problem, Fit(found[0], float(trends[0]), noise, law_doubt)


def _noise_found(problem: Healthy, thin: Healthy, theta: Floats, trend: float) -> tuple[Floats, float, Noise]:
    """Fit the curves under each noise of the station that may be; return the least strange with its fit."""
    airflows = AIRFLOW_NOISE[0] * np.exp(AIRFLOW_NOISE[1] * np.array(_NOISES_TRIED))
    noises = [_rest_of_noise(problem, theta, trend, float(airflow)) for airflow in airflows]
    count = len(noises)
    found, trends, _ = _solve(thin, np.tile(theta, (count, 1)), np.full(count, trend), noises)
    strange = [_strangeness(problem, found[i], float(trends[i]), noises[i].airflow) for i in range(count)]
    best = int(np.argmin(strange))
    theta, trend = found[best], float(trends[best])
    return theta, trend, _rest_of_noise(problem, theta, trend, noises[best].airflow)


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
    every, _, misfits = _solve(held, guesses, np.full(count, trend), [noise] * count)
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


def refits(problem: Healthy, fit: Fit, noises: Sequence[Noise]) -> list[Fit]:
    """Return the fit under each of some noises, started where the first one ended, on fewer hours."""
    count = len(noises)
    guesses, trends = np.tile(fit.theta, (count, 1)), np.full(count, fit.trend)
    found, loading, _ = _solve(_thinned(problem), guesses, trends, noises)
    return [replace(fit, theta=found[i], trend=float(loading[i]), noise=noises[i]) for i in range(count)]


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


def _sloped(
    problem: Healthy, theta: Floats, trend: Floats, trend_sd: float
) -> tuple[tuple[Sloped, Sloped], tuple[Sloped, Sloped]]:
    """Return what each hour misses and its log slopes by airflow, of pressure and of load."""
    hours, which = problem.operating, tuple(PARAMETERS[place] for place in problem.free)
    flows = hours.airflow * np.exp([0.0, _FLOW_STEP])[:, None]
    at = replace(hours, airflow=flows[:, None, None])
    expected, slopes = slopes_at(theta[:, None], problem.plant, at, which)
    read = np.maximum(hours.pressure[0], 0.05), np.maximum(hours.load[0], 0.02)
    loading = problem.age * hours.density[0] * np.square(flows)[:, None]
    shares = (
        (expected.pressure[..., 0, :] - trend[:, None] * loading) / read[0],
        expected.load[..., 0, :] / read[1],
    )
    loaded = np.broadcast_to(-trend_sd * loading / read[0], shares[0].shape)[..., None]
    by = (
        np.concatenate([slopes.pressure[..., 0, :, :] / read[0][:, None], loaded], axis=-1),
        np.concatenate([slopes.load[..., 0, :, :] / read[1][:, None], np.zeros_like(loaded)], axis=-1),
    )
    missed, sloped = [], []
    for channel in (PRESSURE, LOAD):
        share, slope, has = shares[channel], by[channel], float(problem.has[channel])
        missed.append(Sloped(has * (1.0 - share[0]), -has * slope[0]))
        sloped.append(
            Sloped(has * (share[1] - share[0]) / _FLOW_STEP, has * (slope[1] - slope[0]) / _FLOW_STEP)
        )
    return (missed[0], missed[1]), (sloped[0], sloped[1])


def _whitened(
    problem: Healthy, theta: Floats, trend: Floats, trend_sd: float, noises: Sequence[Noise]
) -> tuple[Sloped, Sloped]:
    """Return the misses of pressure and load as independent ones of unit variance, a search each noise."""
    (pressure, load), (by_flow, load_by_flow) = _sloped(problem, theta, trend, trend_sd)
    airflow, own_pressure, own_load = np.array(
        [[noise.airflow, noise.pressure, noise.load] for noise in noises]
    ).T[..., None]
    by_flow, load_by_flow = by_flow * airflow, load_by_flow * airflow
    # What is not known of the density moves pressure and load alike: no airflow error, whatever it seems.
    density = problem.density_sd**2
    first = by_flow.times(by_flow).plus(np.square(own_pressure) + density).root()
    across = by_flow.times(load_by_flow).plus(density).over(first)
    own = load_by_flow.times(load_by_flow).plus(np.square(own_load * problem.spread) + density)
    own = own.plus(across.times(across), -1.0)
    whitened = pressure.over(first)
    return whitened, load.plus(across.times(whitened), -1.0).over(own.root())


def _softened(whitened: Sloped) -> Sloped:
    # Square roots of the soft absolute loss: stray hours pull as their distance, the prior as its square.
    bent = np.sqrt(1.0 + np.square(whitened.value / _ROBUST_SCALE))
    softening = np.sqrt(2.0 / (1.0 + bent))
    slope = softening * (1.0 + bent) / (2.0 * bent)
    return Sloped(whitened.value * softening, whitened.by * slope[..., None])


def _solve(
    problem: Healthy, guesses: Floats, trends: Floats, noises: Sequence[Noise]
) -> tuple[Floats, Floats, Floats]:
    """Fit the curves from several guesses, each under its noise: parameters, trends and costs."""
    found = [_search(problem, *one) for one in zip(guesses, trends, noises, strict=True)]
    theta, trend, cost = zip(*found, strict=True)
    return np.stack(theta), np.array(trend), np.array(cost)


def _search(problem: Healthy, guess: Floats, trend: float, noise: Noise) -> tuple[Floats, float, float]:
    free, mean, sd = problem.free, problem.mean, problem.sd
    trend_sd = PATH_TREND_SD if problem.is_loading else PINNED_SD
    lower, upper = np.full(len(free) + 1, -np.inf), np.full(len(free) + 1, np.inf)
    for name in (Parameter.FRICTION, Parameter.PATH):
        lower[:-1][free == INDEX[name]] = 0.0
    is_flux = free == INDEX[Parameter.FLUX_EXPONENT]
    lower[:-1][is_flux], upper[:-1][is_flux] = FLUX_RANGE
    prior = np.diag(np.append(1.0 / sd[free], 1.0))
    # A step that is taken has its slopes asked for right after its misses.
    last: dict[bytes, Floats] = {}

    def spelled(values: Floats) -> Floats:
        theta = guess.copy()
        theta[free] = values[:-1]
        return theta

    def miss(values: Floats) -> Floats:
        at_trend = values[-1:] * trend_sd
        parts = [
            _softened(part) for part in _whitened(problem, spelled(values)[None], at_trend, trend_sd, [noise])
        ]
        last.clear()
        last[values.tobytes()] = np.concatenate([*(part.by[0] for part in parts), prior])
        believed = np.append((values[:-1] - mean[free]) / sd[free], values[-1])
        return np.concatenate([*(part.value[0] for part in parts), believed])

    def jacobian(values: Floats) -> Floats:
        if values.tobytes() not in last:
            miss(values)
        return last[values.tobytes()]

    first = np.clip(np.append(guess[free], trend / trend_sd), lower + 1e-6, upper - 1e-6)
    found = least_squares(
        miss, first, jacobian, bounds=(lower, upper), max_nfev=_MOST_STEPS, ftol=_TOLERANCE, xtol=_TOLERANCE
    )
    return spelled(found.x), float(found.x[-1] * trend_sd), float(found.cost)


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
