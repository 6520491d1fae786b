"""The words people are told: causes, what to look at, and the cautions that go with every visit."""

import datetime as dt
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from analytics.notices import NO_DRIVE_FAULT, UNSURE_FAULT
from analytics.vocabulary import Cause

# What the ledger means by excess power, beside its number.
EXCESS_IS: Final = "line power where it is trended, else motor shaft power"

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
# A reading and the pitch diameters together are no better than this.
LEAST_TOLD_MISS: Final = 0.015
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
    Cause.UNCLEAR: (
        "a tachometer reading of motor and wheel, guard on, decides between drive, wheel and sensors; an "
        "electrician's meter held against the current or power reading decides between drag and that reading"
    ),
}

_SHOWN_BY_RPM: Final = frozenset({Cause.BELT_SLIP, Cause.RATIO_CHANGE, Cause.SPEED_NOT_FOLLOWED})
_NO_FAULT: Final = "no fault of a size that matters"
_METER: Final = "an electrician's meter held against the current or power reading"


def about(topic: str, cause: Cause, alike: Sequence[Cause]) -> str:
    """Say what an alert is about: its topic, or its cause where no drive is at fault."""
    return told_cause(cause, alike) if topic in (NO_DRIVE_FAULT, UNSURE_FAULT) else topic


def told_cause(cause: Cause, alike: Sequence[Cause]) -> str:
    """Say a cause in words: one that is unclear by those not told apart, `alike`, the likelier first."""
    if cause is not Cause.UNCLEAR or len(alike) < 2:
        return CAUSE_WORDS[cause]
    told = (_NO_FAULT if one is Cause.NONE else CAUSE_WORDS[one] for one in alike)
    return f"unclear: {', or '.join(told)}"


def look_at(cause: Cause, alike: Sequence[Cause]) -> str:
    """Say what to look at for a cause, or what decides where it is unclear."""
    if cause is not Cause.UNCLEAR or len(alike) < 2:
        return LOOK_AT.get(cause, "have a look")
    looks = [LOOK_AT[one] for one in alike if one in LOOK_AT]
    faults = set(alike) - {Cause.NONE}
    # One fault or none: an instrument tells them apart only where the fault moves a shaft.
    is_told = len(faults) > 1 or faults & _SHOWN_BY_RPM
    return "; ".join([*looks, what_decides(faults)] if is_told else looks)


def beside_slip(cause: Cause, *, is_dragging: bool) -> tuple[Cause, ...]:
    """Return what to tell of a day's cause: drag too, where the loss beside slip is past its own limit.

    A day that gives both names the belt, which costs more; but no belt explains what is lost beside its slip.
    """
    return (cause, Cause.DRAG) if is_dragging and cause is Cause.BELT_SLIP else (cause,)


def what_decides(causes: Collection[Cause]) -> str:
    """Name what tells causes apart: rpm only where one of them moves a shaft, else an instrument."""
    told = set(causes)
    if told & _SHOWN_BY_RPM:
        is_load_open = told >= {Cause.DRAG, Cause.CURRENT_SENSOR}
        load = f"; between drag and a wrong load reading, {_METER}" if is_load_open else ""
        return f"both shafts' rpm decide{load}"
    if told <= {Cause.DRAG, Cause.CURRENT_SENSOR}:
        return f"no rpm tells these apart; {_METER} does"
    return "no rpm tells these apart; the readings held against an instrument do"


def sureness(share: float) -> str:
    """Write a probability in words that do not claim the last per cent."""
    return "over 99 % sure" if share > 0.99 else f"{100.0 * share:.0f} % sure"


def one_line(text: str) -> str:
    """Return declared text as one plain line: no line break, no control or direction sign survives."""
    plain = (" " if unicodedata.category(sign)[0] in "CZ" else sign for sign in text)
    return " ".join("".join(plain).split())


def plain_date(date: dt.date) -> str:
    """Write a date as 9 Jun 2025."""
    return f"{date.day} {date:%b %Y}"


def refused_pair_words(miss: float) -> str:
    """Say in a day's note why a tachometer pair is not used; `miss` off the sheaves' ratio."""
    return (
        f"tachometer pair refused: {100.0 * miss:+.0f} % off the sheaves' ratio, "
        "a strobe harmonic, swapped numbers or wrong sheaves"
    )


def compared_pair_words(slip_pct: float, inferred_pct: float, low_pct: float, high_pct: float) -> str:
    """Set the slip a tachometer pair shows beside what was inferred for its load before it was known."""
    return (
        f"tachometer pair shows {slip_pct:.1f} % slip, {inferred_pct:.1f} % was inferred "
        f"({low_pct:.1f} to {high_pct:.1f})"
    )


def fixed_drive_pair_words(miss: float | None) -> str:
    """Say what a pair shows on a drive that cannot slip by belt; `miss` off its ratio, None if not known."""
    if miss is None:
        return "tachometer pair: the drive's ratio is not declared to hold it against"
    if abs(miss) < LEAST_TOLD_MISS:
        return "tachometer pair: the wheel turns as this drive must"
    side = "slower" if miss < 0.0 else "faster"
    told = f"tachometer pair: the wheel turns {100.0 * abs(miss):.1f} % {side} than this drive can"
    return f"{told}: look for a loose wheel, key or hub, or wrong sheaves in fans.csv"


def forecast_words(row: Mapping[str, Any]) -> str:
    """Say when a row's trend reaches its next limit, blank where it forecasts nothing.

    Parameters: `row` of the ledger. The span holds four fifths of what may come at this pace.
    """
    if row["forecast_on"] is None:
        return ""
    what = "slip" if row["forecast_of"] == "slip" else "drive loss beside slip"
    latest = row["forecast_latest"]
    until = "not at all" if latest is None else plain_date(latest)
    return (
        f"{what} reaches its limit of {row['forecast_limit_pct']:g} % about {plain_date(row['forecast_on'])} "
        f"({plain_date(row['forecast_earliest'])} to {until}) at this pace"
    )


def capital(text: str) -> str:
    """Return text with a capital first letter."""
    return text[:1].upper() + text[1:]
