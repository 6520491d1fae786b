"""The search for healthy curves against another: SciPy's at tight tolerance, on a cost written out again."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from analytics.curve_fit import Fit, Healthy, flow_slopes, residuals
from analytics.curve_misfit import CurveMisfit
from analytics.curve_priors import curve_prior
from analytics.curves import fit_curves
from analytics.healthy_fit import fit_healthy
from analytics.machine import Machine
from analytics.model import INDEX, LoadKind, Operating, Parameter, Plant, expect
from analytics.priors import HEALTHY_DENSITY_SD, PATH_TREND_SD, PINNED_SD
from analytics.scaled_hours import Channels, ScaledHours, channels_of, scaled_hours
from analytics.vocabulary import PressureLocation
from tests.accuracy.drawing import NARROW, QUIET, draw_fan
from tests.analytics.planted import CHANNELS, MACHINE, planted_theta

IN_A_DUCT = replace(MACHINE, pressure_location=PressureLocation.DUCT)
ROBUST_SCALE = 1.5
# Friction drives no fan, and a path takes seven tenths of the fan's pressure at the most.
HELD = {Parameter.FRICTION: (0.0, np.inf), Parameter.PATH: (0.0, 7.0 / 3.0)}


def healthy_hours(kind: LoadKind, lightly: float, machine: Machine, count: int = 160) -> Healthy:
    """A planted fan's healthy period, its load at full speed a share `lightly` of what is planted."""
    rng = np.random.default_rng([count, int(kind)])
    theta, one = planted_theta(np.log(lightly)), np.ones((1, count))
    theta[0, INDEX[Parameter.NO_LOAD_CURRENT]] = 0.35
    theta[0, INDEX[Parameter.PATH]] = 0.4 if machine is IN_A_DUCT else 0.0
    plant = Plant(np.array([0.025]), np.array([float(kind)]), np.array([0.7 * lightly]))
    speed = rng.uniform(0.5, 0.97, (1, count))
    hours = Operating(
        speed,
        speed * rng.uniform(0.8, 1.15, (1, count)),
        rng.uniform(0.95, 1.05, (1, count)),
        one,
        one,
        one > 0,
    )
    true, noisy = expect(theta, plant, hours), 1.0 + 0.015 * rng.normal(size=(3, 1, count))
    hours = replace(hours, airflow=hours.airflow * noisy[0], pressure=true.pressure * noisy[1])
    load = np.where(rng.random((1, count)) < 0.03, 1.15, 1.0) * true.load * noisy[2]
    hours = replace(hours, load=load)
    mean, sd = curve_prior(machine, replace(CHANNELS, load_kind=kind), hours)
    age = np.arange(count) // 8.0
    is_loading = machine is IN_A_DUCT
    return Healthy(hours, plant, mean, sd, np.array([True, True]), age, is_loading, HEALTHY_DENSITY_SD)


def written_out(problem: Healthy, fit: Fit, theta: np.ndarray, trend: float) -> np.ndarray:
    """The cost's square roots, hour by hour through the covariance of its readings."""
    missed, _ = residuals(problem, theta, trend)
    slopes = flow_slopes(problem, theta[None], np.array([trend]))[0]
    own = np.stack([np.full(len(missed), fit.noise.pressure), fit.noise.load * problem.spread], axis=-1)
    covariance = own[:, :, None] ** 2 * np.eye(2) + problem.density_sd**2
    covariance = covariance + fit.noise.airflow**2 * slopes[:, :, None] * slopes[:, None, :]
    white = np.linalg.solve(np.linalg.cholesky(covariance), missed[..., None])[..., 0].T.ravel()
    loss = 2.0 * ROBUST_SCALE**2 * (np.sqrt(1.0 + (white / ROBUST_SCALE) ** 2) - 1.0)
    return np.append(np.sign(white) * np.sqrt(loss), trend / trend_sd(problem))


def trend_sd(problem: Healthy) -> float:
    return PATH_TREND_SD if problem.is_loading else PINNED_SD


def least_by_another_search(problem: Healthy, fit: Fit) -> tuple[np.ndarray, float, float]:
    """SciPy's least from a third of a deviation off the fit: how far from ours it is, its cost, ours."""
    free = problem.free[problem.free != INDEX[Parameter.FLUX_EXPONENT]]
    mean, sd = problem.mean[free], problem.sd[free]

    def roots(values: np.ndarray) -> np.ndarray:
        theta = fit.theta.copy()
        theta[free] = mean + values[:-1] * sd
        return np.concatenate([written_out(problem, fit, theta, values[-1] * trend_sd(problem)), values[:-1]])

    ours = np.append((fit.theta[free] - mean) / sd, fit.trend / trend_sd(problem))
    lower, upper = np.full(len(ours), -np.inf), np.full(len(ours), np.inf)
    for name, (least, most) in HELD.items():
        (place,) = np.nonzero(free == INDEX[name])
        lower[place], upper[place] = (least - mean[place]) / sd[place], (most - mean[place]) / sd[place]
    away = np.clip(ours + 0.3 * np.cos(np.arange(len(ours))), lower + 1e-3, upper - 1e-3)
    found = least_squares(
        roots, away, "3-point", bounds=(lower, upper), x_scale="jac", ftol=1e-13, xtol=1e-13, gtol=1e-10
    )
    return found.x - ours, found.cost, 0.5 * float(np.square(roots(ours)).sum())


@pytest.mark.parametrize(
    ("kind", "lightly", "machine"),
    [
        (LoadKind.CURRENT, 1.0, IN_A_DUCT),
        (LoadKind.POWER, 0.3, MACHINE),
        (LoadKind.TORQUE, 1.0, IN_A_DUCT),
    ],
    ids=["amps in a duct", "a light load in kW", "torque in a duct"],
)
def test_no_other_search_finds_cheaper_curves(kind: LoadKind, lightly: float, machine: Machine) -> None:
    problem, fit = fit_healthy(healthy_hours(kind, lightly, machine))
    away, cost, ours = least_by_another_search(problem, fit)
    assert ours <= cost * (1.0 + 1e-6)
    # In the prior's deviations, of which the data leave a hundredth to one.
    assert np.abs(away).max() < 0.02


def test_the_slopes_of_the_cost_are_what_it_moves_by() -> None:
    problem, fit = fit_healthy(healthy_hours(LoadKind.CURRENT, 1.0, IN_A_DUCT))
    bases = np.array([fit.theta, problem.mean])
    misfit, which = CurveMisfit(problem, bases, [fit.noise, fit.noise]), np.arange(2)
    at = misfit.values(np.array([fit.trend, 0.001])) + 0.05
    found = misfit(at, which)
    for value in range(at.shape[1]):
        step = np.zeros(at.shape[1])
        step[value] = 1e-5
        moved = (misfit(at + step, which).cost - misfit(at - step, which).cost) / 2e-5
        assert found.slope[:, value] == pytest.approx(moved, rel=1e-3, abs=2e-3)


def test_the_cost_is_the_one_written_out() -> None:
    problem, fit = fit_healthy(healthy_hours(LoadKind.POWER, 0.3, IN_A_DUCT))
    misfit = CurveMisfit(problem, fit.theta[None], [fit.noise])
    values = misfit.values(np.array([fit.trend]))
    roots = np.append(written_out(problem, fit, fit.theta, fit.trend), values[0, :-1])
    assert misfit(values, np.arange(1)).cost[0] == pytest.approx(0.5 * np.square(roots).sum(), rel=1e-9)


GONE = {"all": (), "no airflow": ("airflow_m3s",), "no pressure": ("pressure_pa",)}


def drawn(number: int) -> tuple[ScaledHours, np.ndarray, Machine, Channels]:
    """A drawn fan's healthy hours: one in five narrow, one in three without its airflow or its pressure."""
    fan = draw_fan(4041, number, NARROW if number % 5 == 3 else QUIET, (5, 15, 60)[number % 3], days=36)
    gone = {1: GONE["no airflow"], 4: GONE["no pressure"]}.get(number % 6, ())
    hours = fan.hours.assign(**dict.fromkeys(gone, np.nan))
    channels = channels_of(hours, fan.machine)
    return scaled_hours(hours, fan.machine, channels), fan.day, fan.machine, channels


@pytest.mark.long
@pytest.mark.parametrize("first", range(0, 240, 24))
def test_no_other_search_finds_cheaper_curves_of_drawn_fans(
    first: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[tuple[Healthy, Fit]] = []

    def keeping(problem: Healthy) -> tuple[Healthy, Fit]:
        kept.append(fit_healthy(problem))
        return kept[-1]

    monkeypatch.setattr("analytics.curves.fit_healthy", keeping)
    for number in range(first, first + 24):
        fit_curves(*drawn(number))
    assert len(kept) > 12
    for problem, fit in kept:
        _, cost, ours = least_by_another_search(problem, fit)
        assert ours <= cost * (1.0 + 1e-6)
