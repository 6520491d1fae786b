"""What the API's rows hold, and what it takes: the contract of /api/v1."""

import datetime as dt
from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, create_model

from analytics.sight import Seen
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy, Role, Work
from service.assess.exports import COLUMNS as DAILY_COLUMNS
from service.store.columns import ROLE_COLUMNS
from service.store.fleet import Standing

_Number = (float | None, None)
_DAILY_TYPES: Final[dict[str, Any]] = {
    "fan": (str, Field(examples=["AHU-2 SF"])),
    "date": (dt.date, Field(examples=["2025-07-14"])),
    "hours": (float, Field(examples=[17.0])),
    "hours_used": (int, Field(examples=[14])),
    "slip_ref_pct": (float | None, Field(None, examples=[4.2])),
    "cause": (Cause, Field(examples=[Cause.BELT_SLIP])),
    "cause_share": (float | None, Field(None, examples=[0.97])),
    "note": (str, ...),
}
DailyRow = create_model("DailyRow", **{name: _DAILY_TYPES.get(name, _Number) for name in DAILY_COLUMNS})

_FURTHER_READINGS: Final = (
    Role.TORQUE,
    Role.RUN_STATUS,
    Role.MOTOR_SPEED,
    Role.WHEEL_SPEED,
    Role.OUTDOOR_AIR_DAMPER,
)
_READING_TYPES: Final[dict[str, Any]] = {
    "fan": (str, Field(examples=["AHU-2 SF"])),
    "time_utc": (dt.datetime, Field(examples=["2025-07-14T17:05:00Z"])),
    "speed_fraction": (float | None, Field(None, examples=[0.82])),
    **dict.fromkeys(("current_a", "power_kw", "airflow_m3s", "pressure_pa", "air_temperature_c"), _Number),
    "running": (int, Field(ge=0, le=1, examples=[1])),
    **{ROLE_COLUMNS[role]: _Number for role in _FURTHER_READINGS},
}
ReadingRow = create_model("ReadingRow", **_READING_TYPES)


class AlertRow(BaseModel):
    """One alert, as `export alerts` writes it; then its number, and how far people are with it."""

    fan: str = Field(examples=["AHU-2 SF"])
    kind: AlertKind
    level: AlertLevel
    opened_on: dt.date
    opened_at: dt.datetime = Field(examples=["2025-07-14T05:45:00Z"])
    act_on: dt.date | None
    cause: Cause
    cause_share: float
    closed_on: dt.date | None
    closed_by: ClosedBy | None
    message: str
    number: int = Field(examples=[12])
    handling: str = Field(examples=["in hand"])


class HistoryRow(BaseModel):
    """One change of an alert: what it was of, by whom, and why."""

    number: int
    aspect: str = Field(examples=["handling"])
    old: str
    new: str = Field(examples=["in hand"])
    true_from: dt.datetime
    who: str
    why: str
    until: dt.date | None


class FanRow(BaseModel):
    """How one fan stands, by its latest ledger row; reference values in per cent.

    `seen` is what its points let be seen of the drive, `least_slip_pct` the smallest slip that shows within a
    week, `best_point` the one point more that would help most.
    """

    fan: str = Field(examples=["AHU-2 SF"])
    building: str = Field(examples=["Alder Hall"])
    standing: Standing
    date: dt.date | None
    judged_on: dt.date | None
    slip_ref_pct: float | None = Field(examples=[4.2])
    slip_ref_low_pct: float | None
    slip_ref_high_pct: float | None
    drag_ref_pct: float | None
    drag_ref_low_pct: float | None
    drag_ref_high_pct: float | None
    excess_kw: float | None
    cost_a_year: float | None
    currency: str
    cause: Cause
    cause_share: float | None
    note: str
    seen: Seen | None
    least_slip_pct: float | None
    best_point: Role | None
    points_not_used: list[str]
    since: dt.date | None
    open_alerts: int
    page: str


class IntakeRow(BaseModel):
    """What reading one file came to in one pass, as `export intake` writes it."""

    file: str = Field(examples=["ahu2_2025-07-14.csv"])
    source: str
    pulled_at: dt.datetime
    rows_read: int = Field(examples=[1440])
    stored: int
    identical: int
    superseded: int
    refused: int
    missing: int
    unmapped: int
    decided: str


class ServiceRow(BaseModel):
    """Service done, as service_log.csv says it, in plant time; speeds as fractions of the motor's Hz."""

    fan: str = Field(examples=["AHU-2 SF"])
    date: dt.date
    time: str | None = Field(examples=["10:30"])
    work: Work
    role: Role | None
    motor_rpm: float | None
    fan_rpm: float | None
    speed_fraction: float | None
    no_load_a: float | None
    note: str | None


class JobRow(BaseModel):
    """One run of one of the worker's jobs."""

    job: str = Field(examples=["assess"])
    due: dt.datetime
    started: dt.datetime
    ended: dt.datetime | None
    outcome: str = Field(examples=["done"])
    error: str | None


# One line of text: what is written into a CSV file, a mail and a page.
_Line = Annotated[str, Field(max_length=500, pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$")]
_Reason = Annotated[
    str, Field(min_length=1, max_length=500, pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*\S")
]


class Sent(BaseModel):
    """What a program sends: nothing beside what is asked for."""

    model_config = ConfigDict(extra="forbid")


class NoteIn(Sent):
    """Why somebody has an alert in hand, or no longer."""

    note: _Line = Field("", examples=["belts ordered"])


class ReasonIn(Sent):
    """Why an alert is over."""

    note: _Reason = Field(examples=["the fan is taken out of service"])


class ShelveIn(Sent):
    """Up to which plant day an alert is set aside, that day included, and why."""

    until: dt.date = Field(examples=["2025-08-31"])
    note: _Reason = Field(examples=["shutdown in August"])


class ServiceIn(Sent):
    """Service done; blank fields may be left out. The speed is in the unit of the fan's speed point."""

    date: dt.date = Field(examples=["2025-07-14"])
    time: Annotated[str, Field(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$")] | None = Field(
        None, examples=["10:30"]
    )
    work: Work = Field(examples=[Work.RETENSIONED])
    role: Role | None = None
    motor_rpm: float | None = Field(None, ge=10, le=20_000, examples=[1755])
    fan_rpm: float | None = Field(None, ge=10, le=20_000, examples=[902])
    speed: float | None = Field(None, ge=0, le=20_000)
    no_load_a: float | None = Field(None, gt=0, le=5000)
    note: _Line | None = None

    def cells(self) -> dict[str, str]:
        """Return the cells of its row in service_log.csv."""
        said = self.model_dump(mode="json", exclude_none=True)
        return {name: _cell(value) for name, value in said.items()}


def _cell(value: str | float) -> str:
    is_whole = isinstance(value, float) and value.is_integer()
    return str(int(value)) if is_whole else str(value)
