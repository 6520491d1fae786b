"""What a fan's state costs a year, in the same words on the round's sheets and in mails."""

from collections.abc import Iterator
from typing import Final

from analytics.vocabulary import Cause
from service.store.costs import FanCost, Figure
from service.store.fleet import FanStanding

_LEAST_KWH: Final = 20.0
_LEAST_AIR_PCT: Final = 0.5


def cost_words(fan: FanStanding, currency: str) -> str:
    """Say what a fan's state costs a year, and what a healthy drive of the kind loses anyway."""
    if fan.row is not None and fan.row["cause"] == Cause.DRIVE_LOST.value:
        return "Little on the meter: a motor without its load draws little. The air is what is missing."
    cost = fan.cost
    if cost is None:
        return "Not known: no load is read, or no day judged."
    parts = [_drifted(cost, currency), *air_words(cost)]
    if cost.healthy_kwh.centre > 0.0:
        parts.append(
            f"A healthy drive of its kind loses about {_span(cost.healthy_kwh, 'kWh')} a year anyway "
            f"({cost.healthy_money:,.0f} {currency})."
        )
    return " ".join(parts)


def year_words(cost: FanCost, currency: str) -> str:
    """Say in a sentence or two what a state would cost in a year."""
    return " ".join([f"A year of it: {_span(cost.money, currency)}.", *air_words(cost)])


def air_words(cost: FanCost) -> Iterator[str]:
    """Say how much air is lost where no command can rise, if that is worth saying."""
    if cost.limited_hours <= 0.0 or cost.air_lost_pct.centre < _LEAST_AIR_PCT:
        return
    air = f" ({cost.air_lost_m3s:.2f} m3/s)" if cost.air_lost_m3s > 0.0 else ""
    lost = f"{_span(cost.air_lost_pct, '%', 1)} of the air{air}"
    yield (
        f"In {cost.limited_hours:,.0f} h a year no command can rise: {lost} is lost, and the meter falls by "
        f"{cost.meter_falls_kwh:,.0f} kWh, which is no saving."
    )


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
