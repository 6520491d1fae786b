"""One fan through a run of days: the truth at every step, and the readings a building system makes of it."""

import zlib
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from demo_trends import ducts, shafts
from demo_trends import motor as motors
from demo_trends.arrays import Array, Mask
from demo_trends.building import draw_load
from demo_trends.faults import is_present, lowest_clamp, total
from demo_trends.plan import STEP_TEST_COMMANDS, STEP_TEST_HOURS, FanPlan, SitePlan
from demo_trends.readings import observe
from demo_trends.sensors import draw_errors
from demo_trends.truth import tell_truth
from demo_trends.weather import Weather, air_density, draw_weather, hours_between, wander
from demo_trends.wheels import STANDARD_DENSITY


class Operation(NamedTuple):
    """What the fan did: masks, reported and true speed, shafts, air, electricity."""

    is_called: Mask
    is_lost: Mask
    said: Array
    turning: shafts.Turning
    airflow: Array
    fan_pa: Array
    sensor_pa: Array
    current_a: Array
    motor_input_w: Array
    line_w: Array


@dataclass(frozen=True, slots=True)
class Trends:
    """A simulated run, step by step, indexed by time in UTC.

    `readings` are in SI as exported, NaN where nothing came; `truth` has the columns of `tell_truth`;
    `reference_torque` is the 95th percentile of the healthy period's motor torque, over rated torque.
    """

    plan: FanPlan
    readings: pd.DataFrame
    truth: pd.DataFrame
    weather: Weather
    reference_torque: float


def stream(seed: int, *names: str) -> np.random.Generator:
    """A random stream of its own for each purpose, so that adding one never shifts another."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def time_steps(start: str, days: float, interval_minutes: int, zone: str) -> pd.DatetimeIndex:
    """The steps of a run in UTC, from local midnight to so many days later on the wall clock."""
    first = pd.Timestamp(start)
    ends = [moment.tz_localize(zone).tz_convert("UTC") for moment in (first, first + pd.Timedelta(days=days))]
    every = f"{interval_minutes}min"
    return pd.date_range(ends[0], ends[1], freq=every, inclusive="left", unit="us")


def site_weather(site: SitePlan, time: pd.DatetimeIndex, seed: int) -> Weather:
    """The weather that all fans of a site share."""
    return draw_weather(site.climate, time, site.zone, stream(seed, "weather"))


def simulate(
    plan: FanPlan,
    start: str,
    days: float,
    interval_minutes: int = 15,
    seed: int = 0,
    *,
    weather: Weather | None = None,
    healthy_days: tuple[float, float] = (0.0, 35.0),
) -> Trends:
    """Run one fan; the same arguments give the same numbers.

    `healthy_days` bound the healthy period that the truth's changes and reference torque refer to.
    """
    time = time_steps(start, days, interval_minutes, plan.site.zone)
    sky = site_weather(plan.site, time, seed) if weather is None else weather
    around = _surroundings(plan, sky, seed)
    is_healthy = (around.days >= healthy_days[0]) & (around.days < healthy_days[1])
    sound = replace(plan, faults=())
    quiet = operate(sound, around, _drivetrain(sound, around, np.nan, seed), seed)
    is_judged = is_healthy & quiet.is_called
    if not is_judged.any():
        raise ValueError(f"{plan.name} does not run between days {healthy_days[0]} and {healthy_days[1]}")
    reference = float(np.quantile(quiet.turning.motor_nm[is_judged], 0.95) / plan.motor.rated_nm)
    drive = _drivetrain(plan, around, reference, seed)
    operation = operate(plan, around, drive, seed) if plan.faults else quiet
    truth = tell_truth(plan, around, drive, operation, is_healthy=is_healthy, reference=reference)
    readings = observe(plan, around, operation, lambda *names: stream(seed, plan.name, *names))
    return Trends(plan, readings.set_axis(time), truth.set_axis(time), sky, reference)


def _wall_days(time: pd.DatetimeIndex, zone: str) -> Array:
    """Days since the first midnight by the clock on the wall, which is what a planted date means."""
    wall = time.tz_convert(zone).tz_localize(None)
    return np.asarray((wall - wall[0].normalize()) / pd.Timedelta(days=1), dtype=np.float64)


def _surroundings(plan: FanPlan, sky: Weather, seed: int) -> ducts.Surroundings:
    """The air and the calls on this fan."""
    steps, interval = len(sky.time), hours_between(sky.time)
    rng = stream(seed, plan.name, "surroundings")
    days = _wall_days(sky.time, plan.site.zone)
    drift = wander(rng, steps, interval, 20.0)
    if plan.moves == "outdoor":
        air_c = sky.outdoor_c + 0.4 * drift
    elif plan.moves == "room":
        air_c = 22.0 + 0.06 * (sky.outdoor_c - 12.0) + 0.6 * drift
    else:
        air_c = 14.5 + 0.05 * (sky.outdoor_c - 12.0) + 0.9 * drift
    ratio = ducts.standard_ratio(air_density(sky.barometer_pa, air_c, sky.humidity_ratio))
    is_barred = np.zeros(steps, dtype=bool)
    for begin, end in plan.stopped_spans:
        is_barred |= (days >= begin) & (days < end)
    zone, unrest = plan.site.zone, plan.unrest
    load = draw_load(plan.use, sky.time, zone, sky.outdoor_c, rng=rng, unrest=unrest, is_barred=is_barred)
    damper = ducts.outdoor_air_damper(sky.outdoor_c)
    return ducts.Surroundings(days, interval, ratio, sky.outdoor_c, air_c, load, damper)


def _natural_tension(plan: FanPlan, days: Array) -> Array:
    """Tension from the last fitting before each step, when nothing but relaxing happens to the belt."""
    since = days + plan.belt.tension.fitted_days_before
    for fitted in sorted(plan.fitted_days):
        since = np.where(days >= fitted, days - fitted, since)
    return plan.belt.tension.after(since)


def _drivetrain(plan: FanPlan, around: ducts.Surroundings, reference: float, seed: int) -> shafts.Drivetrain:
    """The state of the drive with its planted faults; slip faults are set at the reference torque."""
    days = around.days
    tension = _natural_tension(plan, days)
    added = total(plan.faults, "slip", days)
    if added.any():
        goal = plan.belt.slip(np.full_like(days, reference), tension) + added
        tension = np.where(added != 0.0, plan.belt.tension_for(goal, reference), tension)
    warmth = np.where(around.load.is_called, 1.0 - np.exp(-around.load.hours_since_start / 0.8), 0.0)
    volts = np.full_like(days, plan.motor.volts)
    if not plan.motor.has_drive:
        supply = wander(stream(seed, plan.name, "supply"), len(days), around.interval_hours, 8.0)
        volts = volts * (1.0 + 0.008 * supply)
    return shafts.Drivetrain(
        tension,
        total(plan.faults, "drag", days) * plan.motor.rated_nm,
        1.0 + total(plan.faults, "ratio", days),
        warmth,
        is_present(plan.faults, "lost", days),
        volts,
    )


def _loop_error(plan: FanPlan, around: ducts.Surroundings, seed: int) -> ducts.LoopError:
    """What the loop's own sensor makes of the truth; perfect where the loop uses a sensor nobody trends."""
    ones, zeros = np.ones_like(around.days), np.zeros_like(around.days)
    flow_gain, flow_zero, pressure_gain, pressure_zero = ones, zeros, ones, zeros
    flow_bend = 0.0
    if plan.control.kind == "flow" and "airflow" in plan.sensors:
        rng = stream(seed, plan.name, "airflow")
        flow_gain = draw_errors(plan, "airflow", around.days, around.interval_hours, rng).gain
        zero = total(plan.faults, "airflow_zero", around.days) * plan.wheel.design_airflow_m3s
        flow_zero = zero * np.abs(zero)
        flow_bend = plan.sensors["airflow"].bend
        if plan.sensors["airflow"].kind == "thermal":
            flow_gain = flow_gain * around.density_ratio
    is_trended = plan.pressure_location == "duct" and "pressure" in plan.sensors
    if plan.control.kind == "pressure" and is_trended:
        rng = stream(seed, plan.name, "pressure")
        pressure_gain = draw_errors(plan, "pressure", around.days, around.interval_hours, rng).gain
        pressure_zero = total(plan.faults, "pressure_zero", around.days) * plan.wheel.design_pressure_pa
        pressure_zero = -pressure_zero if plan.is_pulling else pressure_zero
    return ducts.LoopError(flow_gain, flow_zero, flow_bend, pressure_gain, pressure_zero)


def _select(values: shafts.Drivetrain, where: Mask) -> shafts.Drivetrain:
    return shafts.Drivetrain(
        values.tension[where],
        values.drag_nm[where],
        values.ratio_factor[where],
        values.warmth[where],
        values.is_lost[where],
        values.line_volts[where],
    )


def _put(into: shafts.Turning, where: Mask, values: shafts.Turning) -> shafts.Turning:
    """The same turning with the steps of the mask replaced."""
    columns = []
    for old, new in zip(into, values, strict=True):
        column = old.copy()
        column[where] = new
        columns.append(column)
    return shafts.Turning(*columns)


def _command(plan: FanPlan, around: ducts.Surroundings) -> Array:
    """The command of a fan without a loop."""
    if plan.control.kind == "constant":
        return np.ones_like(around.days)
    return np.where(around.load.is_busy, plan.control.day_command, plan.control.night_command)


def _step_test(plan: FanPlan, around: ducts.Surroundings) -> Array:
    """The commands of step tests where one is under way, else NaN."""
    command = np.full_like(around.days, np.nan)
    for day in plan.step_test_days:
        step = np.floor((around.days - day) * 24.0 / STEP_TEST_HOURS + 1e-6)
        for number, fraction in enumerate(STEP_TEST_COMMANDS):
            command[step == number] = fraction
    return command


def _turn(
    plan: FanPlan,
    around: ducts.Surroundings,
    drive: shafts.Drivetrain,
    asked: ducts.Wanted,
    *,
    phi: Array,
    nm: Array,
) -> tuple[shafts.Turning, Array]:
    """How everything turns and the frequency fraction the drive reports."""
    control, wheel = plan.control, plan.wheel
    ramp = np.clip(around.load.hours_since_start * 60.0 / control.ramp_minutes, 0.02, 1.0)
    scale = 1.0 + total(plan.faults, "speed_scale", around.days)
    clamp = lowest_clamp(plan.faults, around.days)
    test = _step_test(plan, around)
    if np.isnan(asked.airflow).all():
        said = _command(plan, around) * (1.0 if control.kind == "constant" else ramp)
        said = np.where(np.isnan(test), said, test)
        turning = shafts.spin_free(plan, drive, said)
        is_forced = around.load.is_called & ~drive.is_lost
    else:
        wheel_rpm = asked.airflow / phi * wheel.design_rpm / wheel.design_airflow_m3s * ramp
        turning = shafts.turn_to(plan, drive, wheel_rpm, nm)
        said = np.clip(turning.frequency / scale, control.min_fraction * ramp, control.max_fraction)
        said = np.where((turning.frequency > clamp) | drive.is_lost, control.max_fraction, said)
        said = np.where(np.isnan(test), said, test)
        is_forced = around.load.is_called & (np.minimum(said * scale, clamp) != turning.frequency)
    true = np.minimum(said * scale, clamp)
    if is_forced.any():
        forced = shafts.turn_at(plan, _select(drive, is_forced), true[is_forced], nm[is_forced])
        turning = _put(turning, is_forced, forced)
    if drive.is_lost.any():
        free = shafts.spin_free(plan, _select(drive, drive.is_lost), true[drive.is_lost])
        turning = _put(turning, drive.is_lost, free)
    return turning, said


def operate(plan: FanPlan, around: ducts.Surroundings, drive: shafts.Drivetrain, seed: int) -> Operation:
    """Solve wheel, belt, motor and ducts together at every step."""
    error = _loop_error(plan, around, seed)
    asked = ducts.wanted(plan, around, error, stream(seed, plan.name, "ducts"))
    density = around.density_ratio * STANDARD_DENSITY
    fouling = total(plan.faults, "wheel", around.days)
    phi = plan.wheel.phi_on(asked.resistance / (1.0 - fouling), density)
    nm_per_rpm2 = plan.wheel.square_law_nm(phi, np.ones_like(phi), density) * (1.0 - 0.75 * fouling)
    turning, said = _turn(plan, around, drive, asked, phi=phi, nm=nm_per_rpm2)
    is_on = around.load.is_called
    turning = shafts.Turning(*(np.where(is_on, column, 0.0) for column in turning))
    airflow = phi * turning.wheel_rpm / plan.wheel.design_rpm * plan.wheel.design_airflow_m3s
    fan_pa = asked.resistance * airflow**2
    volts = None if plan.motor.has_drive else drive.line_volts
    power = motors.electrical(plan.motor, turning.frequency, turning.motor_nm, drive.warmth, volts)
    said = np.where(is_on, _reported(plan, said, turning, drive), 0.0)
    return Operation(
        is_on,
        is_on & drive.is_lost,
        said,
        turning,
        airflow,
        fan_pa,
        ducts.pressure_seen(plan, fan_pa, airflow, asked.near, asked.path),
        np.where(is_on, power.current_a, 0.0),
        np.where(is_on, power.motor_input_w, 0.0),
        np.where(is_on, power.line_w, 0.0),
    )


def _reported(plan: FanPlan, said: Array, turning: shafts.Turning, drive: shafts.Drivetrain) -> Array:
    """What the speed point is about: with slip compensation the command is the speed, not the frequency."""
    if plan.motor.slip_compensation == 0.0 or plan.speed_signal != "command":
        return said
    lost = motors.slip_fraction(
        plan.motor, np.maximum(turning.frequency, 0.02), turning.motor_nm, drive.warmth
    )
    return np.asarray(said - plan.motor.slip_compensation * lost, dtype=np.float64)
