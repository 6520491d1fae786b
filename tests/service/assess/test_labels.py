"""An interval's label matters: a reading of 14:00 is of the hour before, where it is said to end there.

The expected ledgers come from the data's own making: one truth, stamped at the start or at the end of the
intervals that it is a mean over.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pandas as pd
import pytest

from config import load_site
from demo_trends.simulator import Trends
from service.store import open_store
from tests.service.assess.conftest import DAYS, FIRST, LOST, SLIPPING, Plant, drawn

QUARTER, HOUR = dt.timedelta(minutes=15), dt.timedelta(hours=1)
Sites = Callable[..., Plant]


@cache
def stamped(interval: dt.timedelta, *, at_end: bool) -> tuple[Trends, ...]:
    """The fans' readings as means over intervals, stamped at their starts or at their ends."""
    runs = []
    for run in drawn():
        means = run.readings.resample(interval).mean()
        means.index += interval if at_end else dt.timedelta()
        runs.append(replace(run, readings=means))
    return tuple(runs)


def label(plant: Plant, word: str) -> None:
    path = plant.folder / "site.toml"
    path.write_text(path.read_text().replace('url = "drop"\n', f'url = "drop"\nlabel = "{word}"\n'))


def taken_in(plant: Plant, interval: dt.timedelta, pieces: int = 1) -> Plant:
    """Drop all readings, an end of the last day too, cut anywhere; pull and assess after each piece."""
    begin = plant.midnight(FIRST)
    span = plant.midnight(FIRST + dt.timedelta(days=DAYS)) + interval - begin
    cuts = [begin + span * place // pieces for place in range(pieces)]
    for place, (first, past) in enumerate(zip(cuts, [*cuts[1:], begin + span], strict=True)):
        plant.drop_span(f"{place}.csv", first, past)
        plant.pull()
        plant.assess()
    return plant


def hours(plant: Plant, fan: str) -> pd.DataFrame:
    with open_store(load_site(plant.folder)) as store:
        begin = plant.midnight(FIRST)
        return store.hours.read([fan], begin, begin + dt.timedelta(days=DAYS + 2)).set_index("time")


@pytest.mark.parametrize("interval", [QUARTER, HOUR])
def test_starts_and_ends_of_one_truth_give_one_ledger(new_plant: Sites, interval: dt.timedelta) -> None:
    starts, ends = (new_plant(stamped(interval, at_end=at_end)) for at_end in (False, True))
    label(starts, "start")
    label(ends, "end")
    for plant in (starts, ends):
        taken_in(plant, interval)
    ours, theirs = ends.daily(), starts.daily()
    assert ours["slip_pct"].notna().sum() > 60
    pd.testing.assert_frame_equal(ours, theirs)
    told, others = (plant.alerts().set_index(["fan", "kind", "opened_on"]) for plant in (ends, starts))
    assert {LOST, SLIPPING} <= set(ends.alerts()["fan"])
    assert (pd.to_datetime(told["opened_at"]) - pd.to_datetime(others["opened_at"]) == interval).all()
    assert told.drop(columns="opened_at").equals(others.drop(columns="opened_at"))


def test_the_same_file_by_either_label_gives_hours_one_apart(new_plant: Sites) -> None:
    runs = stamped(HOUR, at_end=True)
    starts, ends, instants = new_plant(runs), new_plant(runs), new_plant(runs)
    label(starts, "start")
    label(ends, "end")
    for plant in (starts, ends, instants):
        taken_in(plant, HOUR)
    early, late, plain = (hours(plant, SLIPPING)["airflow_m3s"] for plant in (ends, starts, instants))
    assert early.notna().sum() > 300
    pd.testing.assert_series_equal(early.shift(freq=HOUR), late, check_freq=False)
    pd.testing.assert_series_equal(plain, late)
    assert not ends.daily().equals(starts.daily())


def test_a_label_put_right_reads_everything_again(new_plant: Sites) -> None:
    runs = stamped(HOUR, at_end=True)
    right, wrong = new_plant(runs), new_plant(runs)
    label(right, "end")
    for plant in (right, wrong):
        taken_in(plant, HOUR)
    assert not wrong.daily().equals(right.daily())
    label(wrong, "end")
    wrong.pull()
    wrong.assess()
    assert wrong.everything() == right.everything()


def test_ends_night_by_night_are_as_all_at_once(new_plant: Sites) -> None:
    runs = stamped(QUARTER, at_end=True)
    at_once, by_pieces = new_plant(runs), new_plant(runs)
    for plant in (at_once, by_pieces):
        label(plant, "end")
    assert taken_in(by_pieces, QUARTER, pieces=7).everything() == taken_in(at_once, QUARTER).everything()
