"""The whole accuracy table: sixty fans a class and three hundred quiet fan-years. Run with `-m long -s`."""

import pytest

from tests.accuracy.drawing import CAUSES, QUIET, RAMP, STEP
from tests.accuracy.running import judge_classes
from tests.accuracy.table import WATCH_PCT, delays, false_alerts, report, step_day

QUIET_FANS = 1100
MOST_FALSE_ALERTS = 30


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_every_class_of_sixty_fans() -> None:
    judged = judge_classes(21, (*CAUSES, STEP, RAMP), 60, processes=2)
    print(report(judged))
    late = delays(judged, STEP, step_day)
    assert late.notna().mean() > 0.8


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_three_hundred_quiet_fan_years() -> None:
    judged = judge_classes(22, (QUIET,), QUIET_FANS, processes=2)
    print(report(judged))
    count, years = false_alerts(judged, "slip_ref_pct", WATCH_PCT, (QUIET,))
    assert years > 285.0
    assert count <= MOST_FALSE_ALERTS
