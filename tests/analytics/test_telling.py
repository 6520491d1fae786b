"""Many days told at once: each says the same to the last bit as told by itself."""

from dataclasses import replace

import numpy as np

from analytics.judging import carried_day, fan_day, first_state, fleet
from analytics.state import stack_states
from analytics.tachometer import Pair
from analytics.telling import told
from tests.analytics.planted import MACHINE, planted_curves, planted_operating, planted_theta, scaled


def test_days_told_together_say_what_each_says_alone() -> None:
    curves = planted_curves()
    state = stack_states([first_state(curves, MACHINE)] * 2)
    batch, untold = fleet([curves] * 2, [MACHINE] * 2), []
    for number in range(3):
        days = []
        for fan in range(2):
            hours = scaled(planted_operating(planted_theta(), 24, seed=10 * number + fan))
            hours.load[:] *= 1.0 + 0.02 * number * fan
            days.append(fan_day(hours, curves, (), 1.0))
        # A fan whose level a tachometer pair has set stands beside one of the usual creep.
        days[1] = replace(days[1], known_pairs=(Pair(3.0, 0.0, 0.2, 0.9, False),))
        carried = carried_day(batch, state, days)
        state = carried.state
        untold.append(carried.untold)
    together, alone = told(untold), [told([one]) for one in untold]
    for name, found in together.rows.columns().items():
        np.testing.assert_array_equal(found, np.concatenate([one.rows.columns()[name] for one in alone]))
    np.testing.assert_array_equal(together.rows.shares, np.concatenate([one.rows.shares for one in alone]))
    np.testing.assert_array_equal(together.innovation, np.concatenate([one.innovation for one in alone]))
    np.testing.assert_array_equal(together.alone, np.concatenate([one.alone for one in alone]))
    assert np.all(together.rows.slip_ref_pct[1::2] > together.rows.slip_ref_pct[::2] + 0.5)
