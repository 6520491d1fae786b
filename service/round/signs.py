"""What the data say to look for at a fan."""

from collections.abc import Sequence
from typing import Any, Final

from analytics.vocabulary import AlertKind, Cause
from config.epoch import FanEpoch
from service.store.fleet import FanStanding
from service.words import CAUSE_WORDS, LOOK_AT, about, beside_slip, plain_date, sureness

_UNNAMED: Final = (Cause.NONE, Cause.NOT_JUDGED)


def sign_words(fan: FanStanding, epoch: FanEpoch, rows: Sequence[dict[str, Any]]) -> tuple[str, ...]:
    """Say what the data say to look for: alerts, slip, and the likeliest cause."""
    told = [
        f"{alert.level.value}: {about(alert.topic, alert.cause, alert.alike)}, "
        f"since {plain_date(alert.opened_on)}"
        for alert in fan.alerts
    ]
    row = fan.row
    if row is None:
        return (*told, "no day is in the ledger yet: look as at any fan")
    if any(alert.kind is AlertKind.DRIVE_LOST for alert in fan.alerts):
        return (*told, "see whether belt or coupling is gone, or the wheel loose on its shaft")
    if row["slip_ref_pct"] is not None and epoch.machine.drive.can_slip:
        told.append(
            f"slip {row['slip_ref_pct']:.1f} % ({row['slip_ref_low_pct']:.1f} to "
            f"{row['slip_ref_high_pct']:.1f}) "
            f"at the reference torque; limits {epoch.limits.slip_watch_pct:g} and "
            f"{epoch.limits.slip_act_pct:g}"
        )
    named = [one for one in rows[-7:] if Cause(one["cause"]) not in _UNNAMED]
    if named:
        cause = Cause(named[-1]["cause"])
        sure = "" if cause is Cause.UNCLEAR else f" ({sureness(named[-1]['cause_share'])})"
        is_dragging = any(alert.kind is AlertKind.DRIVE_LOSS for alert in fan.alerts)
        first, *more = beside_slip(cause, is_dragging=is_dragging)
        told.append(f"{CAUSE_WORDS[first]}{sure}: {LOOK_AT.get(first, LOOK_AT[Cause.UNCLEAR])}")
        told += [f"{CAUSE_WORDS[one]}, by what is lost beside slip: {LOOK_AT[one]}" for one in more]
    elif row["cause"] == Cause.NOT_JUDGED.value:
        told.append(f"not judged: {row['note']}" if row["note"] else "not judged")
    else:
        told.append("nothing stands out in the data")
    return tuple(told)
