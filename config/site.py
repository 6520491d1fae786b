"""What site.toml may say: the site, its sources, units, healthy period, limits and mail."""

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import partial
from typing import Annotated, Any, Final
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    model_validator,
)

from analytics.machine import Limits
from analytics.vocabulary import Role
from config.assessing import AssessTable
from config.faults import fault_in_value
from config.mail_server import check_mail_server
from config.money import WEEKDAYS, Prices, Tariff, TariffHours
from config.secrets import check_secret
from config.site_values import (
    Address,
    Character,
    OptionalText,
    Percent,
    TimeOfDay,
    Timezone,
    Url,
    check_database,
    read_encoding,
    read_weekly_at,
)
from config.table import Contradiction, Rule, Table
from config.units import BAROMETRIC_UNITS, FOOT_M, ROLE_UNITS, TEMPERATURE
from config.unread import is_read
from config.values import Date, Number, Text, Whole, above, choice_reader, within

LAYOUTS: Final = ("auto", "wide", "long", "single")
LABELS: Final = ("instant", "start", "end")
TRADES: Final = ("", "mechanics", "controls")
GETS: Final = ("immediate", "weekly")
CATCH_UPS: Final = ("once", "no")
# Encrypted, with nothing after the host: the pages are served from the root.
_PUBLIC_URL: Final = re.compile(r"https://([a-z0-9_](?:[a-z0-9._-]*[a-z0-9_])?|\[[0-9a-f:.]+\])(:\d{1,5})?/?")
_DEFAULTS: Final = Limits()


class Source(Table):
    """One place that exports come from and how they are read there."""

    name: Text = ""
    url: Url = "drop"
    files: Text = "*.csv"
    layout: Annotated[str, BeforeValidator(choice_reader(LAYOUTS))] = "auto"
    every_minutes: Annotated[Number, within(1.0, 525_600.0, "write whole minutes, at least 1")] = 15.0
    delimiter: Character | None = None
    decimal: Annotated[str, BeforeValidator(choice_reader((".", ",")))] | None = None
    time_column: Text | None = None
    time_format: Text | None = None
    zone: Timezone | None = None
    label: Annotated[str, BeforeValidator(choice_reader(LABELS))] = "instant"
    encoding: Annotated[str, BeforeValidator(read_encoding)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _named_by_its_url(cls, given: Any) -> Any:
        if isinstance(given, dict) and "name" not in given:
            return {**given, "name": given.get("url", "drop")}
        return given


class Units(Table):
    """The units the trend points are written in; a fan's row may override each."""

    speed: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.SPEED]))] = "percent"
    current: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.CURRENT]))] = "A"
    power: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.POWER]))] = "kW"
    torque: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.TORQUE]))] = "percent"
    airflow: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.AIRFLOW]))] = "cfm"
    pressure: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.PRESSURE]))] = "inwg"
    air_temperature: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.AIR_TEMPERATURE]))] = "degF"
    run_status: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.RUN_STATUS]))] = "state"
    motor_speed: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.MOTOR_SPEED]))] = "rpm"
    wheel_speed: Annotated[str, BeforeValidator(choice_reader(ROLE_UNITS[Role.WHEEL_SPEED]))] = "rpm"
    outdoor_air_damper: Annotated[
        str, BeforeValidator(choice_reader(ROLE_UNITS[Role.OUTDOOR_AIR_DAMPER]))
    ] = "percent"
    outdoor_temperature: Annotated[str, BeforeValidator(choice_reader(tuple(TEMPERATURE)))] | None = None
    barometric_pressure: Annotated[str, BeforeValidator(choice_reader(BAROMETRIC_UNITS))] = BAROMETRIC_UNITS[
        0
    ]

    def of(self, role: Role) -> str:
        """Return the unit of a role's points."""
        return str(getattr(self, role.value))

    @property
    def of_outdoor_temperature(self) -> str:
        """Return the unit of the site's outdoor temperature: the fans' unless it has its own."""
        return self.outdoor_temperature or self.air_temperature


HoldMinutes = Annotated[Number, within(1.0, 1200.0, "write minutes, at most 1200 (20 h)")]


class Hold(Table):
    """How long a value holds without a further record of its point: [hold_minutes]; unset: found out."""

    speed: HoldMinutes | None = None
    current: HoldMinutes | None = None
    power: HoldMinutes | None = None
    torque: HoldMinutes | None = None
    airflow: HoldMinutes | None = None
    pressure: HoldMinutes | None = None
    air_temperature: HoldMinutes | None = None
    run_status: HoldMinutes | None = None
    motor_speed: HoldMinutes | None = None
    wheel_speed: HoldMinutes | None = None
    outdoor_air_damper: HoldMinutes | None = None

    @property
    def of_roles(self) -> dict[Role, float]:
        """Return the minutes of the roles that have their own."""
        given = {role: getattr(self, role.value) for role in Role}
        return {role: float(minutes) for role, minutes in given.items() if minutes is not None}


class Baseline(Table):
    """A healthy period; both dates belong to it."""

    first: Date = Field(alias="from")
    last: Date = Field(alias="to")

    def rules(self) -> tuple[Rule, ...]:
        """Return what its dates are held against together."""
        return (self._in_order,)

    def _in_order(self) -> Iterator[Contradiction]:
        if self.last < self.first:
            yield Contradiction(f"ends ({self.last}) before it begins ({self.first})", "exchange the dates")


WATCH_AND_ACT: Final = (
    ("slip_watch_pct", "slip_act_pct"),
    ("drive_loss_rise_watch_pct", "drive_loss_rise_act_pct"),
)


def watch_above_act(watch: str, act: str) -> Contradiction:
    """Return what is said where people would be told to act before they are told to watch."""
    return Contradiction(f"has {watch} above {act}", "set the watch limit at or below the act limit")


class LimitsTable(Table):
    """The limits of [limits]."""

    slip_watch_pct: Percent = _DEFAULTS.slip_watch_pct
    slip_act_pct: Percent = _DEFAULTS.slip_act_pct
    drive_loss_rise_watch_pct: Percent = _DEFAULTS.drive_loss_rise_watch_pct
    drive_loss_rise_act_pct: Percent = _DEFAULTS.drive_loss_rise_act_pct
    hold_days: Annotated[Whole, within(1, 60, "write a number of days")] = _DEFAULTS.hold_days
    false_alerts_per_fan_year: Annotated[Number, above(0.0, 12.0, "write alerts per fan and year")] = (
        _DEFAULTS.false_alerts_per_fan_year
    )

    def rules(self) -> tuple[Rule, ...]:
        """Return what its limits are held against together."""
        return tuple(partial(self._watch_before_act, watch, act) for watch, act in WATCH_AND_ACT)

    def _watch_before_act(self, watch: str, act: str) -> Iterator[Contradiction]:
        if getattr(self, watch) > getattr(self, act):
            yield watch_above_act(watch, act)

    def as_limits(self) -> Limits:
        """Return them as the analyses take them."""
        return Limits(**self.model_dump())


class AlertsTable(Table):
    """When many alerts are one cause: [alerts]."""

    flood_share: Annotated[
        Number, above(0.0, 1.0, "write the share of a building's fans, for example 0.3")
    ] = 0.3
    silent_after_hours: Annotated[Number, within(2.0, 720.0, "write hours")] = 36.0


class Crew(Table):
    """People who are told of some buildings and one trade only: a [[mail.crews]] of site.toml."""

    to: tuple[Address, ...]
    buildings: tuple[Text, ...] = ()
    trade: Annotated[str, BeforeValidator(choice_reader(TRADES))] = ""
    gets: tuple[Annotated[str, BeforeValidator(choice_reader(GETS))], ...] = GETS


def _spoken_over_http(url: str) -> str:
    if not url.startswith(("https://", "http://")):
        raise fault_in_value("is no web address", "write it as https://host/path")
    return url


class Hook(Table):
    """A program that is told too, by a signed JSON message: a [[hooks]] of site.toml."""

    name: Text
    url: Annotated[Url, AfterValidator(_spoken_over_http)]
    secret: Annotated[Text, AfterValidator(check_secret)]
    buildings: tuple[Text, ...] = ()


class Mail(Table):
    """Who is written to, when, and through which server."""

    sender: Address = Field(default="slipledger@localhost", alias="from")
    weekly: tuple[Address, ...] = ()
    immediate: tuple[Address, ...] = ()
    weekly_at: Annotated[str, BeforeValidator(read_weekly_at)] = "Mon 06:00"
    smtp: Annotated[Url, AfterValidator(check_mail_server)] = "smtp://localhost:25"
    ask: OptionalText = ""
    crews: tuple[Crew, ...] = ()

    @property
    def weekday(self) -> int:
        """Return the weekly mail's weekday, Monday 0."""
        return WEEKDAYS.index(self.weekly_at[:3])

    @property
    def time_of_day(self) -> dt.time:
        """Return the weekly mail's time of day in the site's zone."""
        hours, minutes = self.weekly_at[4:].split(":")
        return dt.time(int(hours), int(minutes))


class WorkerTable(Table):
    """When the service does its work by itself, and what it does about work it missed: [worker].

    At most one run of a job is ever under way, and at most one worker runs a site: that is no setting.
    """

    nightly_at: TimeOfDay = dt.time(2, 30)
    upkeep_at: TimeOfDay = dt.time(3, 30)
    outbox_minutes: Annotated[Number, within(1.0, 1440.0, "write whole minutes, at least 1")] = 1.0
    watch_minutes: Annotated[Number, within(1.0, 1440.0, "write whole minutes, at least 1")] = 5.0
    catch_up: Annotated[str, BeforeValidator(choice_reader(CATCH_UPS))] = "once"
    lateness_allowed_hours: Annotated[Number, within(1.0, 8760.0, "write hours")] = 144.0
    told_late_after_minutes: Annotated[Number, within(5.0, 10_080.0, "write minutes, at least 5")] = 120.0
    keep_runs_days: Annotated[Whole, within(7, 36_500, "write days, at least 7")] = 400
    keep_replaced_hours: Annotated[Whole, within(24, 87_600, "write hours, at least 24")] = 168


def _host_alone(url: str) -> str:
    if not url:
        return ""
    match = _PUBLIC_URL.fullmatch(url.lower())
    if match is None:
        raise fault_in_value(
            "is no address that people could open", 'write it like "https://fans.example.edu"'
        )
    return match[0].rstrip("/")


class WebTable(Table):
    """How the pages are reached from elsewhere: [web]."""

    public_url: Annotated[OptionalText, AfterValidator(_host_alone)] = ""


_LOWEST_M, _HIGHEST_M = -450.0, 6000.0
_ALTITUDE: Final = "write the height above the sea in the unit the key names"
AltitudeM = Annotated[Number, within(_LOWEST_M, _HIGHEST_M, _ALTITUDE)]
AltitudeFt = Annotated[Number, within(_LOWEST_M / FOOT_M, _HIGHEST_M / FOOT_M, _ALTITUDE)]


def _repeated(named: Iterable[Source] | Iterable[Hook]) -> list[str]:
    names = [item.name for item in named if is_read(item) and is_read(item.name)]
    return [name for name, times in Counter(names).items() if times > 1]


class Site(Table):
    """The whole of site.toml, in SI."""

    name: Text
    timezone: Timezone
    written_altitude_m: AltitudeM | None = Field(default=None, alias="altitude_m")
    written_altitude_ft: AltitudeFt | None = Field(default=None, alias="altitude_ft")
    outdoor_temperature_point: OptionalText = ""
    barometric_pressure_point: OptionalText = ""
    currency: Text = "USD"
    energy_price_per_kwh: Annotated[Number, within(0.0, 1000.0, "write the price of a kWh")] = 0.12
    co2_kg_per_kwh: Annotated[Number, within(0.0, 3.0, "write kilograms, not grams, per kWh")] = 0.0
    database: Annotated[Text, AfterValidator(check_database)] = "sqlite:///state/slipledger.db"
    readings: Url = "state/readings"
    sources: tuple[Source, ...] = (Source(name="drop"),)
    units: Units = Units()
    hold_minutes: Hold = Hold()
    baseline: Baseline | None = None
    limits_table: LimitsTable = Field(default=LimitsTable(), alias="limits")
    mail: Mail | None = None
    alerts: AlertsTable = AlertsTable()
    hooks: tuple[Hook, ...] = ()
    worker: WorkerTable = WorkerTable()
    assess: AssessTable = AssessTable()
    web: WebTable = WebTable()
    tariff: Tariff = Tariff()
    prices: Prices = Prices()

    def rules(self) -> tuple[Rule, ...]:
        """Return what its keys are held against together."""
        return (self._one_altitude, self._sources_told_apart, self._hooks_told_apart)

    def _one_altitude(self) -> Iterator[Contradiction]:
        if self.written_altitude_m is not None and self.written_altitude_ft is not None:
            yield Contradiction("gives altitude_m and altitude_ft", "keep one of them")

    def _sources_told_apart(self) -> Iterator[Contradiction]:
        for name in _repeated(self.sources):
            yield Contradiction(f"has two sources named {name!r}", "give each source a name of its own")

    def _hooks_told_apart(self) -> Iterator[Contradiction]:
        if _repeated(self.hooks):
            yield Contradiction("has two hooks of one name", "give each hook a name of its own")

    @property
    def altitude_m(self) -> float:
        """Return the height above the sea: sea level where none is said."""
        if self.written_altitude_ft is not None:
            return FOOT_M * self.written_altitude_ft
        return self.written_altitude_m or 0.0

    @property
    def zone(self) -> ZoneInfo:
        """Return the zone of the site's wall clocks."""
        return ZoneInfo(self.timezone)

    @property
    def limits(self) -> Limits:
        """Return the site's limits, which a fan's row may override."""
        return self.limits_table.as_limits()


KNOWN_KEYS: Final[dict[tuple[str, ...], tuple[str, ...]]] = {
    (): Site.names(),
    ("sources",): Source.names(),
    ("units",): Units.names(),
    ("hold_minutes",): Hold.names(),
    ("baseline",): Baseline.names(),
    ("limits",): LimitsTable.names(),
    ("mail",): Mail.names(),
    ("mail", "crews"): Crew.names(),
    ("alerts",): AlertsTable.names(),
    ("hooks",): Hook.names(),
    ("worker",): WorkerTable.names(),
    ("assess",): AssessTable.names(),
    ("web",): WebTable.names(),
    ("tariff",): Tariff.names(),
    ("tariff", "hours"): TariffHours.names(),
    ("prices",): Prices.names(),
}
