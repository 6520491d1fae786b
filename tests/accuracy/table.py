"""The accuracy table: what was judged against what was planted, each line beside its target."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.notices import QUIET_DAYS
from analytics.vocabulary import Cause
from tests.accuracy.drawing import (
    BELT_SLIP,
    FAULT_DAY,
    ODD_HEALTHY,
    QUIET,
    RAMP,
    SENSOR_KINDS,
    SLIP_AND_DRIFT,
    STEP,
)

WATCH_PCT, DRAG_WATCH_PCT, HOLD_DAYS = 3.0, 4.0, 3
DRIVE_CAUSES = {Cause.BELT_SLIP.value, Cause.DRAG.value, Cause.RATIO_CHANGE.value, Cause.DRIVE_LOST.value}
RIGHT: dict[str, tuple[str, ...]] = {
    QUIET: ("none",),
    BELT_SLIP: ("belt_slip",),
    SLIP_AND_DRIFT: ("belt_slip",),
    STEP: ("belt_slip",),
    RAMP: ("belt_slip",),
    "drag": ("drag",),
    "ratio": ("ratio_change",),
    "wheel": ("wheel",),
    "airflow_gain": ("airflow_sensor",),
    "airflow_zero": ("airflow_sensor",),
    "pressure_gain": ("pressure_sensor",),
    "pressure_zero": ("pressure_sensor",),
    "load_gain": ("current_sensor",),
    "speed_scale": ("speed_not_followed",),
    "path": ("air_path",),
    **dict.fromkeys(ODD_HEALTHY, ("belt_slip",)),
}
DRAWN_CHOICES = (
    "cause",
    "control",
    "fan_type",
    "load",
    "location",
    "flux",
    "barometer",
    "temperature",
    "interval",
    "economiser",
    "unmodelled",
)
# Of a planted fault that comes to less than the ledger calls a fault; of a station's that no reading shows.
SLIGHT, HIDDEN = ", slight", ", hidden"
COVERED = ("slip_change_pct", "slip_ref_pct", "drag_ref_pct", "drive_loss_change_pct")


@dataclass(frozen=True, slots=True)
class Group:
    """A class of fans: its name, its rows, and the target of its slip error in points."""

    name: str
    rows: pd.DataFrame
    target: float


def groups(judged: pd.DataFrame) -> list[Group]:
    """Return the classes of the table, from those the targets name to those by each drawn choice."""
    rows = judged[judged["refused"] == ""]
    is_sound = ~rows["cause"].isin([*SENSOR_KINDS, SLIP_AND_DRIFT, "speed_scale", "drifting healthy"])
    is_across = rows["location"] == "across_fan"
    is_drive = rows["cause"].isin([QUIET, BELT_SLIP, STEP, RAMP, "drag"])
    found = [
        Group("sound sensors, across the fan", rows[is_across & is_drive], 0.3),
        Group("sound sensors, duct or outlet", rows[~is_across & is_drive], 1.0),
        Group("one sensor drifting", rows[~is_sound], 1.0),
    ]
    for column in DRAWN_CHOICES:
        for value, part in rows.groupby(column):
            found.append(Group(f"{column}: {value}", part, 1.0))
    return [group for group in found if len(group.rows)]


def slip_lines(judged: pd.DataFrame) -> pd.DataFrame:
    """Return error, bias and coverage a class; the per cent of points where not said."""
    return pd.DataFrame([_slip_line(group) for group in groups(judged)])


def _slip_line(group: Group) -> dict[str, object]:
    rows = group.rows
    error = rows["slip_change_pct"] - rows["true_slip_change_pct"]
    allowed = np.maximum(group.target, 0.06 * rows["true_slip_change_pct"].abs())
    each_fan = (error**2).groupby(rows["fan"]).mean() ** 0.5
    line: dict[str, object] = {
        "class": group.name,
        "fans": rows["fan"].nunique(),
        "rmse": float((error**2).mean() ** 0.5),
        "median fan": float(each_fan.median()),
        "day's limit": float(rows.groupby("fan")["limit_pct"].median().median()),
        "bias": float(error.mean()),
        "target": group.target,
        "within": float((error.abs() <= 2.0 * allowed).mean()),
    }
    for column in COVERED:
        stem, ending = column.removesuffix("_pct"), "_pct"
        low, high = rows[f"{stem}_low{ending}"], rows[f"{stem}_high{ending}"]
        true = rows[f"true_{column}"]
        is_known = true.notna()
        inside = (low <= true + 1e-9) & (true <= high + 1e-9)
        line[f"cover {stem}"] = 100.0 * float(inside[is_known].mean())
    return line


def loss_lines(judged: pd.DataFrame) -> list[str]:
    """Return the error of the drive loss change of slip and drag faults, a week after they began.

    Where amps alone say how hard the motor turns, drag and the current reading cannot be told apart.
    """
    rows = judged[(judged["refused"] == "") & judged["cause"].isin([BELT_SLIP, "drag", STEP])]
    late = rows[rows["day"] >= FAULT_DAY + 7]
    lines = []
    for name, part in (
        ("torque or power trended", late[late["load"] != "current"]),
        ("amps alone", late[late["load"] == "current"]),
        ("all", late),
    ):
        error = part["drive_loss_change_pct"] - part["true_drive_loss_change_pct"]
        lines.append(
            f"drive loss change after 7 days, {name}: rmse {float((error**2).mean() ** 0.5):.2f}"
            f" bias {error.mean():+.2f} (target 1.0 where separable)"
        )
    return lines


def alerts_of(values: Iterable[float], limit: float) -> int:
    """Return how many alerts a course opens.

    One opens on the HOLD_DAYS-th judged day in a row past the limit and stays open, as the product's does,
    until QUIET_DAYS judged days in a row lie below half of it.
    """
    count = past = quiet = 0
    is_open = False
    for value in values:
        past = past + 1 if value > limit else 0
        quiet = quiet + 1 if value < 0.5 * limit else 0
        if not is_open and past >= HOLD_DAYS:
            count, is_open = count + 1, True
        elif is_open and quiet >= QUIET_DAYS:
            is_open = False
    return count


def false_alerts(
    judged: pd.DataFrame, column: str, limit: float, causes: tuple[str, ...]
) -> tuple[int, float]:
    """Return alerts on fans whose drive is sound, and the fan-years they were drawn from."""
    rows = judged[(judged["refused"] == "") & judged["cause"].isin(causes)]
    count = sum(alerts_of(part[column], limit) for _, part in rows.groupby("fan"))
    span = rows.groupby("fan")["day"].agg(lambda day: day.max() - day.min() + 1)
    return count, float(span.sum()) / 365.25


def delays(judged: pd.DataFrame, cause: str, crossed: Callable[[pd.DataFrame], float]) -> pd.Series:
    """Return, a fan, the judged days from the true crossing to the opening of the alert; NaN where none."""
    rows = judged[(judged["refused"] == "") & (judged["cause"] == cause)]
    found = {}
    for fan, part in rows.groupby("fan"):
        after = part[part["day"] >= crossed(part)]
        run, late = 0, np.nan
        for number, value in enumerate(after["slip_ref_pct"], start=1):
            run = run + 1 if value > WATCH_PCT else 0
            if run == HOLD_DAYS:
                late = float(number)
                break
        found[fan] = late
    return pd.Series(found, dtype=float)


def true_crossing(part: pd.DataFrame) -> float:
    """Return the day on which a fan's true slip passes the watch limit."""
    past = part.loc[part["true_slip_ref_pct"] > WATCH_PCT, "day"]
    return float(past.min()) if len(past) else np.inf


def step_day(part: pd.DataFrame) -> float:
    """Return the day of a planted step."""
    return FAULT_DAY


def confusion(judged: pd.DataFrame) -> pd.DataFrame:
    """Return, a planted cause, the shares of verdicts on each fan's last judged day, in per cent.

    Faults that by then come to less than the ledger calls material have a line of their own, on which `none`
    is right too; and another those of a station that is materially wrong while nothing else moves so far.
    """
    rows = judged[judged["refused"] == ""].sort_values("day").groupby("fan").tail(1)
    is_still = rows["moved"] < 1.0
    ending = np.where(is_still, np.where(rows["station"] < 1.0, SLIGHT, HIDDEN), "")
    lines = []
    for cause, part in rows.groupby(rows["cause"] + ending):
        planted, _, kind = str(cause).partition(", ")
        right = RIGHT[planted]
        if f", {kind}" == SLIGHT:
            right = (*right, Cause.NONE.value)
        is_right = part["verdict"].isin(right)
        is_open = part["verdict"] == "unclear"
        named = part["rest"].apply(lambda rest: bool(set(rest.split()) & set(right)))  # noqa: B023
        is_drive = part["verdict"].isin(DRIVE_CAUSES)
        wrong = part.loc[~is_right & ~(is_open & named), "verdict"].value_counts()
        lines.append(
            {
                "cause": cause,
                "fans": len(part),
                "right": 100.0 * is_right.mean(),
                "unclear, named": 100.0 * (is_open & named).mean(),
                "acceptable": 100.0 * (is_right | (is_open & named)).mean(),
                "a drive cause": 100.0 * is_drive.mean(),
                "wrong": " ".join(f"{name}:{number}" for name, number in wrong.items()),
            }
        )
    return pd.DataFrame(lines)


def report(judged: pd.DataFrame, quiet: pd.DataFrame | None = None) -> str:
    """Return the whole table as text; `quiet` the long quiet years where they were run."""
    lines = [slip_lines(judged).to_string(index=False, float_format=lambda value: f"{value:.2f}")]
    lines.append(
        "targets: coverage 90 to 99 in every class; slip rmse as its column says, or 6 % of the slip"
    )
    lines.append(f"refused healthy periods: {int((judged['refused'] != '').sum())}")
    lines += loss_lines(judged)
    still = judged if quiet is None else pd.concat([judged, quiet], ignore_index=True)
    lines += _alert_lines(still, "quiet fans", (QUIET,), " (target 0.10 slip and drag together)")
    lines += _alert_lines(judged, "sensor faults", (*SENSOR_KINDS, "path", "speed_scale"), "")
    for cause, crossed, limit, target in (
        (STEP, step_day, HOLD_DAYS + 2, " (target 98 %)"),
        (RAMP, true_crossing, 9, ""),
    ):
        late = delays(judged, cause, crossed)
        if len(late):
            within = int((late <= limit).sum())
            spread = late.quantile([0.5, 0.9]).to_list()
            lines.append(
                f"{cause}: {within} of {len(late)} within {limit} judged days{target}; median, 90 %: {spread}"
            )
    lines.append("cause on each fan's last judged day; target 90 acceptable, no drive cause for a sensor")
    lines.append(confusion(judged).to_string(index=False, float_format=lambda value: f"{value:.0f}"))
    return "\n".join(lines)


def _alert_lines(judged: pd.DataFrame, name: str, causes: tuple[str, ...], target: str) -> list[str]:
    lines = []
    for column, limit in (("slip_ref_pct", WATCH_PCT), ("drag_ref_pct", DRAG_WATCH_PCT)):
        count, years = false_alerts(judged, column, limit, causes)
        if years:
            rate = f"{count / years:.2f} a fan-year{target}"
            lines.append(f"{name}: {count} {column} alerts in {years:.1f} fan-years, {rate}")
    return lines
