"""Promise 1: the ledger is a function of the exports and the site's files, not of the way it was reached."""

import datetime as dt
import random
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from deltalake import DeltaTable

from service.assess import hours_upkeep, learning, ledger
from tests.service.assess.conftest import DAYS, FIRST, LOST_DAY, SLIPPING, Plant

NIGHTS_FROM = dt.date(2025, 3, 8)
NOBODY_LOOKED = [dt.date(2025, 3, day) for day in range(12, 16)]
SERVICE = (f"{SLIPPING},2025-03-08,10:30,retensioned", f"{SLIPPING},2025-03-09,,greased")


def test_night_by_night_equals_all_at_once(whole: Plant, new_plant: Callable[..., Plant]) -> None:
    nightly = new_plant()
    nightly.drop("history.csv", FIRST, NIGHTS_FROM - dt.timedelta(days=1))
    last = FIRST + dt.timedelta(days=DAYS - 1)
    date = NIGHTS_FROM
    while date <= last:
        if date not in NOBODY_LOOKED:
            nightly.pull()
            nightly.assess()
        if date.day % 4 == 0:
            nightly.assess(f"{date - dt.timedelta(days=1)}T13:20")
        nightly.drop(f"{date}.csv", date, date)
        date += dt.timedelta(days=1)
    nightly.pull()
    nightly.assess()
    assert nightly.everything() == whole.everything()
    assert len(whole.everything()["daily"]) > 120


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.long)])
def test_pieces_in_any_order_and_repeated_equal_all_at_once(
    seed: int, plant: Plant, new_plant: Callable[..., Plant]
) -> None:
    plant.log(*SERVICE)
    plant.assess()
    draw = random.Random(seed)
    pieces = new_plant()
    pieces.log(*SERVICE)
    begin, end = plant.midnight(FIRST), plant.midnight(FIRST + dt.timedelta(days=DAYS))
    steps = int((end - begin) / dt.timedelta(minutes=15))
    spans = []
    for run in pieces.runs:
        cuts = sorted({0, steps, *(draw.randrange(steps) for _ in range(4))})
        for first, past in pairwise(cuts):
            # Some pieces reach into the next, as exports of overlapping periods do.
            spans.append((run, first, past + draw.choice([0, 0, 40])))
    draw.shuffle(spans)
    for number, (run, first, past) in enumerate(spans):
        minutes = dt.timedelta(minutes=15)
        pieces.drop_span(f"{number}.csv", begin + first * minutes, begin + past * minutes, [run])
        if number % 8 == 7:
            pieces.pull()
            pieces.assess()
    pieces.pull()
    pieces.pull()
    pieces.assess()
    assert pieces.everything() == plant.everything()


def test_an_earlier_day_and_later_again_is_the_same(whole: Plant, plant: Plant) -> None:
    plant.assess("2025-03-06")
    assert str(plant.daily()["date"].max()) == "2025-03-06"
    plant.assess(f"{LOST_DAY}T12:05")
    plant.assess()
    assert plant.everything() == whole.everything()


def test_as_of_a_day_is_what_was_known_then(plant: Plant, new_plant: Callable[..., Plant]) -> None:
    date = dt.date(2025, 3, 7)
    then = new_plant()
    then.drop("all.csv", FIRST, date)
    then.pull()
    then.assess()
    plant.assess(date.isoformat())
    known, recalled = then.everything(), plant.everything()
    for name in ("daily", "episodes", "findings", "curves"):
        assert recalled[name] == known[name]


def test_a_fan_alone_and_among_others_has_the_same_bits(
    whole: Plant, new_plant: Callable[..., Plant]
) -> None:
    for run in whole.runs[:2]:
        alone = new_plant([run])
        alone.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
        alone.pull()
        alone.assess()
        name = run.plan.name
        for kind in ("daily", "episodes", "findings", "curves"):
            of_fan = [row for row in whole.everything()[kind] if name in row]
            assert alone.everything()[kind] == of_fan


def test_hours_made_a_few_fans_and_days_at_a_time_are_the_same_and_made_once(
    whole: Plant, new_plant: Callable[..., Plant], monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = new_plant()
    parts.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    parts.pull()
    monkeypatch.setattr(hours_upkeep, "_BATCH_FAN_DAYS", 10)
    monkeypatch.setattr(hours_upkeep, "_BATCH_DAYS", 5)
    parts.assess()
    assert parts.everything() == whole.everything()
    made = DeltaTable(str(parts.folder / "state" / "readings" / "hours"))
    assert made.version() > 2 * DAYS // 5
    keys = made.to_pyarrow_table(columns=["fan", "time"])
    assert len(keys) > 24 * DAYS
    assert len(keys.group_by(["fan", "time"]).aggregate([])) == len(keys)


def test_the_folder_may_move(whole: Plant, plant: Plant, tmp_path: Path) -> None:
    moved = plant.copied(tmp_path / "elsewhere")
    assert moved.assess() == ()
    assert moved.everything() == whole.everything()


STOPS = (
    (hours_upkeep, "_day_rows", 1),
    (learning, "healthy", 1),
    (ledger, "renewed_findings", 2),
    (ledger, "judge", 1),
    (ledger, "_write_findings", 1),
    (ledger, "_write_rows", 2),
)


@pytest.mark.long
def test_stopped_anywhere_and_run_again_ends_the_same(
    whole: Plant, new_plant: Callable[..., Plant], monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = new_plant()
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    for module, name, nth in STOPS:
        calls = 0
        real = getattr(module, name)

        def stopping(*given: object, real: Callable[..., object] = real, nth: int = nth) -> object:
            nonlocal calls
            calls += 1
            if calls == nth:
                raise KeyboardInterrupt
            return real(*given)

        with monkeypatch.context() as patched:
            patched.setattr(module, name, stopping)
            with pytest.raises(KeyboardInterrupt):
                plant.assess()
    plant.assess()
    assert plant.everything() == whole.everything()
