"""What are a fan's healthy hours, and how far do they lie off some curves?"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analytics.arrays import Bools, Floats
from analytics.model import (
    SIZE,
    Expected,
    LoadKind,
    Operating,
    Plant,
    expect,
)
from analytics.priors import PINNED_SD, WEAK_CURRENT_SPEED

PRESSURE, LOAD = 0, 1
# What a reading is divided by is held above this, of its scale.
_LEAST_READ = (0.05, 0.02)
FLOW_STEP = 1e-4


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


def residuals(problem: Healthy, theta: Floats, trend: float) -> tuple[Floats, Expected]:
    """Return residuals of pressure and load over the readings, and what was expected.

    Parameters: `problem`; `theta` (SIZE,) the model's parameters; `trend` of the loading path a day.
    Returns: (hours, 2), relative; the expectation as a batch of one.
    """
    missed, _ = missed_and_slopes(problem, theta[None], np.array([trend]))
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
    return missed_and_slopes(problem, theta, trend)[1]


def missed_and_slopes(problem: Healthy, theta: Floats, trend: Floats) -> tuple[Floats, Floats]:
    """Return what pressure and load miss at some sets of parameters, and their log slopes by airflow."""
    hours = problem.operating
    flows = hours.airflow * np.exp([0.0, FLOW_STEP])[:, None]
    here, moved = _relative(problem, theta, trend, flows[:, None, None])
    missed = np.where(problem.has, 1.0 - here, 0.0)
    return missed, np.where(problem.has, (moved - here) / FLOW_STEP, 0.0)


def _relative(problem: Healthy, theta: Floats, trend: Floats, airflow: Floats) -> Floats:
    # What is expected over what was read, (flows, sets, hours, 2), at flows (flows, 1, 1, hours).
    hours = problem.operating
    at = Operating(hours.speed, airflow, hours.density, hours.pressure, hours.load, hours.is_used)
    expected = expect(theta[:, None], problem.plant, at)
    loaded = trend[:, None] * (problem.age * hours.density[0] * np.square(airflow[:, 0]))
    pressure = (expected.pressure[..., 0, :] - loaded) / divisor(hours, PRESSURE)
    return np.stack([pressure, expected.load[..., 0, :] / divisor(hours, LOAD)], axis=-1)


def divisor(hours: Operating, channel: int) -> Floats:
    """Return what misses of a reading are told over (hours,): the reading, held above nothing."""
    read = hours.load if channel == LOAD else hours.pressure
    return np.asarray(np.maximum(read[0], _LEAST_READ[channel]))


def tame(missed: Floats) -> Floats:
    """Return residuals (hours, 2) with stray hours pulled in to three and a half robust deviations."""
    centre = np.median(missed, axis=0)
    robust = 1.4826 * np.median(np.abs(missed - centre), axis=0) + 1e-9
    return np.asarray(np.clip(missed, centre - 3.5 * robust, centre + 3.5 * robust))
