"""An alert from its opening to its close, and what of a fan's days it is found in."""

import datetime as dt
from dataclasses import dataclass

from analytics.machine import Limits
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy, Role, Work


@dataclass(frozen=True, slots=True)
class JudgedDay:
    """One row of the ledger as the alerts see it.

    `is_judged` whether it counts; `is_healthy_period` opens nothing; `is_awaited` whether a verdict was
    due; reference values in per cent; `last_reading` the UTC time of the day's last reading; innovations in
    standard deviations, NaN where the day says nothing; `likeliest` fault, however small, and its share;
    `expected` causes, which logged work has brought and the ledger is learning; `alike`, the two causes that
    an unclear day cannot tell apart, the likelier first.
    """

    date: dt.date
    is_judged: bool
    is_healthy_period: bool
    is_awaited: bool
    slip_ref_pct: float
    drag_ref_pct: float
    cause: Cause
    cause_share: float
    last_reading: dt.datetime
    limits: Limits
    can_slip: bool
    slip_innovation: float = float("nan")
    drag_innovation: float = float("nan")
    likeliest: Cause = Cause.UNCLEAR
    likeliest_share: float = 0.0
    expected: frozenset[Cause] = frozenset()
    alike: tuple[Cause, ...] = ()


@dataclass(frozen=True, slots=True)
class Event:
    """A finding of raw readings over consecutive hours: a lost drive, a commanded stop.

    `topic` what was found; `decided_at` the last reading the decision used; `date` the plant day of
    the decision; `ended_on` that of the first hour that shows otherwise, None while it lasts.
    """

    cause: Cause
    topic: str
    date: dt.date
    decided_at: dt.datetime
    ended_on: dt.date | None


@dataclass(frozen=True, slots=True)
class Service:
    """A service entry as the alerts see it."""

    date: dt.date
    work: Work
    role: Role | None


@dataclass(frozen=True, slots=True)
class Episode:
    """One alert from its opening to its close; columns of `export alerts` but the fan and the message.

    `alike`, the causes that the day of its opening could not tell apart, the likelier first, where its
    `cause` is unclear.
    """

    kind: AlertKind
    level: AlertLevel
    opened_on: dt.date
    opened_at: dt.datetime
    act_on: dt.date | None
    cause: Cause
    cause_share: float
    closed_on: dt.date | None
    closed_by: ClosedBy | None
    topic: str
    value_pct: float
    alike: tuple[Cause, ...] = ()

    @property
    def likeliest(self) -> Cause:
        """The cause, or of those not told apart the likelier."""
        return self.alike[0] if self.alike else self.cause
