"""The plan of one simulated fan: wheel, belt, motor, ducts, control, sensors and what goes wrong."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from demo_trends.belts import Belt
from demo_trends.faults import Fault
from demo_trends.motor import Motor
from demo_trends.weather import Climate
from demo_trends.wheels import Wheel

STEP_TEST_COMMANDS = (0.4, 0.55, 0.7, 0.85, 1.0)
STEP_TEST_HOURS = 0.25
CONTROLS = ("pressure", "flow", "scheduled", "constant")


@dataclass(frozen=True, slots=True)
class SitePlan:
    """Where the fan stands."""

    zone: str = "America/Denver"
    climate: Climate = field(default_factory=Climate)


@dataclass(frozen=True, slots=True)
class Duct:
    """What the air goes through, as shares of design pressure at design flow.

    `near_share` is the short side of the fan (a supply fan's filters and coils, an exhaust fan's stack),
    `path_share` lies between the fan and its duct sensor, `held_share` is the pressure that terminals hold
    at any flow. `wander` is the slow unrest of the whole resistance, `demand_share` how far demand opens
    the dampers of a fan that no loop controls, `economiser_swing` how much a closed outdoor-air damper adds
    to the short side, `near_wander` a slow unrest of that side that nothing trended explains.
    """

    near_share: float = 0.35
    path_share: float = 0.25
    held_share: float = 0.0
    wander: float = 0.02
    demand_share: float = 0.1
    economiser_swing: float = 0.0
    near_wander: float = 0.0


@dataclass(frozen=True, slots=True)
class Control:
    """How the fan is driven; speeds are fractions of base frequency, flows of design flow."""

    kind: str = "pressure"
    min_flow: float = 0.35
    max_flow: float = 1.0
    set_share: float = 0.4
    reset: float = 0.0
    day_command: float = 0.9
    night_command: float = 0.6
    min_fraction: float = 0.2
    max_fraction: float = 1.0
    hunting: float = 0.004
    ramp_minutes: float = 3.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """One trend point: its unit, the step it is exported in, its noise and its standing errors.

    `fast` and `slow` are relative spreads that forget themselves in 20 minutes and 6 hours, `floor` a spread
    in SI at any value; `zero` is in SI. `kind` matters for airflow (dp or thermal), and
    `bend` too: its reading goes with flow to the power of one plus bend, as a station in a poor profile does.
    """

    unit: str
    step: float
    fast: float = 0.0
    slow: float = 0.0
    floor: float = 0.0
    gain: float = 1.0
    zero: float = 0.0
    kind: str = ""
    bend: float = 0.0


@dataclass(frozen=True, slots=True)
class FanPlan:
    """Everything about one fan; `drive` and `duty` are the words of fans.csv.

    `fitted_days` are the days of the run on which the belt was tightened or replaced. `moves` is the air it
    moves: `outdoor`, `conditioned` (after coils) or `room`. `nameplate_slip` is the motor's slip on its
    nameplate over its true rated slip. `stopped_spans` are spans of days in which somebody has locked it out;
    on `step_test_days` it is run at STEP_TEST_COMMANDS for fifteen minutes each.
    """

    name: str
    wheel: Wheel
    motor: Motor
    belt: Belt
    ratio: float
    duty: str = "supply"
    drive: str = "v_belt"
    use: str = "office"
    moves: str = "conditioned"
    duct: Duct = field(default_factory=Duct)
    control: Control = field(default_factory=Control)
    sensors: Mapping[str, Sensor] = field(default_factory=dict)
    pressure_location: str = "across_fan"
    speed_signal: str = "command"
    power_at: str = "line"
    current_at: str = "motor"
    run_proof: str = "drive"
    bearing_fraction: float = 0.012
    nameplate_slip: float = 1.0
    is_no_load_measured: bool = False
    unrest: float = 1.0
    faults: tuple[Fault, ...] = ()
    fitted_days: tuple[float, ...] = ()
    stopped_spans: tuple[tuple[float, float], ...] = ()
    step_test_days: tuple[float, ...] = ()
    gap_share: float = 0.001
    outages_per_100_days: float = 1.0
    site: SitePlan = field(default_factory=SitePlan)

    @property
    def is_pulling(self) -> bool:
        """Whether its duct is on its inlet side."""
        return self.duty != "supply"
