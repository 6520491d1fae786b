"""The whole accuracy table: sixty fans a class and three hundred quiet fan-years. Run with `-m long -s`.

`python -m tests.accuracy --keep DIR` prints the same table and can be stopped and gone on with.
"""

import pandas as pd
import pytest

from tests.accuracy.__main__ import QUIET_DAYS
from tests.accuracy.drawing import CAUSES, QUIET, RAMP, STEP
from tests.accuracy.running import batches, judge_classes, judge_each
from tests.accuracy.table import DRAG_WATCH_PCT, WATCH_PCT, delays, false_alerts, report, step_day

QUIET_FANS = 301
MOST_FALSE_ALERTS = 30


@pytest.mark.long
@pytest.mark.timeout(14400)
def test_every_class_of_sixty_fans() -> None:
    judged = judge_classes(21, (*CAUSES, STEP, RAMP), 60, processes=2)
    print(report(judged))
    late = delays(judged, STEP, step_day)
    assert late.notna().mean() > 0.8


@pytest.mark.long
@pytest.mark.timeout(14400)
def test_three_hundred_quiet_fan_years() -> None:
    tasks = batches(22, (QUIET,), QUIET_FANS, days=QUIET_DAYS)
    judged = pd.concat(list(judge_each(tasks, processes=2)), ignore_index=True)
    print(report(judged))
    counted = [
        false_alerts(judged, column, limit, (QUIET,))
        for column, limit in (("slip_ref_pct", WATCH_PCT), ("drag_ref_pct", DRAG_WATCH_PCT))
    ]
    assert counted[0][1] > 285.0
    assert sum(count for count, _ in counted) <= MOST_FALSE_ALERTS
