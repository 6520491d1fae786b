"""What can go wrong with a fan, its drive and its sensors, and how it comes and goes."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from demo_trends.arrays import Array, Mask

KINDS = {
    "slip": "slip at the reference torque added to the healthy drive's (fraction)",
    "drag": "bearing or alignment torque at the motor shaft, over rated torque",
    "lost": "the belt is off from the start of the fault (size is not used)",
    "ratio": "wheel speed over its speed at the old ratio, less one",
    "wheel": "share of pressure the wheel has lost to dirt or damage; power loses three quarters of it",
    "airflow_gain": "airflow reading over its true value, less one",
    "airflow_zero": "zero of a velocity-pressure station, as flow over design flow (signed)",
    "pressure_gain": "pressure reading over its true value, less one",
    "pressure_zero": "zero of the pressure sensor over design pressure",
    "current_gain": "current reading over its true value, less one",
    "power_gain": "power reading over its true value, less one",
    "torque_gain": "torque reading over its true value, less one",
    "speed_scale": "true output frequency over the reported one, less one",
    "speed_clamp": "highest true output frequency over base frequency while the command is free to rise",
    "path": "pressure that a loading filter or coil adds at design flow, over design pressure",
    "damper": "spread of intermittent damper swings, as pressure at design flow over design pressure",
}
SHAPES = ("step", "ramp", "growing")


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted fault; days count from the start of the run.

    `step` is there at once, `ramp` grows evenly over `ramp_days`, `growing` with the square of time. After
    `end_day` (a service) only the share `left` of it remains.
    """

    kind: str
    start_day: float
    size: float
    shape: str = "ramp"
    ramp_days: float = 60.0
    end_day: float | None = None
    left: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown kind of fault {self.kind!r}; known are {', '.join(KINDS)}")
        if self.shape not in SHAPES:
            raise ValueError(f"unknown shape {self.shape!r}; known are {', '.join(SHAPES)}")

    def course(self, days: Array) -> Array:
        """The share of its full size at each day."""
        age = np.clip((days - self.start_day) / self.ramp_days, 0.0, 1.0)
        grown = np.where(days >= self.start_day, 1.0, 0.0)
        if self.shape == "ramp":
            grown = age
        elif self.shape == "growing":
            grown = age**2
        if self.end_day is not None:
            grown = np.where(days >= self.end_day, self.left * grown, grown)
        return np.asarray(grown, dtype=np.float64)


def total(faults: Iterable[Fault], kind: str, days: Array) -> Array:
    """The summed size of all faults of a kind at each day."""
    size = np.zeros_like(days)
    for fault in faults:
        if fault.kind == kind:
            size = size + fault.size * fault.course(days)
    return size


def is_present(faults: Iterable[Fault], kind: str, days: Array) -> Mask:
    """Where a fault that is either there or not is there."""
    present = np.zeros(days.shape, dtype=bool)
    for fault in faults:
        if fault.kind == kind:
            present |= fault.course(days) > 0.5
    return present


def lowest_clamp(faults: Iterable[Fault], days: Array) -> Array:
    """The lowest speed clamp in force at each day; infinite where there is none."""
    clamp = np.full(days.shape, np.inf)
    for fault in faults:
        if fault.kind == "speed_clamp":
            clamp = np.where(fault.course(days) > 0.5, np.minimum(clamp, fault.size), clamp)
    return clamp
