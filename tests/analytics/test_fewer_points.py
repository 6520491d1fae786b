"""A fan is judged as far as its points go, and says how far: planted truths, one point after another gone."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analytics.curves import HealthyCurves, TooLittleHealthyDataError
from analytics.healthy_quality import Flaw, healthy_quality
from analytics.judging import day, fan_day, first_state, fleet, healthy
from analytics.ledger import LedgerRows
from analytics.machine import Machine
from analytics.operating_points import operating_points
from analytics.scaled_hours import ScaledHours, scaled_hours
from analytics.sight import Seen, sight
from analytics.vocabulary import Role, SpeedControl
from analytics.wrong_points import refused_points, without
from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault
from demo_trends.simulator import Trends, simulate
from demo_trends.truth import daily
from demo_trends.wrong_points import mistake
from tests.accuracy.drawing import machine_of

HEALTHY_DAYS, FAULT_DAY, DAYS = 32, 34.0, 40
ROLES = ("speed", "power", "airflow", "pressure", "air_temperature", "motor_speed", "wheel_speed")
COLUMNS = {"power": "power_w", "airflow": "airflow_m3s", "pressure": "pressure_pa"}
SPEEDS = {"motor_speed": "motor_speed_rpm", "wheel_speed": "wheel_speed_rpm"}
FAULTS = {
    "quiet": (),
    "slip": (Fault("slip", FAULT_DAY, 0.06, "step"),),
    "drag": (Fault("drag", FAULT_DAY, 0.08, "step"),),
    "slipping already": (Fault("slip", 4.0, 0.06, "ramp", 26.0),),
}


@cache
def run(planted: str) -> Trends:
    """A supply fan of an office under pressure control, every role trended."""
    wish = Choices(
        roles=ROLES, drive="v_belt", control="pressure", use="office", duty="supply", motor_kind="induction"
    )
    plan = draw_plan(np.random.default_rng(4), "fan", replace(wish, faults=FAULTS[planted]))
    return simulate(plan, "2025-03-03", DAYS, 30, seed=4)


def points(trends: Trends, *kept: str) -> tuple[pd.DataFrame, np.ndarray, Machine]:
    """The operating points with the points named alone, speed and temperature aside."""
    readings = trends.readings.dropna(how="all").rename_axis("time").reset_index()
    gone = [column for role, column in (COLUMNS | SPEEDS).items() if role not in kept]
    machine = machine_of(trends.plan)
    hours = operating_points(readings.assign(**dict.fromkeys(gone, np.nan)), machine)
    local = pd.DatetimeIndex(hours["time"]).tz_convert(trends.plan.site.zone).tz_localize(None).normalize()
    return hours, (local - local[0]).days.to_numpy().astype(float), machine


def learned(hours: pd.DataFrame, days: np.ndarray, machine: Machine) -> HealthyCurves:
    is_healthy = days < HEALTHY_DAYS
    return healthy(hours[is_healthy].reset_index(drop=True), days[is_healthy], machine)


def last_rows(hours: pd.DataFrame, days: np.ndarray, machine: Machine) -> LedgerRows:
    curves = learned(hours, days, machine)
    batch, state = fleet([curves], [machine]), first_state(curves, machine)
    scaled = scaled_hours(hours, machine, curves.channels)
    rows = None
    for number in np.unique(days):
        one = ScaledHours(*(getattr(scaled, name)[days == number] for name in ScaledHours.__slots__))
        packed = fan_day(one, curves, (), 1.0)
        if packed.hours_used:
            state, rows = day(batch, state, [packed])
    assert rows is not None
    return rows


def holds(rows: LedgerRows, name: str, value: float) -> bool:
    return bool(getattr(rows, f"{name}_low_pct")[0] <= value <= getattr(rows, f"{name}_high_pct")[0])


SEES_SLIP = (("pressure", "power"), ("airflow", "pressure"), ("wheel_speed",), ("motor_speed", "wheel_speed"))


@pytest.mark.parametrize("kept", SEES_SLIP, ids=" and ".join)
def test_slip_is_found_without_the_other_points(kept: tuple[str, ...]) -> None:
    rows = last_rows(*points(run("slip"), *kept))
    true = float(daily(run("slip").truth, run("slip").plan.site.zone)["slip_change_pct"].iloc[-1])
    assert true > 1.0
    assert holds(rows, "slip_change", true)
    quiet = last_rows(*points(run("quiet"), *kept))
    # Without a load a path that fills looks much the same, and the centre leans to it.
    least = 0.5 if kept == ("airflow", "pressure") else 1.0
    assert rows.slip_ref_pct[0] > quiet.slip_ref_pct[0] + least
    if "power" in kept or "wheel_speed" in kept:
        # Without a load the hours of high torque, in which a belt slips most, are known only roughly.
        assert 0.6 * true < rows.slip_change_pct[0] < 1.4 * true
    assert abs(quiet.slip_change_pct[0]) < 0.5
    assert holds(quiet, "slip_change", 0.0)


@pytest.mark.parametrize("kept", [("pressure", "power"), ("airflow", "power")], ids=" and ".join)
def test_drag_is_found_without_airflow_or_without_pressure(kept: tuple[str, ...]) -> None:
    rows = last_rows(*points(run("drag"), *kept))
    assert rows.drag_ref_pct[0] > 4.0
    assert rows.slip_ref_pct[0] < 3.0


def test_a_load_alone_shows_excess_power_and_hides_any_slip() -> None:
    rows = last_rows(*points(run("drag"), "power"))
    assert rows.excess_kw[0] > 0.0
    assert rows.slip_change_pct[0] == pytest.approx(0.0, abs=0.01)
    assert holds(rows, "slip_change", 6.0)
    # What the system may have taken is never a limit passed.
    assert rows.drag_ref_pct[0] == 0.0


def test_drag_that_no_load_shows_is_not_none() -> None:
    rows = last_rows(*points(run("drag"), "airflow", "pressure"))
    assert holds(rows, "drag_ref", 8.0)


WHAT_IS_SEEN = [
    (("airflow", "pressure", "power"), Seen.SLIP_AND_DRAG, Role.WHEEL_SPEED),
    (("airflow", "pressure"), Seen.SLIP, Role.POWER),
    (("pressure", "power"), Seen.NET, Role.AIRFLOW),
    (("airflow", "power"), Seen.NET, Role.PRESSURE),
    (("power",), Seen.EXCESS, Role.PRESSURE),
    (("pressure",), Seen.LOST, Role.POWER),
]


@pytest.mark.parametrize(("kept", "seen", "best"), WHAT_IS_SEEN)
def test_each_set_of_points_says_what_it_sees_and_what_would_help_most(
    kept: tuple[str, ...], seen: Seen, best: Role
) -> None:
    hours, days, machine = points(run("quiet"), *kept)
    curves = learned(hours, days, machine)
    told = sight(curves, machine, scaled_hours(hours, machine, curves.channels), days)
    assert (told.seen, told.best_point) == (seen, best)
    assert (told.least_slip_pct is not None) is (seen in (Seen.SLIP_AND_DRAG, Seen.SLIP, Seen.NET))


WRONG = {
    "set_point": (Role.PRESSURE, "set point"),
    "building_pressure": (Role.PRESSURE, "building"),
    "sum_of_fans": (Role.AIRFLOW, "several fans"),
    "computed_airflow": (Role.AIRFLOW, "computed"),
}


@pytest.mark.parametrize("kind", WRONG)
def test_a_wrong_point_is_refused_by_its_behaviour(kind: str) -> None:
    role, words = WRONG[kind]
    hours, _, machine = points(mistake(run("quiet"), kind), "airflow", "pressure", "power")
    refusals = refused_points(hours, machine)
    assert [one.role for one in refusals] == [role]
    assert words in refusals[0].reason
    column = COLUMNS[role.value]
    assert without(hours, refusals)[column].isna().all()
    assert hours[column].notna().any()


@pytest.mark.parametrize("planted", ["quiet", "slip", "drag"])
def test_sound_points_are_not_refused(planted: str) -> None:
    hours, _, machine = points(run(planted), "airflow", "pressure", "power")
    assert refused_points(hours, machine) == ()


def test_an_airflow_shared_with_another_fan_is_not_this_fans() -> None:
    hours, _, machine = points(run("quiet"), "airflow", "pressure", "power")
    refusals = refused_points(hours, replace(machine, is_airflow_shared=True, is_pressure_shared=True))
    assert [one.role for one in refusals] == [Role.AIRFLOW]


def test_a_belt_that_slips_more_and_more_in_its_healthy_period_is_said() -> None:
    hours, days, machine = points(run("slipping already"), "airflow", "pressure", "power")
    curves = learned(hours, days, machine)
    scaled = scaled_hours(hours, machine, curves.channels)
    flaws = {one.flaw for one in healthy_quality(curves, machine, scaled, days)}
    assert Flaw.SLIP_GROWS in flaws
    hours, days, machine = points(run("quiet"), "airflow", "pressure", "power")
    curves = learned(hours, days, machine)
    assert healthy_quality(curves, machine, scaled_hours(hours, machine, curves.channels), days) == ()


def test_a_meter_silent_for_all_hours_of_a_night_is_not_replaced_by_the_amps() -> None:
    hours, days, machine = points(run("quiet"), "airflow", "pressure", "power")
    both = hours.assign(current_a=12.0)
    curves = learned(both, days, machine)
    silent = both.assign(power_w=both["power_w"].where(days < 38))
    night = silent[days >= 38].reset_index(drop=True)
    in_one, alone = (scaled_hours(frame, machine, curves.channels).load for frame in (silent, night))
    assert np.isfinite(in_one[days < 38]).any()
    np.testing.assert_array_equal(alone, in_one[days >= 38])
    assert np.isnan(alone).all()


def test_inlet_vanes_are_judged_at_one_position_or_not_at_all() -> None:
    hours, days, machine = points(run("quiet"), "airflow", "pressure", "power")
    vanes = replace(machine, speed_control=SpeedControl.INLET_VANES)
    curves = learned(hours.assign(speed_fraction=np.where(days % 2 == 0, 0.96, 0.4)), days, vanes)
    assert curves.channels.vane_position == pytest.approx(0.96)
    with pytest.raises(TooLittleHealthyDataError, match="no vane position"):
        learned(hours.assign(speed_fraction=np.nan), days, vanes)


def test_a_two_speed_motor_without_a_speed_point_is_judged_at_its_full_speed() -> None:
    hours, days, machine = points(run("quiet"), "airflow", "pressure", "power")
    staged = replace(machine, speed_control=SpeedControl.TWO_SPEED)
    is_low = days % 3 == 0
    # A third of the speed's cube: eight poles beside six.
    power = np.where(is_low, 0.42, 1.0) * 5000.0 * (1.0 + 0.01 * np.sin(np.arange(len(days))))
    known = hours.assign(speed_fraction=np.nan, motor_speed_rpm=np.nan, power_w=power)
    curves = learned(known, days, staged)
    used = scaled_hours(known, staged, curves.channels).is_steady
    steady = hours["is_steady"].to_numpy(dtype=bool)
    assert not used[is_low].any()
    assert used[~is_low & steady].mean() > 0.9
