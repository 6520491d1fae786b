"""What electricity and work cost at a site: [tariff] and [prices] of site.toml."""

from collections.abc import Iterator
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field

from config.table import Contradiction, Rule, Table
from config.values import Number, Whole, choice_reader, within

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS: Final = 12
HOURS_A_WEEK: Final = 168

Price = Annotated[Number, within(0.0, 1000.0, "write the price of a kWh")]
Cost = Annotated[Number, within(0.0, 1e7, "write an amount of money")]
HourOfDay = Annotated[Whole, within(0, 24, "write a whole hour of the site's clock, 0 to 24")]
Weekday = Annotated[str, BeforeValidator(choice_reader(WEEKDAYS))]


class TariffHours(Table):
    """Hours of the week with a price of their own: a [[tariff.hours]]."""

    price_per_kwh: Price
    days: tuple[Weekday, ...] = WEEKDAYS
    first: HourOfDay = Field(default=0, alias="from")
    last: HourOfDay = Field(default=24, alias="to")

    def rules(self) -> tuple[Rule, ...]:
        """Return what its hours are held against together."""
        return (self._in_order,)

    def _in_order(self) -> Iterator[Contradiction]:
        if self.last <= self.first:
            problem = f"ends (to = {self.last}) no later than it begins (from = {self.first})"
            yield Contradiction(problem, "split hours that pass midnight into two tables")


class Tariff(Table):
    """What a kWh costs when: [tariff]. Hours of the week go before months, months before the flat price."""

    by_month: tuple[Price, ...] = ()
    hours: tuple[TariffHours, ...] = ()
    demand_per_kw_month: Annotated[Number, within(0.0, 1000.0, "write the price of a kW a month")] = 0.0

    def rules(self) -> tuple[Rule, ...]:
        """Return what its prices are held against together."""
        return (self._twelve_months,)

    def _twelve_months(self) -> Iterator[Contradiction]:
        if self.by_month and len(self.by_month) != MONTHS:
            problem = f"has {len(self.by_month)} prices in by_month"
            yield Contradiction(problem, "write twelve, January first, or leave it out")

    def prices(self, flat: float) -> NDArray[np.float64]:
        """Return the price of a kWh, shape (12, 168): by month and by hour of the week from Monday 00:00.

        Parameters: `flat`, the price where nothing else is said. Of two tables for one hour the later holds.
        """
        by_month = np.array(self.by_month or (flat,) * MONTHS)
        table = np.repeat(by_month[:, None], HOURS_A_WEEK, axis=1)
        for window in self.hours:
            for day in window.days:
                begin = 24 * WEEKDAYS.index(day)
                table[:, begin + window.first : begin + window.last] = window.price_per_kwh
        return table


class Prices(Table):
    """What work on a drive costs: [prices]. The defaults are examples to replace, not a survey."""

    labour_per_hour: Cost = 75.0
    retension_hours: Annotated[Number, within(0.0, 200.0, "write hours")] = 1.0
    belt_change_hours: Annotated[Number, within(0.0, 200.0, "write hours")] = 2.0
    drive_change_hours: Annotated[Number, within(0.0, 500.0, "write hours")] = 6.0
    belt_each: Cost = 35.0
    cogged_belt_each: Cost = 48.0
    tensioner: Cost = 400.0
    synchronous_base: Cost = 350.0
    synchronous_per_kw: Cost = 45.0
    direct_base: Cost = 2500.0
    direct_per_kw: Cost = 220.0
    uncertainty_pct: Annotated[Number, within(0.0, 100.0, "write per cent")] = 30.0
