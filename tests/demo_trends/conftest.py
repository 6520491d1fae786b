from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault
from demo_trends.plan import FanPlan, Sensor
from demo_trends.simulator import Trends, simulate

PERFECT = {
    "speed": Sensor("1", 1e-9),
    "current": Sensor("A", 1e-9),
    "power": Sensor("W", 1e-6),
    "airflow": Sensor("m3/s", 1e-9, kind="dp"),
    "pressure": Sensor("Pa", 1e-9),
    "run_status": Sensor("1", 1.0),
}


def make_quiet_plan(
    control: str = "flow", *, drive: str = "v_belt", fan_type: str = "backward_inclined", **changes: object
) -> FanPlan:
    """A fan with perfect sensors and a duct that stands still, so that one cause shows alone."""
    choices = Choices(
        fan_type=fan_type,
        drive=drive,
        control=control,
        duty="supply",
        motor_w=11_000.0,
        base_hz=60.0,
        flux_law="quadratic",
        motor_kind="induction",
        belt_law="hinge",
        wheel_family="spline",
        pressure_location="across_fan",
        economiser_swing=0.0,
    )
    plan = draw_plan(np.random.default_rng(7), "Quiet fan", choices)
    duct = replace(plan.duct, wander=0.0, demand_share=0.0, held_share=0.0)
    control_plan = replace(plan.control, hunting=0.0, max_fraction=1.15, min_flow=0.5, max_flow=0.9)
    sound = replace(
        plan,
        duct=duct,
        control=control_plan,
        sensors=PERFECT,
        gap_share=0.0,
        outages_per_100_days=0.0,
        motor=replace(plan.motor, slip_compensation=0.0),
        run_proof="current_switch",
    )
    return replace(sound, **changes)  # type: ignore[arg-type]


def run_with_faults(plan: FanPlan, *faults: Fault, days: int = 20) -> Trends:
    """A short run with these faults, its first ten days healthy."""
    return simulate(replace(plan, faults=faults), "2025-04-01", days, 30, seed=5, healthy_days=(3.0, 10.0))


@pytest.fixture(name="quiet_plan", scope="session")
def quiet_plan_maker() -> Callable[..., FanPlan]:
    return make_quiet_plan


@pytest.fixture(name="run", scope="session")
def runner() -> Callable[..., Trends]:
    return run_with_faults


@pytest.fixture(scope="session")
def healthy_run() -> Trends:
    return run_with_faults(make_quiet_plan("flow"))
