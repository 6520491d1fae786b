"""How fast and how hard is the motor turning, and what does it draw for it?"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats
from analytics.sized_curves import SizedCurves

# Room, in pole pairs, for a nameplate that rounds up and for motors without slip.
_POLE_PAIR_ROOM: Final = 0.02

_LARGE_MOTOR_KW: Final = 185.0
_LARGE_MOTOR_EFFICIENCY: Final = 0.962
_SMALLEST_REFERENCE_KW: Final = 0.1
_REFERENCE_QUARTIC: Final = (0.850274, 0.125559, -0.072577, 0.025834, -0.003812)

_MOTOR_PART_LOAD: Final = SizedCurves.of_horsepower(
    (1.0, 1.092165, 0.082060, -0.007200),
    (5.0, 1.223684, 0.084670, -0.135186),
    (10.0, 1.146258, 0.045766, -0.110367),
    (25.0, 1.137209, 0.050236, -0.089150),
    (50.0, 1.088803, 0.029753, -0.064058),
    (75.0, 1.077140, 0.029005, -0.049350),
    (100.0, 1.035294, 0.012948, -0.024708),
    (125.0, 1.030968, 0.010696, -0.023514),
)
_VFD_PART_LOAD: Final = SizedCurves.of_horsepower(
    (3.0, 0.978856, 0.034247, -0.007862),
    (5.0, 0.977485, 0.028413, -0.002733),
    (10.0, 0.978715, 0.022227, 0.001941),
    (20.0, 0.984973, 0.017545, -0.000475),
    (30.0, 0.987405, 0.015536, -0.005937),
    (50.0, 0.987910, 0.018376, -0.001692),
    (60.0, 0.971904, 0.014537, 0.011849),
    (75.0, 0.991874, 0.017897, -0.001301),
    (100.0, 0.982384, 0.012598, 0.001405),
    (200.0, 0.984476, 0.009828, -0.004560),
)

_NO_LOAD_SHARE_SMALL: Final = 0.52
_NO_LOAD_SMALL_W: Final = 750.0
_NO_LOAD_FALL_PER_DECADE: Final = 0.12
_NO_LOAD_RANGE: Final = (0.25, 0.55)
_NO_LOAD_SD: Final = 0.08

# Below this a drive turns no fan.
_LEAST_SPEED: Final = 0.1
_NEWTON_STEPS: Final = 6
_TORQUE_STEP: Final = 1e-5
_SHAFT_STEP: Final = 1e-5


def synchronous_rpm(hz: ArrayLike, poles: ArrayLike) -> Floats:
    """Speed of the motor's magnetic field.

    Parameters: `hz`, output frequency, any shape [Hz]; `poles`, broadcast against it [-].
    Returns: speed [rpm].
    Equation: 120 f / poles.
    Source: definition of a synchronous machine's speed, NEMA MG 1, section 1.
    """
    return 120.0 * as_floats(hz) / as_floats(poles)


def poles_for(motor_rpm: ArrayLike, hz: ArrayLike) -> Floats:
    """Number of poles of a motor from its nameplate speed.

    Parameters: `motor_rpm` at rating, any shape [rpm]; `hz`, base frequency, broadcast against it [Hz].
    Returns: poles, an even whole number [-]; NaN for a speed that is not positive or is more than 2 %
    above the two-pole synchronous speed.
    Equation: the fastest synchronous speed reached or not passed by more than 2 % of a pole pair: 2
    floor(60 f / rpm + 0.02).
    Validity: rated slip below 1 / (pole pairs + 1), which every fan motor keeps.
    Source: definition of a synchronous machine's speed; the room of 2 % is ours, for rounded nameplates.
    """
    rpm = as_floats(motor_rpm)
    pairs = np.floor(60.0 * as_floats(hz) / np.where(rpm > 0.0, rpm, np.nan) + _POLE_PAIR_ROOM)
    return 2.0 * np.where(pairs >= 1.0, pairs, np.nan)


def rated_slip(motor_rpm: ArrayLike, hz: ArrayLike) -> Floats:
    """Share of its synchronous speed that the motor loses at rated torque.

    The nameplate may be off by 20 % of the slip (NEMA MG 1), a cold rotor by as much.

    Parameters: as for `poles_for`.
    Returns: slip, at least 0 [-]; NaN as for `poles_for`.
    Equation: 1 - rpm / synchronous rpm.
    Source: definition of motor slip, NEMA MG 1, section 1.
    """
    return np.maximum(1.0 - as_floats(motor_rpm) / synchronous_rpm(hz, poles_for(motor_rpm, hz)), 0.0)


def reference_motor_efficiency(output_w: ArrayLike) -> Floats:
    """Full-load efficiency of a motor of a rated output, where the nameplate does not say.

    Parameters: `output_w`, rated shaft output, any shape [W].
    Returns: efficiency [-].
    Equation: quartic in log10(kW); 0.962 from 185 kW up.
    Validity: 0.75 kW and up, 4 poles, 60 Hz, IE3; extrapolated down to 0.1 kW and held below. Older
    motors have less: 2.5 points at 10 hp, 1 point at 100 hp.
    Source: AMCA 208-18 as reproduced in Hong, Sun and Luo, "Fan Energy Index", LBNL 2018, table 1.
    """
    kilowatts = as_floats(output_w) / 1000.0
    log_size = np.log10(np.clip(kilowatts, _SMALLEST_REFERENCE_KW, _LARGE_MOTOR_KW))
    quartic = np.polynomial.polynomial.polyval(log_size, _REFERENCE_QUARTIC)
    return np.where(kilowatts >= _LARGE_MOTOR_KW, _LARGE_MOTOR_EFFICIENCY, quartic)


def part_load_efficiency_ratio(load_fraction: ArrayLike, rated_power_w: ArrayLike) -> Floats:
    """Efficiency of an induction motor at part load over its best efficiency.

    The best is near 75 % load: at full load the ratio is 0.985 to 1.002, so divide by its value at 1 to
    start from a nameplate.

    Parameters: `load_fraction`, shaft output over rated, any shape [-]; `rated_power_w`, broadcast
    against it [W].
    Returns: ratio [-]; 0 at no load.
    Equation: a x / (b + x) + c x, coefficients by size, averaged between sizes by the logarithm of size.
    Validity: 0 to 1.25, 1 to 125 hp, 4 poles; the end sizes hold beyond.
    Source: engineering reference of the US Department of Energy's building simulation, air-system fans,
    table 71.
    """
    return _MOTOR_PART_LOAD.value(load_fraction, rated_power_w)


def vfd_efficiency(load_fraction: ArrayLike, rated_power_w: ArrayLike) -> Floats:
    """Efficiency of a variable-frequency drive at part load.

    Parameters: `load_fraction`, motor input power over motor input at full load, any shape [-];
    `rated_power_w` of the drive, taken as the motor's, broadcast against it [W].
    Returns: efficiency [-]; 0 at no load.
    Equation: a x / (b + x) + c x, coefficients by size, averaged between sizes by the logarithm of size.
    Validity: 0.016 to 1, 3 to 200 hp, pulse-width modulated; the end sizes hold beyond.
    Source: engineering reference of the US Department of Energy's building simulation, air-system fans,
    table 72, a fit within 0.01 of the table in the Department's Motor Systems Tip Sheet 11 (2008).
    """
    return _VFD_PART_LOAD.value(load_fraction, rated_power_w)


def line_power_from_shaft_power(
    shaft_power_w: ArrayLike,
    rated_power_w: ArrayLike,
    has_vfd: bool,
    rated_efficiency: ArrayLike | None = None,
    speed_fraction: ArrayLike = 1.0,
) -> Floats:
    """Electrical power that a motor draws for a shaft power, through its drive if it has one.

    Without a drive this is also a drive's output power.

    Parameters: `shaft_power_w`, any shape [W]; `rated_power_w`, rated shaft output, broadcast against it
    [W]; `has_vfd`; `rated_efficiency` of the motor, by default the reference for its size [-];
    `speed_fraction`, output frequency over base, broadcast against it [-].
    Returns: line power [W]; at no shaft power what motor and drive draw idle.
    Equation: motor input = shaft / (rated efficiency r(x) / r(1)), line = motor input / drive efficiency.
    Below base frequency, at f of it, with t the torque over rated and L(t) the published loss at base: motor
    input = f t + L(t) - (1 - f^1.5) L(0), as copper loss goes with torque, core and friction loss with speed.
    Validity: to 1.25 of rated torque, at constant flux.
    Source: `reference_motor_efficiency`, `part_load_efficiency_ratio`, `vfd_efficiency`; the power of 1.5 is
    common practice, no source.
    """
    rated, speed = _size(rated_power_w), _held(speed_fraction)
    full, scale = _full_load_input(rated, rated_efficiency), _MOTOR_PART_LOAD.demand(1.0, rated)
    torque = as_floats(shaft_power_w) / rated / speed
    unturned = scale * rated / full * (1.0 - speed)
    drawn = _MOTOR_PART_LOAD.demand(torque, rated) - unturned * torque - _idle_saved(speed, rated)
    motor_input = drawn / scale
    line = _VFD_PART_LOAD.demand(motor_input, rated) if has_vfd else motor_input
    return line * full


def line_power_by_shaft_power(
    shaft_power_w: ArrayLike,
    rated_power_w: ArrayLike,
    has_vfd: bool,
    rated_efficiency: ArrayLike | None = None,
    speed_fraction: ArrayLike = 1.0,
) -> Floats:
    """How much more a motor draws for a little more power at its shaft.

    Parameters, validity and source: as for `line_power_from_shaft_power`.
    Returns: line power per shaft power [-].
    Equation: the difference over a hundred-thousandth of rated power.
    """
    step_w = _SHAFT_STEP * as_floats(rated_power_w)
    here, more = (
        line_power_from_shaft_power(shaft_w, rated_power_w, has_vfd, rated_efficiency, speed_fraction)
        for shaft_w in (as_floats(shaft_power_w), as_floats(shaft_power_w) + step_w)
    )
    return np.asarray((more - here) / step_w)


def shaft_power_from_line_power(
    line_power_w: ArrayLike,
    rated_power_w: ArrayLike,
    has_vfd: bool,
    rated_efficiency: ArrayLike | None = None,
    speed_fraction: ArrayLike = 1.0,
) -> Floats:
    """Shaft power of a motor from its electrical power, taken before its drive if it has one.

    Parameters: `line_power_w`, any shape [W]; otherwise as for `line_power_from_shaft_power`.
    Returns: shaft power [W]; 0 where less is drawn than idle.
    Equation: the inverse of `line_power_from_shaft_power`: exact at base frequency, by Newton's steps below
    it; NaN beyond its reach, many times rated power.
    Validity and source: as there.
    """
    rated, speed = _size(rated_power_w), _held(speed_fraction)
    full, scale = _full_load_input(rated, rated_efficiency), _MOTOR_PART_LOAD.demand(1.0, rated)
    line = as_floats(line_power_w) / full
    drawn = scale * (_VFD_PART_LOAD.fraction(line, rated) if has_vfd else line)
    torque = _MOTOR_PART_LOAD.fraction(drawn, rated)
    if np.any(speed < 1.0):
        torque = _torque_below_base(torque, drawn, scale * rated / full, speed, rated)
    return torque * speed * rated


def _torque_below_base(torque: Floats, drawn: Floats, output: Floats, speed: Floats, rated: Floats) -> Floats:
    unturned, saved = output * (1.0 - speed), _idle_saved(speed, rated)
    for _ in range(_NEWTON_STEPS):
        here = _MOTOR_PART_LOAD.demand(torque, rated)
        slope = (_MOTOR_PART_LOAD.demand(torque + _TORQUE_STEP, rated) - here) / _TORQUE_STEP
        missed = np.where(speed < 1.0, drawn + saved + unturned * torque - here, 0.0)
        torque = np.maximum(torque + missed / (slope - unturned), 0.0)
    return torque


def _idle_saved(speed: Floats, rated_power_w: Floats) -> Floats:
    return np.asarray(_MOTOR_PART_LOAD.demand(0.0, rated_power_w) * (1.0 - speed * np.sqrt(speed)))


def _held(speed_fraction: ArrayLike) -> Floats:
    return np.asarray(np.clip(as_floats(speed_fraction), _LEAST_SPEED, 1.0))


def flux_fraction(speed_fraction: ArrayLike, exponent: ArrayLike) -> Floats:
    """Magnetic flux of a motor on a drive over its flux at base frequency.

    Parameters: `speed_fraction`, output over base frequency, any shape [-]; `exponent` below base
    frequency, broadcast against it: 0 for constant V/Hz, 1 for a quadratic or automatic curve [-].
    Returns: flux fraction [-].
    Equation: f^exponent below base frequency, 1/f above, where the voltage has no more to give.
    Validity: voltage boost at start-up and the drop over the stator are left out; poor below f = 0.2.
    Source: V/Hz control of induction machines, any text; common practice on fan drives, no source.
    """
    f = np.maximum(as_floats(speed_fraction), 0.0)
    below: Floats = np.power(np.minimum(f, 1.0), as_floats(exponent))
    return below / np.maximum(f, 1.0)


def torque_fraction_from_current(
    current_a: ArrayLike, rated_current_a: ArrayLike, no_load_current_a: ArrayLike, flux: ArrayLike = 1.0
) -> Floats:
    """Torque over rated torque from motor current, with the magnetising part removed in quadrature.

    Plain current over rated current is 13 points too high at 29 % load. Below about 40 % speed current
    says little about load by any formula.

    Parameters: `current_a` of one motor, on its own side of the drive, any shape [A]; `rated_current_a`
    and `no_load_current_a`, at base frequency [A]; `flux` fraction, broadcast against it [-].
    Returns: torque fraction [-]; NaN where the no-load current is not below the rated one. It is not
    clipped: below the magnetising current the root is taken of the shortfall and returned negative, so
    that noise about no load averages out. It says nothing about generating.
    Equation: phi sqrt((I^2 - (phi I0)^2) / (Ir^2 - I0^2)).
    Validity: within 1.7 % of rated load at 19 to 109 % load on a measured 18.5 kW motor at base frequency.
    Source: the induction machine's circle diagram; the measured motor is that of Haumer et al., "The
    AdvancedMachines Library: Loss Models for Electric Machines", Modelica Conference 2009.
    """
    phi = as_floats(flux)
    square = np.square(as_floats(current_a)) - np.square(phi * as_floats(no_load_current_a))
    span = _load_current_square(rated_current_a, no_load_current_a)
    signed_root: Floats = np.copysign(np.sqrt(np.abs(square) / span), square)
    return phi * signed_root


def current_from_torque_fraction(
    torque_fraction: ArrayLike,
    rated_current_a: ArrayLike,
    no_load_current_a: ArrayLike,
    flux: ArrayLike = 1.0,
) -> Floats:
    """Motor current at a torque: the inverse of `torque_fraction_from_current`.

    Parameters: `torque_fraction` of rated, any shape [-]; otherwise as there.
    Returns: current [A]; 0 for a negative torque fraction beyond the reach of no current; NaN without
    flux or where the no-load current is not below the rated one.
    Equation: sqrt((phi I0)^2 + (T / phi)^2 (Ir^2 - I0^2)).
    Validity and source: as there.
    """
    phi = np.where(as_floats(flux) > 0.0, as_floats(flux), np.nan)
    ratio = as_floats(torque_fraction) / phi
    load_square = ratio * np.abs(ratio) * _load_current_square(rated_current_a, no_load_current_a)
    return np.sqrt(np.maximum(np.square(phi * as_floats(no_load_current_a)) + load_square, 0.0))


def no_load_fraction_prior(rated_power_w: ArrayLike) -> tuple[Floats, Floats]:
    """What the no-load current is likely to be where it was not measured with the belts off.

    Parameters: `rated_power_w`, any shape [W].
    Returns: mean and standard deviation of no-load over rated current [-].
    Equation: 0.52 at 0.75 kW, less 0.12 a decade of size, held within 0.25 and 0.55; sd 0.08.
    Validity: two and four poles; six and more have a higher share, inside the deviation.
    Source: common practice, no source: trade pages give 0.20 to 0.50, up to 0.65, more for small motors.
    """
    decades = np.log10(_size(rated_power_w) / _NO_LOAD_SMALL_W)
    mean = np.clip(_NO_LOAD_SHARE_SMALL - _NO_LOAD_FALL_PER_DECADE * decades, *_NO_LOAD_RANGE)
    return mean, np.where(np.isnan(mean), np.nan, _NO_LOAD_SD)


def _full_load_input(rated_power_w: Floats, rated_efficiency: ArrayLike | None) -> Floats:
    efficiency = reference_motor_efficiency(rated_power_w) if rated_efficiency is None else rated_efficiency
    return rated_power_w / as_floats(efficiency)


def _size(rated_power_w: ArrayLike) -> Floats:
    rated = as_floats(rated_power_w)
    return np.where(rated > 0.0, rated, np.nan)


def _load_current_square(rated_current_a: ArrayLike, no_load_current_a: ArrayLike) -> Floats:
    span = np.square(as_floats(rated_current_a)) - np.square(as_floats(no_load_current_a))
    return np.where(span > 0.0, span, np.nan)
