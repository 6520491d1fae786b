"""What the data say to look for at a fan, and what its state costs."""

from collections.abc import Sequence
from typing import Any, Final

from analytics.vocabulary import AlertKind, Cause
from config.epoch import FanEpoch
from service.store.costs import FanCost, Figure
from service.store.fleet import FanStanding
from service.words import CAUSE_WORDS, LOOK_AT, about, plain_date, sureness

_UNNAMED: Final = (Cause.NONE, Cause.NOT_JUDGED)
_LEAST_KWH: Final = 20.0
_LEAST_AIR_PCT: Final = 0.5


def sign_words(fan: FanStanding, epoch: FanEpoch, rows: Sequence[dict[str, Any]]) -> tuple[str, ...]:
    """Say what the data say to look for: alerts, slip, and the likeliest cause."""
    told = [
        f"{alert.level.value}: {about(alert.topic, alert.cause)}, since {plain_date(alert.opened_on)}"
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
        told.append(f"{CAUSE_WORDS[cause]}{sure}: {LOOK_AT.get(cause, LOOK_AT[Cause.UNCLEAR])}")
    elif row["cause"] == Cause.NOT_JUDGED.value:
        told.append(f"not judged: {row['note']}" if row["note"] else "not judged")
    else:
        told.append("nothing stands out in the data")
    return tuple(told)


def cost_words(fan: FanStanding, currency: str) -> str:
    """Say what a fan's state costs a year, and what a healthy drive of the kind loses anyway."""
    if fan.row is not None and fan.row["cause"] == Cause.DRIVE_LOST.value:
        return "Little on the meter: a motor without its load draws little. The air is what is missing."
    cost = fan.cost
    if cost is None:
        return "Not known: no load is read, or no day judged."
    parts = [_drifted(cost, currency)]
    if cost.limited_hours > 0.0 and cost.air_lost_pct.centre >= _LEAST_AIR_PCT:
        air = f" ({cost.air_lost_m3s:.2f} m3/s)" if cost.air_lost_m3s > 0.0 else ""
        parts.append(
            f"In {cost.limited_hours:,.0f} h a year no command can rise: "
            f"{_span(cost.air_lost_pct, '%', 1)} of the "
            f"air{air} is lost there, and the meter falls by {cost.meter_falls_kwh:,.0f} kWh, which is "
            "no saving."
        )
    if cost.healthy_kwh.centre > 0.0:
        parts.append(
            f"A healthy drive of its kind loses about {_span(cost.healthy_kwh, 'kWh')} a year anyway "
            f"({cost.healthy_money:,.0f} {currency})."
        )
    return " ".join(parts)


def _drifted(cost: FanCost, currency: str) -> str:
    if cost.energy_kwh.centre < _LEAST_KWH:
        return f"Hardly anything: up to {cost.energy_kwh.high:,.0f} kWh a year."
    carbon = f", {cost.co2_kg.centre:,.0f} kg CO2e" if cost.co2_kg.centre > 0.0 else ""
    return (
        f"{_span(cost.energy_kwh, 'kWh')} a year, {_span(cost.money, currency)}{carbon}: slip "
        f"{cost.slip_kwh.centre:,.0f} kWh, drag {cost.drag_kwh.centre:,.0f} kWh, over "
        f"{cost.running_hours:,.0f} h."
    )


def _span(figure: Figure, unit: str, digits: int = 0) -> str:
    parts = (f"{part:,.{digits}f}" for part in (figure.centre, figure.low, figure.high))
    centre, low, high = parts
    return f"{centre} {unit} ({low} to {high})"
