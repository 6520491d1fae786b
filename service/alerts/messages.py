"""What an alert says, in one sentence a technician understands, with what to look at."""

from typing import Final

from analytics.episodes import Episode
from analytics.vocabulary import AlertKind, Cause

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
_LOOK_AT: Final[dict[Cause, str]] = {
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


def message(episode: Episode) -> str:
    """Return the sentence of an episode."""
    return _MESSAGES[episode.kind](episode)


def _slip(episode: Episode) -> str:
    return (
        f"Belt slip of {episode.value_pct:.1f} % at the reference torque: past its limit; "
        f"{CAUSE_WORDS[episode.cause]}: {_LOOK_AT.get(episode.cause, _LOOK_AT[Cause.BELT_SLIP])}."
    )


def _loss(episode: Episode) -> str:
    return (
        f"Drive loss up by {episode.value_pct:.1f} % of the reference torque beside slip: past its limit; "
        f"{CAUSE_WORDS[episode.cause]}: {_LOOK_AT.get(episode.cause, _LOOK_AT[Cause.DRAG])}."
    )


def _lost(episode: Episode) -> str:
    del episode
    return (
        "The motor turns without load and the air does not move: the belt or coupling is gone, or the wheel "
        "is loose on its shaft. Go and look."
    )


def _notice(episode: Episode) -> str:
    if episode.topic == "stopped though commanded":
        return "Stopped though commanded: tripped, locked out or a lost belt; look."
    if episode.topic == "speed not followed":
        return f"The motor's own speed differs from the command: {_LOOK_AT[Cause.SPEED_NOT_FOLLOWED]}."
    if episode.topic == "not judged":
        return "No judged day in fourteen: the ledger's notes say what is missing."
    what = CAUSE_WORDS[episode.cause]
    return f"{what[0].upper()}{what[1:]}: {_LOOK_AT.get(episode.cause, 'have a look')}."


_MESSAGES: Final = {
    AlertKind.BELT_SLIP: _slip,
    AlertKind.DRIVE_LOSS: _loss,
    AlertKind.DRIVE_LOST: _lost,
    AlertKind.NOTICE: _notice,
}
