"""The accuracy of the inference on a couple of dozen drawn fans; the long form draws every class."""

import pandas as pd
import pytest

from tests.accuracy.drawing import BELT_SLIP, QUIET
from tests.accuracy.running import judge_classes
from tests.accuracy.table import DRAG_WATCH_PCT, WATCH_PCT, confusion, false_alerts, groups, slip_lines

FANS = 5
MINUTES = 15
# Fits and days of fifteen fans: seconds of work, minutes on a machine that does other things.
pytestmark = pytest.mark.timeout(900)
CAUSES = (QUIET, BELT_SLIP, "load_gain")


@pytest.fixture(scope="module")
def judged() -> pd.DataFrame:
    return judge_classes(11, CAUSES, FANS, minutes=MINUTES)


def test_slip_of_sound_fans_is_within_a_point_and_mostly_within_the_target(judged: pd.DataFrame) -> None:
    across = next(group for group in groups(judged) if group.name == "sound sensors, across the fan")
    error = across.rows["slip_change_pct"] - across.rows["true_slip_change_pct"]
    by_fan = (error**2).groupby(across.rows["fan"]).mean() ** 0.5
    assert (error**2).mean() ** 0.5 < 0.7
    assert by_fan.median() < 0.4


def test_intervals_cover_nine_tenths(judged: pd.DataFrame) -> None:
    lines = slip_lines(judged).set_index("class")
    assert lines.loc[f"cause: {QUIET}", "cover slip_change"] >= 90.0
    assert lines.loc[f"cause: {BELT_SLIP}", "cover slip_change"] >= 70.0


def test_quiet_fans_raise_no_drive_alert(judged: pd.DataFrame) -> None:
    for column, limit in (("slip_ref_pct", WATCH_PCT), ("drag_ref_pct", DRAG_WATCH_PCT)):
        count, years = false_alerts(judged, column, limit, (QUIET,))
        assert years > 1.0
        assert count == 0


def test_a_slipping_belt_is_named_and_a_wrong_meter_is_not_called_a_belt(judged: pd.DataFrame) -> None:
    lines = confusion(judged).set_index("cause")
    assert lines.loc[BELT_SLIP, "acceptable"] >= 70.0
    slips = judged[(judged["cause"] == "load_gain") & (judged["refused"] == "")].groupby("fan").tail(1)
    assert (slips["verdict"] == "belt_slip").mean() <= 0.15
