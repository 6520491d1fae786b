"""What a fan's drive cost in a week, and what that figure rests on."""

from typing import Final

from analytics.vocabulary import Cause
from service.mail.known import Known
from service.store.cost_words import year_words
from service.store.fleet import FanStanding
from service.words import EXCESS_IS

_LEAST: Final = 0.5


def week_cost(known: Known, fan: FanStanding) -> str:
    """Say what the excess power of a week cost: power above the healthy drive's, hours run, the site's price.

    A day that was not judged takes the latest judged day's excess; a lost drive moves no air and has none.
    """
    rows = known.this_week(fan.fan)
    if fan.row is not None and fan.row["cause"] == Cause.DRIVE_LOST.value:
        return "Little on the meter: a motor without its load draws little. The air is what is missing."
    excess_kw = None if fan.judged is None else fan.judged["excess_kw"]
    if excess_kw is None or not rows:
        return "Not known: no judged day or no running hours this week."
    hours = energy = 0.0
    for row in rows:
        hours += row["hours"]
        energy += row["hours"] * (excess_kw if row["excess_kw"] is None else row["excess_kw"])
    site = known.site.site
    # The mean price of the hours this fan runs in, where its usual load is known.
    per_kwh = site.energy_price_per_kwh if fan.cost is None else fan.cost.mean_price
    price = f"{per_kwh:.4g} {site.currency}/kWh"
    cost = energy * per_kwh
    a_year = "" if fan.cost is None else f" {year_words(fan.cost, site.currency)}"
    if cost < _LEAST:
        return f"Less than one {site.currency} this week, at {price} over {hours:.0f} h run.{a_year}"
    return (
        f"About {cost:,.0f} {site.currency} this week: {energy / hours:.2f} kW above the healthy drive at "
        f"the same airflow and pressure ({EXCESS_IS}), over {hours:.0f} h run, at {price}.{a_year}"
    )
