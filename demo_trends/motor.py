"""What an induction motor on a drive or a starter does under a torque: slip, current and input power.

The steady-state equivalent circuit per phase, written for a frequency fraction `a` (output over base
frequency) with everything divided by `a`, so that reactances keep their base values, the stator resistance
becomes Rs/a and the supply becomes flux times rated voltage.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_trends.arrays import Array

Complex = NDArray[np.complexfloating]

COPPER_PER_K = 0.00393
COLD_K_BELOW_HOT = 55.0
"""How much cooler the windings are at a cold start than after hours of running."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """The circuit of one phase in ohm at base frequency, windings hot."""

    stator_ohm: float
    stator_leakage_ohm: float
    magnetising_ohm: float
    core_ohm: float
    rotor_leakage_ohm: float
    rotor_ohm: float


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor, how its drive feeds it, and its rated point.

    `flux_law` is `constant` (volts per hertz), `quadratic` or `automatic` (flux follows the load).
    """

    rated_w: float
    volts: float
    base_hz: float
    poles: int
    circuit: Circuit
    is_delta: bool = True
    friction_nm: float = 0.0
    stray_fraction: float = 0.005
    kind: str = "induction"
    flux_law: str = "constant"
    flux_exponent: float = 1.0
    has_drive: bool = True
    drive_fixed_fraction: float = 0.012
    drive_copper_fraction: float = 0.022
    slip_compensation: float = 0.0
    rated_current_a: float = 0.0
    rated_rpm: float = 0.0
    rated_power_factor: float = 0.0
    rated_efficiency: float = 0.0
    no_load_current_a: float = 0.0

    @property
    def sync_rpm(self) -> float:
        """Synchronous speed at base frequency."""
        return 120.0 * self.base_hz / self.poles

    @property
    def rated_nm(self) -> float:
        """Rated shaft torque."""
        rpm = self.rated_rpm or 0.98 * self.sync_rpm
        return self.rated_w / (rpm * np.pi / 30)


class Electrical(NamedTuple):
    """What the motor draws: motor-side current, motor input and input of its drive, power factor."""

    current_a: Array
    motor_input_w: Array
    line_w: Array
    power_factor: Array


def flux(motor: Motor, frequency: Array, torque_nm: Array) -> Array:
    """Flux over rated flux that the drive gives at a frequency fraction and load."""
    weakened = 1.0 / np.maximum(frequency, 1.0)
    if not motor.has_drive or motor.flux_law == "constant":
        return weakened
    below = np.clip(frequency, 0.05, 1.0)
    if motor.flux_law == "quadratic":
        return np.maximum(below**motor.flux_exponent, 0.25) * weakened
    load = np.clip(torque_nm / motor.rated_nm, 0.0, 1.0)
    return np.clip(np.sqrt(load) * 1.05, 0.45, 1.0) * weakened


def resistance_factor(warmth: Array) -> Array:
    """Winding resistance over its hot value; warmth runs from 0 (cold start) to 1 (hours of running)."""
    return 1.0 - COPPER_PER_K * COLD_K_BELOW_HOT * (1.0 - warmth) / (1.0 + COPPER_PER_K * 90.0)


def _network(motor: Motor, frequency: Array, warmth: Array) -> tuple[Complex, Complex]:
    """Stator impedance, magnetising branch, both divided by the frequency fraction."""
    circuit = motor.circuit
    a = np.maximum(frequency, 0.02)
    stator = circuit.stator_ohm * resistance_factor(warmth) / a + 1j * circuit.stator_leakage_ohm
    core = circuit.core_ohm * a**-0.4
    magnetising = 1.0 / (1.0 / (1j * circuit.magnetising_ohm) + 1.0 / core)
    return stator, magnetising


def _rotor_load_ohm(motor: Motor, frequency: Array, torque_nm: Array, warmth: Array, volts: Array) -> Array:
    """Rr over slip frequency: the larger root of the torque equation, held at breakdown beyond it."""
    stator, magnetising = _network(motor, frequency, warmth)
    ahead = magnetising / (stator + magnetising)
    thevenin = stator * ahead
    r, x = thevenin.real, thevenin.imag + motor.circuit.rotor_leakage_ohm
    supply = volts * flux(motor, frequency, torque_nm) * np.abs(ahead)
    strength = 3.0 * supply**2 / (motor.sync_rpm * np.pi / 30)
    torque = np.maximum(torque_nm + motor.friction_nm, 1e-9 * motor.rated_w)
    half = strength / (2.0 * torque) - r
    return np.asarray(half + np.sqrt(np.maximum(half**2 - (r**2 + x**2), 0.0)), dtype=np.float64)


def _phase_volts(motor: Motor, line_volts: Array | None, like: Array) -> Array:
    supply = np.full_like(like, motor.volts) if line_volts is None else line_volts
    return np.asarray(supply if motor.is_delta else supply / np.sqrt(3.0), dtype=np.float64)


def slip_fraction(
    motor: Motor, frequency: Array, torque_nm: Array, warmth: Array, line_volts: Array | None = None
) -> Array:
    """Speed lost in the motor, as a fraction of synchronous speed at base frequency."""
    if motor.kind == "permanent_magnet":
        return np.zeros_like(torque_nm)
    volts = _phase_volts(motor, line_volts, torque_nm)
    load_ohm = _rotor_load_ohm(motor, frequency, torque_nm, warmth, volts)
    return np.asarray(motor.circuit.rotor_ohm * resistance_factor(warmth) / load_ohm, dtype=np.float64)


def frequency_for(motor: Motor, motor_rpm: Array, torque_nm: Array, warmth: Array) -> Array:
    """The frequency fraction at which the motor turns at this speed under this torque."""
    frequency = motor_rpm / motor.sync_rpm
    for _ in range(12):
        slip = slip_fraction(motor, frequency, torque_nm, warmth)
        frequency = motor_rpm / motor.sync_rpm + np.minimum(slip, 0.3)
    return frequency


def electrical(
    motor: Motor, frequency: Array, torque_nm: Array, warmth: Array, line_volts: Array | None = None
) -> Electrical:
    """Current and power at a frequency fraction under a shaft torque."""
    a = np.maximum(frequency, 0.02)
    if motor.kind == "permanent_magnet":
        return _permanent_magnet(motor, a, torque_nm)
    volts = _phase_volts(motor, line_volts, torque_nm)
    stator, magnetising = _network(motor, a, warmth)
    load_ohm = _rotor_load_ohm(motor, a, torque_nm, warmth, volts)
    rotor = load_ohm + 1j * motor.circuit.rotor_leakage_ohm
    supply = volts * flux(motor, a, torque_nm)
    phase = supply / (stator + magnetising * rotor / (magnetising + rotor))
    real = 3.0 * supply * a * phase.real
    stray = motor.stray_fraction * motor.rated_w * (torque_nm / motor.rated_nm) ** 2 * a
    apparent = 3.0 * supply * a * np.abs(phase)
    motor_input = real + stray
    current = np.abs(phase) * (np.sqrt(3.0) if motor.is_delta else 1.0)
    line = _line_power(motor, motor_input, current)
    return Electrical(current, motor_input, line, np.minimum(motor_input / apparent, 1.0))


def _permanent_magnet(motor: Motor, a: Array, torque_nm: Array) -> Electrical:
    """No slip and no magnetising current: current follows torque, with copper, iron and friction losses."""
    load = torque_nm / motor.rated_nm
    shaft = torque_nm * a * motor.sync_rpm * np.pi / 30
    lost = motor.rated_w * (0.035 * load**2 + 0.015 * a**1.3 + 0.006 * a**2)
    current = motor.rated_current_a * np.sqrt(load**2 + 0.03**2)
    motor_input = shaft + lost
    return Electrical(
        current,
        motor_input,
        _line_power(motor, motor_input, current),
        np.full_like(a, motor.rated_power_factor),
    )


def _line_power(motor: Motor, motor_input: Array, current: Array) -> Array:
    """Power at the supply side of the drive; the motor's own input on a starter."""
    if not motor.has_drive:
        return motor_input
    load = current / max(motor.rated_current_a, 1e-9)
    fixed, copper = motor.drive_fixed_fraction, motor.drive_copper_fraction
    return np.asarray(motor_input + motor.rated_w * (fixed + copper * load**1.5), dtype=np.float64)


def rated_point(motor: Motor) -> Motor:
    """The same motor with its rated speed, current, power factor and efficiency solved from its circuit."""
    one = np.ones(1)
    if motor.kind == "permanent_magnet":
        current = motor.rated_w / (np.sqrt(3.0) * motor.volts * 0.94 * 0.93)
        return replace(
            motor,
            rated_rpm=motor.sync_rpm,
            rated_current_a=float(current),
            rated_power_factor=0.94,
            rated_efficiency=0.93,
        )
    rpm = 0.98 * motor.sync_rpm
    unregulated = replace(motor, flux_law="constant")
    for _ in range(40):
        torque = np.array([motor.rated_w / (rpm * np.pi / 30)])
        rpm = float(motor.sync_rpm * (1.0 - slip_fraction(unregulated, one, torque, one)[0]))
    solved = replace(unregulated, rated_rpm=rpm)
    loaded = electrical(solved, one, np.array([solved.rated_nm]), one)
    idle = electrical(solved, one, np.zeros(1), one)
    return replace(
        motor,
        rated_rpm=rpm,
        rated_current_a=float(loaded.current_a[0]),
        rated_power_factor=float(loaded.power_factor[0]),
        rated_efficiency=float(motor.rated_w / loaded.motor_input_w[0]),
        no_load_current_a=float(idle.current_a[0]),
    )


def typical_motor(
    rated_w: float,
    *,
    volts: float = 460.0,
    base_hz: float = 60.0,
    poles: int = 4,
    kind: str = "induction",
    flux_law: str = "constant",
    flux_exponent: float = 1.0,
    has_drive: bool = True,
    slip_compensation: float = 0.0,
    magnetising: float = 1.0,
    resistance: float = 1.0,
) -> Motor:
    """A motor of usual proportions for its size; the two factors make it an individual.

    Per-unit impedances are scaled from the published 18.5 kW circuit with the usual trend of size:
    small motors have more resistance and more magnetising current.
    """
    size = rated_w / 18_500.0
    current = rated_w / (np.sqrt(3.0) * volts * 0.90 * 0.85 * size**0.03)
    base_ohm = volts / (current / np.sqrt(3.0))
    poles_penalty = (4.0 / poles) ** 0.5
    circuit = Circuit(
        stator_ohm=0.032 * base_ohm * size**-0.30 * resistance,
        stator_leakage_ohm=0.072 * base_ohm,
        magnetising_ohm=3.1 * base_ohm * min(size, 4.0) ** 0.18 * poles_penalty / magnetising,
        core_ohm=60.0 * base_ohm * size**0.15,
        rotor_leakage_ohm=0.105 * base_ohm,
        rotor_ohm=0.0245 * base_ohm * size**-0.28 * resistance,
    )
    sync = 120.0 * base_hz / poles
    friction = 0.009 * size**-0.1 * rated_w / (sync * np.pi / 30)
    motor = Motor(
        rated_w,
        volts,
        base_hz,
        poles,
        circuit,
        friction_nm=float(friction),
        kind=kind,
        flux_law=flux_law,
        flux_exponent=flux_exponent,
        has_drive=has_drive,
        drive_fixed_fraction=0.010 + 0.006 * size**-0.3,
        slip_compensation=slip_compensation,
    )
    return rated_point(motor)
