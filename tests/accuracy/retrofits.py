"""Fans drawn with a change whose saving is known, put through the arithmetic of the retrofit check.

An hourly run of each arrangement on the same days: readings of the one up to the change, of the other from
it on. The truth is the energy that either arrangement needs for the true air of the hours after, solved by
the simulator's own belt and motor, which share nothing with the estimator.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from analytics.compared_hours import AirHours, Basis, Meter, compare
from analytics.judging import healthy
from analytics.operating_points import operating_points
from analytics.read_power import motor_doubt, shaft_kw
from analytics.savings import Saving, saving
from analytics.scaled_hours import scaled_hours
from demo_trends import motor as motors
from demo_trends import shafts
from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault, total
from demo_trends.plan import FanPlan
from demo_trends.simulator import Trends, _drivetrain, _surroundings, simulate
from demo_trends.wheels import STANDARD_DENSITY
from tests.accuracy.drawing import machine_of

HEALTHY_DAYS: Final = 35
BEFORE: Final = (40, 70)
CHANGE_DAY: Final = 75
AFTER: Final = (77, 107)
CONFIDENCES: Final = (68, 90, 95)
KINDS: Final = ("retension", "synchronous", "slip and synchronous", "motor", "wheel", "set point")


@dataclass(frozen=True, slots=True)
class Planted:
    """A planted change: its kind, the true saving [-], and what was found."""

    kind: str
    truth: float
    found: Saving


def planted(seed: int, index: int, kind: str | None = None) -> Planted:
    """Draw the fan of this number, change it, and find the saving."""
    rng = np.random.default_rng([seed, index])
    what = kind or KINDS[index % len(KINDS)]
    load = "power"
    if what != "motor":
        load = str(rng.choice(np.array(["power", "current", "torque"]), p=[0.6, 0.3, 0.1]))
    plan = draw_plan(rng, f"{what} {index}", _choices(rng, what, load))
    one, other = _arrangements(rng, plan, what)
    run_seed, start = int(rng.integers(1 << 30)), f"2025-{int(rng.integers(1, 13)):02d}-01"
    runs = [simulate(side, start, AFTER[1], 60, seed=run_seed) for side in (one, other)]
    basis = Basis.AIR if what == "set point" else Basis.DRIVE
    found, times = _found(runs, basis, is_electrical=load == "power")
    truth = true_saving(runs, run_seed, times, is_electrical=load == "power", is_air=basis is Basis.AIR)
    return Planted(what, truth, found)


def _choices(rng: np.random.Generator, what: str, load: str) -> Choices:
    control = "pressure" if what == "set point" else str(rng.choice(np.array(["pressure", "flow"])))
    has_temperature = bool(rng.random() < 0.85)
    return Choices(
        drive=str(rng.choice(np.array(["v_belt", "cogged_belt"]))),
        control=control,
        roles=("speed", load, "airflow", "pressure", *(("air_temperature",) if has_temperature else ())),
        unmodelled=1.0 if rng.random() < 0.3 else 0.0,
    )


def _arrangements(rng: np.random.Generator, plan: FanPlan, what: str) -> tuple[FanPlan, FanPlan]:
    size = float(rng.uniform(0.02, 0.08))
    kinds = {"retension": "slip", "slip and synchronous": "slip", "wheel": "wheel"}
    one = replace(plan, faults=(Fault(kinds[what], 36.0, size, "step"),)) if what in kinds else plan
    if "synchronous" in what:
        belt = replace(plan.belt, kind="synchronous_belt", law=None, flexing=0.35 * plan.belt.flexing)
        return one, replace(plan, drive="synchronous_belt", belt=belt)
    if what == "motor":
        circuit = plan.motor.circuit
        better = replace(circuit, stator_ohm=0.6 * circuit.stator_ohm, core_ohm=1.8 * circuit.core_ohm)
        return one, replace(plan, motor=replace(plan.motor, circuit=better))
    if what == "set point":
        lower = plan.control.set_share * float(rng.uniform(0.7, 0.9))
        return one, replace(plan, control=replace(plan.control, set_share=lower))
    return one, plan


def _found(runs: Sequence[Trends], basis: Basis, *, is_electrical: bool) -> tuple[Saving, pd.DatetimeIndex]:
    plan = runs[0].plan
    machine = machine_of(plan)
    readings = runs[0].readings.copy()
    late = np.arange(len(readings)) // 24 >= CHANGE_DAY
    readings.loc[late] = runs[1].readings.loc[late]
    hours = operating_points(readings.dropna(how="all").rename_axis("time").reset_index(), machine)
    local = pd.DatetimeIndex(hours["time"]).tz_convert(plan.site.zone).tz_localize(None)
    day = (local.normalize() - local[0].normalize()).days.to_numpy().astype(float)
    is_healthy = day < HEALTHY_DAYS
    curves = healthy(hours[is_healthy].reset_index(drop=True), day[is_healthy], machine)
    scaled = scaled_hours(hours, machine, curves.channels)
    meter = Meter(machine, is_electrical)
    power = shaft_kw(scaled.load, scaled.speed, curves, meter)
    if is_electrical:
        power = hours["power_w"].to_numpy() / 1000.0
    air = AirHours(day, scaled.speed, scaled.airflow_m3s, scaled.pressure_pa, scaled.density, power)
    is_usable = scaled.is_steady & (scaled.airflow_m3s > 0.0) & (power > 0.0)
    before, after = (is_usable & (day >= first) & (day < last) for first, last in (BEFORE, AFTER))
    compared = compare(air.some(before), air.some(after), curves, meter, basis)
    assert compared is not None
    reads = [(scaled.load[which], scaled.speed[which]) for which in (before, after)]
    doubt = motor_doubt(compared, reads[0], reads[1], curves, meter)
    found = saving(compared.before, compared.after, compared.belief, doubt)
    return found, pd.DatetimeIndex(hours["time"][after])[compared.is_inside]


def true_saving(
    runs: Sequence[Trends], seed: int, times: pd.DatetimeIndex, *, is_electrical: bool, is_air: bool
) -> float:
    """Return the share that the second arrangement saves of the first one's energy at these times.

    Both for the true air of the second: its airflow, and but for basis air its pressure.
    """
    after = runs[1].truth
    at = after.index.isin(times) & after["is_running"].to_numpy()
    energy = [
        _power_at(run, seed, after, is_electrical=is_electrical, is_air=is_air)[at].sum() for run in runs
    ]
    return float(1.0 - energy[1] / energy[0])


def _power_at(
    run: Trends, seed: int, after: pd.DataFrame, *, is_electrical: bool, is_air: bool
) -> np.ndarray:
    """Return what an arrangement draws for the air of the hours after [W].

    On basis air it meets its own resistance; else the pressure of the hours after.
    """
    plan, faced = run.plan, run.truth if is_air else after
    around = _surroundings(plan, run.weather, seed)
    drive = _drivetrain(plan, around, run.reference_torque, seed)
    airflow = _positive(after["airflow_m3s"])
    resistance = _positive(_positive(faced["fan_pressure_pa"]) / _positive(faced["airflow_m3s"]) ** 2)
    density = around.density_ratio * STANDARD_DENSITY
    fouling = total(plan.faults, "wheel", around.days)
    phi = plan.wheel.phi_on(resistance / (1.0 - fouling), density)
    torque = plan.wheel.square_law_nm(phi, np.ones_like(phi), density) * (1.0 - 0.75 * fouling)
    wheel_rpm = airflow / phi * plan.wheel.design_rpm / plan.wheel.design_airflow_m3s
    turning = shafts.turn_to(plan, drive, wheel_rpm, torque)
    if not is_electrical:
        return np.asarray(turning.motor_nm * turning.motor_rpm * np.pi / 30)
    drawn = motors.electrical(plan.motor, turning.frequency, turning.motor_nm, drive.warmth, None)
    return np.asarray(drawn.line_w)


def _positive(values: "pd.Series[float] | np.ndarray") -> np.ndarray:
    plain = np.asarray(values, dtype=np.float64)
    return np.where(plain > 0.0, plain, 1.0)


def table(seed: int, numbers: Sequence[int]) -> pd.DataFrame:
    """Return a row a planted change; `is_met` where just the truth had been promised at 90 %."""
    rows = []
    for number in numbers:
        one = planted(seed, number)
        ends = {confidence: one.found.interval(confidence / 100.0) for confidence in CONFIDENCES}
        held = (low <= one.truth <= high for low, high in ends.values())
        rows.append((one.kind, one.truth, one.found.fraction, *ends[90], *held, ends[90][0] >= one.truth))
    columns = ["kind", "truth", "found", "low", "high", *(f"held_{one}" for one in CONFIDENCES), "is_met"]
    return pd.DataFrame(rows, columns=columns)


def summary(found: pd.DataFrame) -> pd.DataFrame:
    """Return, by kind and for all, how far savings were off [% of the power] and how often intervals held."""
    told = found.assign(error=100.0 * (found["found"] - found["truth"]))

    def of(some: pd.DataFrame) -> dict[str, float]:
        held = {f"held_{one}": 100.0 * some[f"held_{one}"].mean() for one in CONFIDENCES}
        rmse = float(np.sqrt(np.mean(np.square(some["error"]))))
        return {
            "n": len(some),
            "bias": some["error"].mean(),
            "rmse": rmse,
            **held,
            "met": some["is_met"].sum(),
        }

    parts = {str(kind): of(some) for kind, some in told.groupby("kind")}
    return pd.DataFrame({**parts, "all": of(told)}).T
