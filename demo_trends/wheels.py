"""What a wheel does: dimensionless pressure and power against flow, in shapes that are not the estimator's.

Everything is relative to the design point: phi = flow/design flow over speed/design speed, psi and lam the
pressure and shaft power over design, divided by density ratio and the square and cube of the speed ratio.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from demo_trends.arrays import Array

STANDARD_DENSITY = 1.2
FAMILIES = ("losses", "rational", "spline")

# Typical shapes read from textbook drawings of each blading; common practice, no source.
_PHI: dict[str, tuple[float, ...]] = {
    "backward_inclined": (0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6),
    "airfoil": (0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6),
    "plenum": (0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6),
    "forward_curved": (0, 0.3, 0.5, 0.7, 0.85, 1, 1.2, 1.5, 1.8, 2.1),
    "mixed_flow": (0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.55),
    "radial": (0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1.1, 1.2, 1.5, 1.8),
    "axial": (0, 0.25, 0.5, 0.65, 0.8, 0.9, 1, 1.1, 1.2, 1.35, 1.45),
}
_PSI: dict[str, tuple[float, ...]] = {
    "backward_inclined": (1.22, 1.28, 1.31, 1.28, 1.17, 1.09, 1, 0.88, 0.74, 0.43, 0.05),
    "airfoil": (1.27, 1.26, 1.24, 1.20, 1.12, 1.07, 1, 0.90, 0.77, 0.45, 0.10),
    "plenum": (1.15, 1.21, 1.25, 1.23, 1.14, 1.08, 1, 0.90, 0.78, 0.50, 0.18),
    "forward_curved": (1.08, 0.95, 0.93, 0.97, 1.00, 1, 0.96, 0.82, 0.58, 0.25),
    "mixed_flow": (1.60, 1.50, 1.39, 1.28, 1.15, 1.08, 1, 0.90, 0.79, 0.50, 0.22),
    "radial": (1.20, 1.21, 1.19, 1.15, 1.09, 1.05, 1, 0.94, 0.88, 0.66, 0.40),
    "axial": (1.85, 1.62, 1.42, 1.33, 1.21, 1.11, 1, 0.87, 0.72, 0.44, 0.18),
}
_LAM: dict[str, tuple[float, ...]] = {
    "backward_inclined": (0.40, 0.52, 0.66, 0.80, 0.92, 0.97, 1, 1.01, 1.00, 0.92, 0.78),
    "airfoil": (0.40, 0.54, 0.68, 0.82, 0.93, 0.97, 1, 1.01, 0.99, 0.92, 0.86),
    "plenum": (0.45, 0.57, 0.70, 0.83, 0.93, 0.97, 1, 1.015, 1.01, 0.95, 0.85),
    "forward_curved": (0.20, 0.37, 0.52, 0.69, 0.84, 1, 1.23, 1.62, 2.08, 2.60),
    "mixed_flow": (0.75, 0.78, 0.83, 0.89, 0.95, 0.98, 1, 1.01, 1.00, 0.93, 0.84),
    "radial": (0.30, 0.44, 0.58, 0.72, 0.86, 0.93, 1, 1.07, 1.14, 1.32, 1.48),
    "axial": (1.32, 1.20, 1.10, 1.07, 1.05, 1.03, 1, 0.96, 0.90, 0.79, 0.70),
}
PEAK_EFFICIENCY = {
    "backward_inclined": 0.74,
    "airfoil": 0.78,
    "plenum": 0.68,
    "forward_curved": 0.60,
    "mixed_flow": 0.70,
    "radial": 0.62,
    "axial": 0.66,
}
FAN_TYPES = tuple(_PHI)


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel: its design point at standard density and its two curves on a fine grid of phi.

    `scale_exponent` is how far torque falls short of the square of speed, as small wheels' losses do.
    """

    fan_type: str
    design_airflow_m3s: float
    design_pressure_pa: float
    design_rpm: float
    design_shaft_w: float
    phi: Array
    psi: Array
    lam: Array
    scale_exponent: float = 0.0

    def pressure_pa(self, airflow: Array, rpm: Array, density: Array) -> Array:
        """Pressure rise at a flow, speed and density."""
        speed = rpm / self.design_rpm
        phi = airflow / self.design_airflow_m3s / np.maximum(speed, 1e-9)
        scale = self.design_pressure_pa * speed**2 * density / STANDARD_DENSITY
        return np.asarray(np.interp(phi, self.phi, self.psi) * scale, dtype=np.float64)

    def square_law_nm(self, phi: Array, rpm: Array, density: Array) -> Array:
        """Aerodynamic torque at the wheel shaft by the fan laws alone."""
        speed = rpm / self.design_rpm
        design_nm = self.design_shaft_w / (self.design_rpm * np.pi / 30)
        return np.asarray(
            np.interp(phi, self.phi, self.lam) * design_nm * speed**2 * density / STANDARD_DENSITY,
            dtype=np.float64,
        )

    def off_the_law(self, rpm: Array) -> Array:
        """Torque over what the fan laws say."""
        return np.asarray((np.maximum(rpm, 1.0) / self.design_rpm) ** -self.scale_exponent, dtype=np.float64)

    def torque_nm(self, phi: Array, rpm: Array, density: Array) -> Array:
        """Aerodynamic torque at the wheel shaft."""
        return np.asarray(self.square_law_nm(phi, rpm, density) * self.off_the_law(rpm), dtype=np.float64)

    def phi_on(self, resistance: Array, density: Array) -> Array:
        """Where the curve p = resistance x flow^2 crosses the wheel's, whatever the speed."""
        design = self.design_pressure_pa / self.design_airflow_m3s**2
        wanted = resistance / design / (density / STANDARD_DENSITY)
        steepness = np.log(self.psi / self.phi**2)
        return np.asarray(np.interp(-np.log(wanted), -steepness, self.phi), dtype=np.float64)


def _rational(phi: Array, values: Array, grid: Array) -> Array:
    """Least squares of (a + b phi + c phi^2)/(1 + d phi^2), d chosen from a few."""
    best, best_misfit = grid, np.inf
    for pole in (0.0, 0.1, 0.2, 0.4, 0.7, 1.1):
        weight = 1.0 / (1.0 + pole * phi**2)
        terms = np.stack([weight, weight * phi, weight * phi**2], axis=1)
        coefficients, *_ = np.linalg.lstsq(terms, values, rcond=None)
        misfit = float(np.sum((terms @ coefficients - values) ** 2))
        if misfit < best_misfit:
            best = np.polynomial.polynomial.polyval(grid, coefficients) / (1.0 + pole * grid**2)
            best_misfit = misfit
    return np.asarray(best, dtype=np.float64)


def _losses(phi: Array, values: Array, grid: Array) -> Array:
    """Euler head less friction and incidence: a plain quadratic, fitted where fans run."""
    is_working = (phi > 0.35) & (phi < 1.45)
    coefficients = np.polynomial.polynomial.polyfit(phi[is_working], values[is_working], 2)
    return np.asarray(np.polynomial.polynomial.polyval(grid, coefficients), dtype=np.float64)


def _shape(family: str, phi: Array, values: Array, grid: Array) -> Array:
    if family == "spline":
        return np.asarray(CubicSpline(phi, values)(grid), dtype=np.float64)
    if family == "rational":
        return _rational(phi, values, grid)
    return _losses(phi, values, grid)


def draw_wheel(
    rng: np.random.Generator,
    fan_type: str,
    design_airflow_m3s: float,
    design_pressure_pa: float,
    design_rpm: float,
    *,
    family: str = "spline",
    variation: float = 1.0,
) -> Wheel:
    """A wheel of this type: the typical points, bent at random, through one of FAMILIES."""
    phi = np.array(_PHI[fan_type])
    grid = np.linspace(0.06, phi[-1], 1200)
    bend = variation * rng.normal(0.0, (0.05, 0.06, 0.05, 0.06))
    psi_points = np.array(_PSI[fan_type]) * np.exp(bend[0] * (phi - 1) + bend[1] * (phi - 1) ** 2)
    lam_points = np.array(_LAM[fan_type]) * np.exp(bend[2] * (phi - 1) + bend[3] * (phi - 1) ** 2)
    psi = np.maximum(_shape(family, phi, psi_points, grid), 0.01)
    lam = np.maximum(_shape(family, phi, lam_points, grid), 0.05)
    psi, lam = psi / np.interp(1.0, grid, psi), lam / np.interp(1.0, grid, lam)
    efficiency = PEAK_EFFICIENCY[fan_type] * (1.0 + 0.04 * variation * float(rng.normal()))
    shaft_w = design_airflow_m3s * design_pressure_pa / efficiency
    return Wheel(fan_type, design_airflow_m3s, design_pressure_pa, design_rpm, shaft_w, grid, psi, lam)
