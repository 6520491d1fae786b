"""The one small drawing of a fan in the mail."""

from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import AlertKind
from config.epoch import FanEpoch
from service.mail.known import Known
from service.store.fleet import FanStanding
from service.words import one_line

_DAYS: Final = 120
_SIZE: Final = (430, 120)


@dataclass(frozen=True, slots=True)
class Picture:
    """A PNG and what it shows in words."""

    png: bytes
    words: str


def picture(known: Known, fan: FanStanding, epoch: FanEpoch) -> Picture | None:
    """Draw a fan's slip against its limits; where the loss is not the belt's, its rise."""
    from service.charts import as_png, loss_chart, slip_chart  # noqa: PLC0415 - takes time to load

    rows = known.all_rows(fan.fan, _DAYS)
    services = known.served(fan.fan)
    is_slip = any(alert.kind in (AlertKind.BELT_SLIP, AlertKind.DRIVE_LOST) for alert in fan.alerts)
    if is_slip or not any(alert.kind is AlertKind.DRIVE_LOSS for alert in fan.alerts):
        if not any(row["slip_ref_pct"] is not None for row in rows) or not epoch.machine.drive.can_slip:
            return None
        chart = slip_chart(rows, epoch.limits, services, _SIZE)
    else:
        chart = loss_chart(rows, epoch.limits, services, _SIZE)
    words = str(chart.description)
    return Picture(as_png(chart), f"{one_line(fan.fan)}. {words}")
