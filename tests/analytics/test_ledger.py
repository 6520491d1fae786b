"""A day's row: what it says of a drag that no bearing can have."""

import numpy as np

from analytics.judging import day, fan_day, first_state, fleet
from analytics.ledger import LedgerRows
from tests.analytics.planted import MACHINE, planted_curves, planted_operating, planted_theta, scaled


def judged(days: int, load: float) -> LedgerRows:
    """The row of the last of so many days whose load reads a share of what it is."""
    curves = planted_curves()
    batch, state = fleet([curves], [MACHINE]), first_state(curves, MACHINE)
    rows = None
    for i in range(days):
        hours = scaled(planted_operating(planted_theta(), 24, seed=1000 + i))
        hours.load[:] *= 1.0 - (1.0 - load) * (i + 1) / days
        state, rows = day(batch, state, [fan_day(hours, curves, (), 1.0)])
    assert rows is not None
    return rows


def test_a_load_that_reads_less_is_no_surety_that_the_bearings_give_power_back() -> None:
    rows = judged(20, 0.93)
    assert rows.drag_ref_pct[0] < 0.0
    assert rows.drag_ref_high_pct[0] > 0.0
    assert np.all(rows.drive_loss_change_high_pct > 0.0)
