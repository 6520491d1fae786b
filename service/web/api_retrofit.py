"""What the API says of a change: what it saved and whether that was promised, and every hour compared."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, Field

from analytics.compared_hours import Basis
from service.retrofit import Retrofit, RetrofitRefusedError, as_row, check_retrofit, hours_table, read_asked
from service.web.api_answer import Paging, answer, page_of, paging
from service.web.api_reading import NO_FAN, OTHER_KINDS, listed
from service.web.desk import Desk
from service.web.problem import ErrorShape, Problem

_PERIOD: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}\.\.[0-9]{4}-[0-9]{2}-[0-9]{2}$"
_NO_ANSWER: Final[dict[int | str, dict[str, Any]]] = {
    422: {"model": ErrorShape, "description": "What is asked has no answer: the message says why."}
}
_Before = Annotated[
    str,
    Query(pattern=_PERIOD, description="Plant days, both included.", examples=["2025-02-24..2025-03-15"]),
]
_After = Annotated[
    str,
    Query(pattern=_PERIOD, description="Plant days, both included.", examples=["2025-03-18..2025-04-08"]),
]
_Promised = Annotated[float | None, Query(gt=0, lt=100, description="The saving promised, in per cent.")]
_Confidence = Annotated[float, Query(ge=50, le=99.9, description="Of the intervals, in per cent.")]
_Basis = Annotated[
    Basis | None,
    Query(description="Equal airflow and pressure, or airflow alone; by what was changed where not named."),
]


class RetrofitRow(BaseModel):
    """What a change saved at the air of the time after it, as `retrofit --json` says it.

    Figures are null where nothing could be compared; `met` is yes, no or not_shown, `reason` why; low and
    high bound the `confidence`, the guideline's form and the days drawn again stand beside them; `more_days`
    after the change would decide, null where none would.
    """

    fan: str = Field(examples=["AHU-2 SF"])
    before: str = Field(examples=["2025-02-24..2025-03-15"])
    after: str
    basis: Basis
    basis_reason: str
    changed: list[str]
    power: str
    saving_kw: float | None
    saving_pct: float | None = Field(examples=[5.1])
    low_pct: float | None
    high_pct: float | None
    confidence: float
    promised_pct: float | None
    met: str = Field(examples=["yes"])
    reason: str
    more_days: int | None
    cautions: list[str]
    outside_changes: list[str]
    days_left_out: list[dt.date]
    adjusted_before_kw: float | None
    after_kw: float | None
    inside_before_range_pct: float | None
    hours_before: int | None
    hours_after: int | None
    days_before: int | None
    days_after: int | None
    fraction_of_saving: float | None
    guideline_14_fraction_of_saving: float | None
    bootstrap_low_pct: float | None
    bootstrap_high_pct: float | None
    saving_kwh_year: float | None
    saving_kwh_year_low: float | None
    saving_kwh_year_high: float | None
    hours_year: float | None
    saving_money_year: float | None
    saving_money_year_low: float | None
    saving_money_year_high: float | None
    currency: str | None
    restored_kw: float | None
    restored_low_kw: float | None
    restored_high_kw: float | None
    renewed_kw: float | None
    renewed_low_kw: float | None
    renewed_high_kw: float | None
    meter_before_kw: float | None
    meter_after_kw: float | None
    same_command_change_pct: float | None


class RetrofitHourRow(BaseModel):
    """One hour compared, and what the arrangement before would have drawn in its air.

    The saving is 1 - exp(sum power ln(power / adjusted) / sum power) over the used hours after.
    """

    period: str = Field(examples=["after"])
    time_utc: dt.datetime
    speed_fraction: float | None
    airflow_m3s: float | None
    pressure_pa: float | None
    density_ratio: float | None
    power_kw: float | None
    adjusted_kw: float | None
    is_used: bool


_ROW: Final = tuple(RetrofitRow.model_fields)
_HOUR: Final = tuple(RetrofitHourRow.model_fields)


@dataclass(frozen=True, slots=True)
class _Change:
    """The change asked about: what both routes take alike."""

    fan: str
    before: str
    after: str
    basis: Basis | None


def _change(fan: str, before: _Before, after: _After, basis: _Basis = None) -> _Change:
    return _Change(fan, before, after, basis)


_Asked = Annotated[_Change, Depends(_change)]


def add_retrofit(router: APIRouter, desk: Desk) -> None:
    """Add the check, and its hours."""

    @router.get(
        "/fans/{fan:path}/retrofit",
        response_model=listed(RetrofitRow),
        responses=NO_FAN | OTHER_KINDS | _NO_ANSWER,
        summary="What a change of a fan saved at the same air, held against what was promised: one row",
    )
    def _retrofit(
        request: Request, change: _Asked, promised: _Promised = None, confidence: _Confidence = 90.0
    ) -> Response:
        told = _told(desk, change, promised, confidence)
        row = as_row(told, desk.site.site.currency)
        return answer(request, [{name: row.get(name) for name in _ROW}], _ROW)

    @router.get(
        "/fans/{fan:path}/retrofit/hours",
        response_model=listed(RetrofitHourRow),
        responses=NO_FAN | OTHER_KINDS | _NO_ANSWER,
        summary="The hours before and after a change that were compared, by time",
    )
    def _hours(request: Request, change: _Asked, part: Annotated[Paging, Depends(paging)]) -> Response:
        table = hours_table(_told(desk, change))
        some = table.iloc[part.offset : part.offset + part.limit + 1]
        rows = [_hour(row) for row in some.to_dict("records")]
        return page_of(request, rows, _HOUR, part)


def _told(desk: Desk, change: _Change, promised: float | None = None, confidence: float = 90.0) -> Retrofit:
    fan = desk.known_fan(change.fan)
    basis = None if change.basis is None else change.basis.value
    try:
        asked = read_asked(fan, change.before, change.after, promised, confidence, basis)
        return check_retrofit(desk.site, desk.store, asked)
    except RetrofitRefusedError as refused:
        raise Problem(422, f"{refused}.", f"put `{refused.option}` right") from None


def _hour(row: dict[Any, Any]) -> dict[str, Any]:
    told = {name: row.get(name) for name in _HOUR}
    return told | {"time_utc": dt.datetime.fromisoformat(row["time"]), "is_used": bool(row["is_used"])}
