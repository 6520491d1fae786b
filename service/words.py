"""The words people are told: causes, what to look at, and the cautions that go with every visit."""

from typing import Final

from analytics.vocabulary import Cause

CAUTION: Final = (
    "Before touching the drive: lock out and tag out at the local isolator, test dead, wait out the drive's "
    "stored charge, block the wheel against wind-milling, refit the guard. Local codes and licensed practice "
    "come first. A finding is a reason to inspect, never evidence that a machine is safe to touch."
)

CAUSE_WORDS: Final[dict[Cause, str]] = {
    Cause.NONE: "nothing stands out",
    Cause.BELT_SLIP: "the belt slips",
    Cause.DRIVE_LOST: "the drive is lost",
    Cause.DRAG: "bearings or alignment drag",
    Cause.RATIO_CHANGE: "the speed ratio changed",
    Cause.WHEEL: "the wheel or its inlet is fouled or damaged",
    Cause.AIR_PATH: "a filter, coil or damper between fan and sensor loads",
    Cause.AIRFLOW_SENSOR: "the airflow reading drifts",
    Cause.PRESSURE_SENSOR: "the pressure reading drifts",
    Cause.CURRENT_SENSOR: "the current or power reading drifts",
    Cause.SPEED_NOT_FOLLOWED: "the fan does not follow its speed command",
    Cause.UNCLEAR: "the cause is unclear",
    Cause.NOT_JUDGED: "not judged",
}
LOOK_AT: Final[dict[Cause, str]] = {
    Cause.BELT_SLIP: "check belt tension and wear, sheave grooves and set screws",
    Cause.DRAG: "check bearings (heat, noise, grease), sheave alignment and over-tension",
    Cause.RATIO_CHANGE: "check sheave sizes, groove wear and how deep the belt rides",
    Cause.WHEEL: "check the wheel and its inlet for dirt and damage",
    Cause.AIR_PATH: "look at filters and coils",
    Cause.AIRFLOW_SENSOR: "check the airflow station's zero and calibration",
    Cause.PRESSURE_SENSOR: "check the pressure sensor's zero, tubing and calibration",
    Cause.CURRENT_SENSOR: "check the current transducer or the drive's own reading",
    Cause.SPEED_NOT_FOLLOWED: "check for a hand or bypass switch, a current limit or a re-ranged signal",
    Cause.UNCLEAR: "a tachometer reading of motor and wheel, guard on, would decide",
}


def sureness(share: float) -> str:
    """Write a probability in words that do not claim the last per cent."""
    return "over 99 % sure" if share > 0.99 else f"{100.0 * share:.0f} % sure"
