"""What do curves cost that do not fit the healthy hours, and how does the cost change with them?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.arrays import Floats
from analytics.curve_fit import FLOW_STEP, LOAD, PRESSURE, Healthy, Noise, divisor
from analytics.healthy_slopes import healthy_slopes
from analytics.least_cost import Costs
from analytics.model import PARAMETERS
from analytics.priors import PATH_TREND_SD, PINNED_SD

_ROBUST_SCALE = 1.5


class CurveMisfit:
    """The cost of curves and its slopes, for several searches side by side.

    A search's values are what the data may move, in the prior's deviations from its mean: the free
    parameters, and last how fast the path loads. `bases` (searches, SIZE) hold all other parameters; `noises`
    are one a search.

    Equation: half the sum of r' S^-1 r, by the triangular factor of S, each miss under a loss that pulls
    stray hours as their distance; the prior as its square. All is read at two flows next to each other, whose
    difference is the slope by the airflow.
    Validity and source: as for `analytics.healthy_fit.fit_healthy`.
    """

    def __init__(self, problem: Healthy, bases: Floats, noises: Sequence[Noise]) -> None:
        self._problem, self._bases, self._free = problem, bases, problem.free
        self._names = tuple(PARAMETERS[place] for place in self._free)
        self._trend_sd = PATH_TREND_SD if problem.is_loading else PINNED_SD
        self._sd = np.append(problem.sd[self._free], 1.0)
        self._squared_sd, self._prior = np.outer(self._sd, self._sd), np.eye(len(self._sd))
        hours = problem.operating
        flows = hours.airflow * np.exp([0.0, FLOW_STEP])[:, None]
        self._at = replace(hours, airflow=flows[:, None])
        self._torque: Floats | None = None
        self._loading = self._trend_sd * (problem.age * hours.density * np.square(flows))[:, None]
        airflow, pressure, load = np.array([[one.airflow, one.pressure, one.load] for one in noises]).T
        # What is not known of the density moves pressure and load alike: no airflow error, whatever it seems.
        self._density = problem.density_sd**2
        self._airflow = airflow[:, None] / FLOW_STEP
        self._pressure_variance = np.square(pressure)[:, None] + self._density
        self._load_variance = np.square(load[:, None] * problem.spread) + self._density
        self._per_pressure, self._per_load = (
            problem.has[channel] / divisor(hours, channel) for channel in (PRESSURE, LOAD)
        )

    def values(self, trends: Floats) -> Floats:
        """Return the values of the bases themselves, with the path's loading a day (searches,)."""
        problem, free = self._problem, self._free
        away = (self._bases[:, free] - problem.mean[free]) / problem.sd[free]
        return np.column_stack([away, trends / self._trend_sd])

    def spelled(self, values: Floats, which: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Return parameters (some, SIZE) and the path's loading a day (some,) of values of some searches."""
        problem, free = self._problem, self._free
        theta = self._bases[which]
        theta[:, free] = problem.mean[free] + values[:, :-1] * problem.sd[free]
        return theta, values[:, -1] * self._trend_sd

    def __call__(self, values: Floats, which: npt.NDArray[np.intp]) -> Costs:
        """Return the costs of some searches at some values."""
        theta, _ = self.spelled(values, which)
        # A search moves little by little: its torques are near those of its place before.
        before = None if self._torque is None else self._torque[:, which]
        plant, at, names = self._problem.plant, self._at, self._names
        expected, by_pressure, by_load = healthy_slopes(theta, plant, at, names, before)
        if self._torque is None:
            self._torque = np.ones((2, len(self._bases), expected.torque.shape[-1]))
        # A place where the model runs away is left again: nothing is begun from there.
        is_known = np.isfinite(expected.torque)
        self._torque[:, which] = np.where(is_known, expected.torque, self._torque[:, which])
        missed = self._missed(expected.pressure - values[:, -1:] * self._loading, expected.load, which)
        by = np.empty((values.shape[1], *missed.pull.shape))
        by[:-1, :, PRESSURE] = missed.on_pressure(by_pressure)
        by[:-1, :, LOAD] = missed.on_load(by_pressure) + missed.load_on_load(by_load)
        loaded = -self._loading[None]
        by[-1:, :, PRESSURE], by[-1:, :, LOAD] = missed.on_pressure(loaded), missed.on_load(loaded)
        # A search's readings in one row each: pressure's and the load's.
        rows = by.reshape(*by.shape[:2], -1).swapaxes(0, 1)
        pull = missed.pull.reshape(len(which), -1, 1)
        slope = (rows @ pull)[..., 0] * self._sd + values
        curvature = (rows @ rows.swapaxes(1, 2)) * self._squared_sd + self._prior
        return Costs(missed.cost + 0.5 * np.square(values).sum(-1), slope, curvature)

    def _missed(self, pressures: Floats, loads: Floats, which: npt.NDArray[np.intp]) -> "_Missed":
        has, per_pressure, per_load = self._problem.has, self._per_pressure, self._per_load
        step, load_step = self._airflow[which] * per_pressure, self._airflow[which] * per_load
        flow, load_flow = step * (pressures[1] - pressures[0]), load_step * (loads[1] - loads[0])
        root = np.sqrt(np.square(flow) + self._pressure_variance[which])
        across = (flow * load_flow + self._density) / root
        own = np.square(load_flow) + self._load_variance[which] - np.square(across)
        load_root = np.sqrt(own)
        miss = (has[PRESSURE] - per_pressure * pressures[0]) / root
        load_miss = (has[LOAD] - per_load * loads[0] - across * miss) / load_root
        cost, pull, weight = _softened(miss)
        load_cost, load_pull, load_weight = _softened(load_miss)
        weight /= root
        load_weight /= load_root
        # How the roots, and what pressure tells of the load, move with the slopes by the flow.
        share = flow / root
        turned = load_miss * across / load_root - miss
        bent = -weight * miss * share * step
        load_bent = load_weight * (turned * share - load_miss * load_flow / load_root) * load_step
        told = load_weight * (across * miss * share + turned * (load_flow - across * share)) / root * step
        return _Missed(
            (cost + load_cost).sum(-1),
            np.stack([pull, load_pull], axis=1),
            (-weight * per_pressure - bent, bent),
            (load_weight * across * per_pressure / root - told, told),
            (-load_weight * per_load - load_bent, load_bent),
        )


@dataclass(frozen=True, slots=True)
class _Missed:
    """What the hours miss: `cost` (searches,), their softened `pull` (searches, 2, hours).

    The weights (searches, hours), at both flows, bring slopes of what is expected to those of the misses.
    """

    cost: Floats
    pull: Floats
    pressure_weights: tuple[Floats, Floats]
    across_weights: tuple[Floats, Floats]
    load_weights: tuple[Floats, Floats]

    def on_pressure(self, by_pressure: Floats) -> Floats:
        """Return what slopes of pressure (values, 2 flows, searches, hours) do to its miss."""
        return _both(self.pressure_weights, by_pressure)

    def on_load(self, by_pressure: Floats) -> Floats:
        """Return what slopes of pressure do to the miss of the load."""
        return _both(self.across_weights, by_pressure)

    def load_on_load(self, by_load: Floats) -> Floats:
        """Return what slopes of the load do to its own miss."""
        return _both(self.load_weights, by_load)


def _both(weights: tuple[Floats, Floats], by: Floats) -> Floats:
    return np.asarray(weights[0] * by[:, 0] + weights[1] * by[:, 1])


def _softened(miss: Floats) -> tuple[Floats, Floats, Floats]:
    # Stray hours pull as their distance: the loss c^2 (b - 1), b^2 = 1 + (m / c)^2, half the square of a
    # softened miss m sqrt(2 / (1 + b)), which is given with its slope by the miss.
    bent = np.sqrt(1.0 + np.square(miss / _ROBUST_SCALE))
    half = np.sqrt(0.5 * (1.0 + bent))
    return _ROBUST_SCALE**2 * (bent - 1.0), miss / half, half / bent
