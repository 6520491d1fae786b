"""The retrofit check's page: which change of which fan, and what it came to; its report and hours to take."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from analytics.compared_hours import Basis
from service.retrofit import (
    Asked,
    Dividing,
    Period,
    Retrofit,
    RetrofitRefusedError,
    check_retrofit,
    dividing_days,
    hours_table,
    periods_around,
    read_asked,
)
from service.web.desk import Desk
from service.web.downloads import safe_csv
from service.web.paper import page
from service.web.problem import Problem
from service.web.retrofit_report import report_told, retrofit_report

CONFIDENCES: Final = ("68", "80", "90", "95")
BASES: Final = (
    ("", "by what was changed"),
    (Basis.DRIVE.value, "drive: equal airflow and pressure"),
    (Basis.AIR.value, "air: equal airflow alone"),
)
_SITE: Final = "SITE"


@dataclass(frozen=True, slots=True)
class Typed:
    """The fields of the form as they were sent, all text; a period is its first and last day."""

    fan: str = ""
    before_from: str = ""
    before_to: str = ""
    after_from: str = ""
    after_to: str = ""
    promised: str = ""
    confidence: str = "90"
    basis: str = ""

    @property
    def is_complete(self) -> bool:
        """Tell whether there is enough to compare."""
        return all((self.fan, self.before_from, self.before_to, self.after_from, self.after_to))

    @property
    def address(self) -> str:
        """The fields as the query of an address."""
        return urlencode(dataclasses.asdict(self))

    def asked(self) -> Asked:
        """Read what is asked; raise RetrofitRefusedError where a field means nothing."""
        return read_asked(
            self.fan,
            f"{self.before_from}..{self.before_to}",
            f"{self.after_from}..{self.after_to}",
            _number("promised", self.promised) if self.promised.strip() else None,
            _number("confidence", self.confidence),
            self.basis or None,
        )

    def around(self, periods: tuple[Period, Period]) -> "Typed":
        """Return the form with two periods filled in."""
        before, after = periods
        return dataclasses.replace(
            self,
            before_from=before.first.isoformat(),
            before_to=before.last.isoformat(),
            after_from=after.first.isoformat(),
            after_to=after.last.isoformat(),
        )


_Typed = Annotated[Typed, Depends()]


def retrofit_routes(desk: Desk) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)

    @router.get("/retrofit")
    def _retrofit(typed: _Typed, day: str = "") -> HTMLResponse:
        return _page(desk, typed, day)

    @router.get("/retrofit/hours.csv")
    def _hours(typed: _Typed) -> Response:
        table = hours_table(_told(desk, typed)[1])
        body = safe_csv(list(table.columns), table.itertuples(index=False))
        return _taken(body, "text/csv; charset=utf-8", "hours.csv")

    @router.get("/retrofit/report.html")
    def _report(typed: _Typed) -> Response:
        asked, told = _told(desk, typed)
        body = retrofit_report(desk.site, told, asked, _SITE)
        return _taken(body, "text/html; charset=utf-8", "retrofit.html")

    return router


def _page(desk: Desk, typed: Typed, day: str) -> HTMLResponse:
    site = desk.site
    changes: tuple[Dividing, ...] = ()
    refusal, report = "", None
    if typed.fan:
        changes = dividing_days(site, desk.known_fan(typed.fan))
        if not typed.is_complete:
            typed, refusal = _filled(desk, typed, changes, day)
        if typed.is_complete:
            try:
                asked = typed.asked()
                report = report_told(site, check_retrofit(site, desk.store, asked), asked, _SITE)
            except RetrofitRefusedError as refused:
                refusal = _said(refused)
    else:
        everyone = (one for fan in site.fan_names for one in dividing_days(site, fan))
        changes = tuple(sorted(everyone, key=lambda one: one.last, reverse=True))
    return page(
        "retrofit.html",
        400 if refusal and typed.is_complete else 200,
        site=site.site,
        faults=desk.current.faults,
        fans=site.fan_names,
        changes=changes,
        typed=typed,
        refusal=refusal,
        bases=BASES,
        confidences=CONFIDENCES,
        report=report,
    )


def _filled(desk: Desk, typed: Typed, changes: tuple[Dividing, ...], day: str) -> tuple[Typed, str]:
    """Fill in the days around the change that was named, or around the latest with days on either side."""
    if not changes:
        return typed, ""
    named = [one for one in changes if day in (one.first.isoformat(), one.last.isoformat())]
    if day and not named:
        raise Problem(404, f"Nothing was changed at {typed.fan} on {day[:20]!r}.", "choose a day of its list")
    for one in named or changes:
        periods = periods_around(desk.site, desk.store, one)
        if periods is not None:
            return typed.around(periods), ""
    at = named[0] if named else changes[0]
    return typed, (
        f"There are not yet seven days of readings on either side of the change of {at.first}, "
        "and with none of the changes beside it; write the days, or come back when there are."
    )


def _told(desk: Desk, typed: Typed) -> tuple[Asked, Retrofit]:
    desk.known_fan(typed.fan)
    try:
        asked = typed.asked()
        return asked, check_retrofit(desk.site, desk.store, asked)
    except RetrofitRefusedError as refused:
        raise Problem(400, _said(refused), "put it right on /retrofit and take it again") from None


def _said(refused: RetrofitRefusedError) -> str:
    words = {"before": "The time before", "after": "The time after"}
    return f"{words.get(refused.option, refused.option.capitalize())}: {refused}."


def _number(option: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise RetrofitRefusedError(option, f"{text[:20]!r} is no number") from None


def _taken(body: str, kind: str, name: str) -> Response:
    return Response(body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})
