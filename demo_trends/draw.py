"""Fans drawn at random, of every type, duty, motor, belt, duct, sensor and season the product should meet."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from demo_trends.arrays import Array
from demo_trends.belts import Belt, SlipLaw, Tension
from demo_trends.faults import Fault
from demo_trends.motor import Motor, typical_motor
from demo_trends.plan import Control, Duct, FanPlan, Sensor, SitePlan
from demo_trends.weather import Climate
from demo_trends.wheels import FAMILIES, FAN_TYPES, PEAK_EFFICIENCY, Wheel, draw_wheel

MOTOR_SIZES_W = tuple(1000.0 * kw for kw in (2.2, 3.0, 4.0, 5.5, 7.5, 11, 15, 18.5, 22, 30, 37, 45, 55, 75))
DRIVES = ("v_belt", "cogged_belt", "flat_belt", "synchronous_belt", "direct")
BELT_LAWS = ("power", "hinge", "barrier")
FLUX_LAWS = ("constant", "quadratic", "automatic")
QUALITIES = ("good", "usual", "poor")
USES_BY_CONTROL = {
    "pressure": ("office", "library", "laboratory"),
    "flow": ("laboratory", "pool", "office"),
    "scheduled": ("kitchen", "glasshouse", "workshop", "pool"),
    "constant": ("always", "office", "workshop"),
}


@dataclass(frozen=True, slots=True)
class Choices:
    """What the draw must respect; None leaves the choice to chance.

    `is_narrow` keeps the fan near one operating point. `unmodelled` scales what no estimator is told of:
    torque off the square law, a bent airflow station, a short side that wanders; 1 is what the field has.
    """

    fan_type: str | None = None
    wheel_family: str | None = None
    drive: str | None = None
    duty: str | None = None
    control: str | None = None
    use: str | None = None
    motor_w: float | None = None
    base_hz: float | None = None
    flux_law: str | None = None
    motor_kind: str | None = None
    belt_law: str | None = None
    pressure_location: str | None = None
    roles: tuple[str, ...] = ("speed", "current", "airflow", "pressure", "air_temperature")
    quality: str | None = None
    airflow_kind: str | None = None
    economiser_swing: float | None = None
    is_metric: bool | None = None
    altitude_m: float | None = None
    is_narrow: bool = False
    unmodelled: float = 0.0
    faults: tuple[Fault, ...] = ()


def _pick(
    rng: np.random.Generator, wish: str | None, among: tuple[str, ...], odds: tuple[float, ...] | None = None
) -> str:
    """The wish, or one of these; the generator moves on either way."""
    drawn = str(rng.choice(np.array(among), p=odds))
    return drawn if wish is None else wish


def draw_site(rng: np.random.Generator, altitude_m: float | None = None) -> SitePlan:
    """A place: a zone, an altitude, a climate."""
    zone = str(rng.choice(np.array(["America/Denver", "America/New_York", "Europe/Berlin", "Europe/Oslo"])))
    height = float(rng.uniform(0.0, 1900.0))
    climate = Climate(
        altitude_m=height if altitude_m is None else altitude_m,
        mean_c=float(rng.uniform(6.0, 17.0)),
        season_swing_c=float(rng.uniform(7.0, 14.0)),
        day_swing_c=float(rng.uniform(3.0, 8.0)),
        fronts_c=float(rng.uniform(2.0, 5.0)),
        barometer_sd=float(rng.uniform(0.004, 0.009)),
    )
    return SitePlan(zone, climate)


def draw_motor(rng: np.random.Generator, choices: Choices, needed_w: float, has_drive: bool) -> Motor:
    """The next size above what is needed, sometimes one more."""
    rated_w = choices.motor_w
    if rated_w is None:
        larger = [size for size in MOTOR_SIZES_W if size >= 1.05 * needed_w] or [MOTOR_SIZES_W[-1]]
        rated_w = larger[min(int(rng.random() < 0.3), len(larger) - 1)]
    hertz = float(rng.choice([50.0, 60.0])) if choices.base_hz is None else choices.base_hz
    kind = _pick(rng, choices.motor_kind, ("induction", "permanent_magnet"), (0.94, 0.06))
    return typical_motor(
        rated_w,
        volts=400.0 if hertz == 50.0 else 460.0,
        base_hz=hertz,
        poles=int(rng.choice([4, 6], p=[0.85, 0.15])),
        kind=kind if has_drive else "induction",
        flux_law=_pick(rng, choices.flux_law, FLUX_LAWS, (0.45, 0.35, 0.20)),
        flux_exponent=float(rng.uniform(0.6, 1.0)),
        has_drive=has_drive,
        slip_compensation=float(rng.choice([0.0, 0.95], p=[0.8, 0.2]))
        if has_drive and kind == "induction"
        else 0.0,
        magnetising=float(rng.uniform(0.85, 1.3)),
        resistance=float(rng.uniform(0.8, 1.2)),
    )


def draw_belt(rng: np.random.Generator, kind: str, design_torque: float, law: str | None = None) -> Belt:
    """A belt whose knee lies above the design torque (over rated) when it is as tight as it was set."""
    shape = _pick(rng, law, BELT_LAWS)
    load = float(rng.uniform(0.45, 0.75))
    creep_ref = float(rng.uniform(0.004, 0.013))
    knee = 1.0
    steepness = {
        "power": rng.uniform(4.0, 8.0),
        "hinge": rng.uniform(3.0, 6.0),
        "barrier": rng.uniform(4.0, 8.0),
    }
    flexing = {"cogged_belt": 0.6, "flat_belt": 0.5, "synchronous_belt": 0.35, "direct": 0.0}.get(kind, 1.0)
    tension = Tension(
        fitted_days_before=float(rng.uniform(30.0, 400.0)),
        run_in_excess=float(rng.uniform(0.2, 0.45)),
        run_in_days=float(rng.uniform(0.4, 0.9)),
        loose=float(rng.uniform(0.5, 0.7)),
        slow_days=float(rng.uniform(1200.0, 4000.0)),
    )
    slipping = SlipLaw(shape, creep_ref / load, float(steepness[shape]), knee)
    flex = flexing * float(rng.uniform(0.018, 0.035)) * design_torque
    can_slip = kind in ("v_belt", "cogged_belt", "flat_belt")
    return Belt(kind, slipping if can_slip else None, design_torque / load, flex, tension)


def draw_sensors(
    rng: np.random.Generator,
    choices: Choices,
    design_q: float,
    design_p: float,
    *,
    is_metric: bool,
    has_speed: bool,
) -> dict[str, Sensor]:
    """The sensors of the wanted roles, in the units and steps of a metric or an inch-pound site."""
    quality = _pick(rng, choices.quality, QUALITIES, (0.3, 0.5, 0.2))
    worse = {"good": 0.6, "usual": 1.0, "poor": 1.5}[quality]
    kind = _pick(rng, choices.airflow_kind, ("dp", "thermal"), (0.75, 0.25))
    gains = 1.0 + rng.normal(0.0, (0.05, 0.01, 0.02, 0.03, 0.03))
    airflow_step = (1.0 if design_q < 3 else 10.0) if is_metric else (1.0 if design_q < 1 else 10.0)
    pressure_step = 1.0 if is_metric else (0.001 if design_p < 250 else 0.01)
    speed_step = float(rng.choice([0.1, 1.0], p=[0.85, 0.15]))
    sensors = {
        "speed": Sensor("percent", speed_step),
        "current": Sensor("A", 0.1, 0.012 * worse, 0.003, gain=gains[2]),
        "power": Sensor("kW", 0.01 if rng.random() < 0.5 else 0.1, 0.012 * worse, 0.003, gain=gains[3]),
        "torque": Sensor("percent", 0.1, 0.015 * worse, 0.004, 0.003, gain=gains[4]),
        "airflow": Sensor(
            "L/s" if is_metric else "cfm",
            airflow_step,
            0.03 * worse,
            0.014 * worse,
            0.02 * design_q,
            gains[0],
            0.0,
            kind,
        ),
        "pressure": Sensor(
            "Pa" if is_metric else "inwg",
            pressure_step,
            0.015 * worse,
            0.007 * worse,
            0.003 * design_p,
            gains[1],
        ),
        "air_temperature": Sensor(
            "degC" if is_metric else "degF", 0.1, floor=0.15 * worse, zero=float(rng.normal(0.0, 0.6))
        ),
        "run_status": Sensor("1", 1.0),
        "motor_speed": Sensor("rpm", 1.0, 0.0005),
        "wheel_speed": Sensor("rpm", 1.0, 0.001),
        "outdoor_air_damper": Sensor("percent", 1.0, floor=0.005),
    }
    return {role: sensors[role] for role in choices.roles if has_speed or role != "speed"}


def _draw_duct(rng: np.random.Generator, control: str, is_supply: bool, swing: float | None) -> Duct:
    """Shares of the resistance; only a supply fan may have an economiser."""
    economiser = float(rng.uniform(0.0, 0.5)) if is_supply and rng.random() < 0.5 else 0.0
    return Duct(
        near_share=float(rng.uniform(0.25, 0.45) if is_supply else rng.uniform(0.08, 0.2)),
        path_share=float(rng.uniform(0.1, 0.25)),
        held_share=float(rng.uniform(0.2, 0.4)) if control == "flow" else 0.0,
        wander=float(rng.uniform(0.01, 0.03)),
        demand_share=float(rng.uniform(0.05, 0.25)),
        economiser_swing=economiser if swing is None else swing,
    )


def _draw_control(rng: np.random.Generator, kind: str, duct: Duct) -> Control:
    high = float(rng.uniform(0.85, 1.0))
    return Control(
        kind=kind,
        min_flow=float(rng.uniform(0.30, 0.5) if kind == "pressure" else rng.uniform(0.5, 0.7)),
        max_flow=float(rng.uniform(0.9, 1.05)),
        set_share=max(0.15, 1.0 - duct.near_share - duct.path_share),
        reset=float(rng.choice([0.0, 0.4], p=[0.6, 0.4])),
        day_command=high,
        night_command=float(rng.uniform(0.5, 0.95)) * high,
        hunting=float(rng.uniform(0.002, 0.008)),
    )


class _Kind(NamedTuple):
    """What sort of fan it is, before any size."""

    fan_type: str
    drive: str
    duty: str
    control: str

    @property
    def has_drive(self) -> bool:
        """Whether a drive feeds the motor, and not a starter."""
        return self.control != "constant"


class _Machinery(NamedTuple):
    """Wheel and motor with the speed ratio and design torque (over rated) between them."""

    wheel: Wheel
    motor: Motor
    ratio: float
    design_torque: float


def _draw_kind(rng: np.random.Generator, wish: Choices) -> _Kind:
    return _Kind(
        _pick(rng, wish.fan_type, FAN_TYPES),
        _pick(rng, wish.drive, DRIVES, (0.5, 0.2, 0.05, 0.1, 0.15)),
        _pick(rng, wish.duty, ("supply", "return", "exhaust"), (0.5, 0.2, 0.3)),
        _pick(rng, wish.control, ("pressure", "flow", "scheduled", "constant"), (0.4, 0.25, 0.25, 0.1)),
    )


def _draw_machinery(rng: np.random.Generator, wish: Choices, kind: _Kind) -> _Machinery:
    """A wheel for some duty, a motor that can turn it, and the ratio that brings it near full speed."""
    is_low = kind.fan_type in ("forward_curved", "axial")
    design_p = float(rng.uniform(250.0, 500.0) if is_low else rng.uniform(450.0, 1400.0))
    airflow_per_w = PEAK_EFFICIENCY[kind.fan_type] / design_p
    largest = 0.85 * (wish.motor_w or 70_000.0) * airflow_per_w
    smallest = 0.6 * (wish.motor_w or 2_800.0) * airflow_per_w
    design_q = float(np.exp(rng.uniform(np.log(smallest), np.log(largest))))
    family = _pick(rng, wish.wheel_family, FAMILIES)
    wheel_rpm = float(rng.uniform(600.0, 1500.0))
    wheel = draw_wheel(rng, kind.fan_type, design_q, design_p, wheel_rpm, family=family)
    motor = draw_motor(rng, wish, 1.08 * wheel.design_shaft_w, kind.has_drive)
    top = float(rng.uniform(0.86, 0.98)) if kind.has_drive else 1.0
    if kind.drive == "direct":
        wheel_rpm = motor.rated_rpm * top
        wheel = replace(wheel, design_rpm=wheel_rpm)
    ratio = wheel_rpm / (motor.rated_rpm * top)
    design_torque = wheel.design_shaft_w / (wheel_rpm * np.pi / 30) * ratio / motor.rated_nm
    return _Machinery(wheel, motor, float(ratio), float(design_torque))


def draw_plan(rng: np.random.Generator, name: str = "fan", choices: Choices | None = None) -> FanPlan:
    """One fan at random within the choices."""
    wish = choices or Choices()
    site = draw_site(rng, wish.altitude_m)
    kind = _draw_kind(rng, wish)
    wheel, motor, ratio, design_torque = _draw_machinery(rng, wish, kind)
    is_supply = kind.duty == "supply"
    is_metric = bool(rng.random() < 0.5) if wish.is_metric is None else wish.is_metric
    duct = _draw_duct(rng, kind.control, is_supply, wish.economiser_swing)
    control = _draw_control(rng, kind.control, duct)
    location = _pick(rng, wish.pressure_location, ("across_fan", "duct", "near"), (0.55, 0.3, 0.15))
    if location == "near":
        location = "fan_outlet" if is_supply else "fan_inlet"
    moves = _pick(rng, None, ("conditioned", "outdoor"), (0.8, 0.2)) if is_supply else "room"
    if wish.is_narrow:
        control = replace(control, min_flow=0.82, max_flow=0.92, night_command=0.97 * control.day_command)
    size = (wheel.design_airflow_m3s, wheel.design_pressure_pa)
    sensors = draw_sensors(rng, wish, *size, is_metric=is_metric, has_speed=kind.has_drive)
    plan = FanPlan(
        name,
        wheel,
        motor,
        belt=draw_belt(rng, kind.drive, design_torque, wish.belt_law),
        ratio=ratio,
        duty=kind.duty,
        drive=kind.drive,
        use=_pick(rng, wish.use, USES_BY_CONTROL[kind.control]),
        moves=moves,
        duct=duct,
        control=replace(control, max_fraction=float(rng.choice([1.0, 1.1])) if kind.has_drive else 1.0),
        sensors=sensors,
        pressure_location=location,
        bearing_fraction=float(rng.uniform(0.006, 0.025)),
        unrest=float(rng.uniform(0.7, 1.3)),
        nameplate_slip=float(rng.uniform(0.8, 1.2)),
        is_no_load_measured=bool(rng.random() < 0.2),
        run_proof=_pick(rng, None, ("drive", "current_switch")),
        faults=wish.faults,
        site=site,
    )
    return _with_unmodelled(plan, wish.unmodelled * rng.normal(0.0, (0.015, 0.010, 0.012)))


def _with_unmodelled(plan: FanPlan, size: Array) -> FanPlan:
    """The same fan with what no estimator is told of: scale effect, bent station, wandering short side."""
    sensors = dict(plan.sensors)
    if "airflow" in sensors:
        sensors["airflow"] = replace(sensors["airflow"], bend=float(size[1]))
    return replace(
        plan,
        wheel=replace(plan.wheel, scale_exponent=abs(float(size[0]))),
        duct=replace(plan.duct, near_wander=abs(float(size[2]))),
        sensors=sensors,
    )


_FAULT_SIZES: dict[str, tuple[float, float, bool]] = {
    "slip": (0.02, 0.09, False),
    "drag": (0.03, 0.10, False),
    "lost": (1.0, 1.0, False),
    "ratio": (0.03, 0.08, True),
    "wheel": (0.04, 0.10, False),
    "airflow_gain": (0.05, 0.15, True),
    "airflow_zero": (0.10, 0.25, True),
    "pressure_gain": (0.05, 0.12, True),
    "pressure_zero": (0.03, 0.10, True),
    "current_gain": (0.05, 0.12, True),
    "power_gain": (0.05, 0.12, True),
    "torque_gain": (0.05, 0.12, True),
    "speed_scale": (0.03, 0.08, True),
    "speed_clamp": (0.55, 0.75, False),
    "path": (0.10, 0.30, False),
    "damper": (0.05, 0.15, False),
}
_SUDDEN = ("lost", "ratio", "speed_scale", "speed_clamp", "damper")
"""What comes at once in the field; the rest may also come slowly."""


def draw_fault(rng: np.random.Generator, kind: str, start_day: float, ramp_days: float = 60.0) -> Fault:
    """A fault of this kind with a size as the field sees it, either sign where both occur."""
    low, high, is_signed = _FAULT_SIZES[kind]
    size = float(rng.uniform(low, high)) * (-1.0 if is_signed and rng.random() < 0.5 else 1.0)
    shape = str(rng.choice(np.array(["step", "ramp", "growing"]), p=[0.3, 0.5, 0.2]))
    return Fault(kind, start_day, size, "step" if kind in _SUDDEN else shape, ramp_days)
