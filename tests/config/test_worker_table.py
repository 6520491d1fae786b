"""[worker] of site.toml: policies by name, every fault said with what to write."""

import datetime as dt
from pathlib import Path

import pytest

from config import FaultySite, load_site
from config.site import WorkerTable

FANS = "fan,drive,motor_kw,speed_point\nA,direct,11,A speed\n"


def read(folder: Path, lines: str) -> WorkerTable:
    (folder / "site.toml").write_text(f'name = "S"\ntimezone = "UTC"\n[worker]\n{lines}\n')
    (folder / "fans.csv").write_text(FANS)
    return load_site(folder).site.worker


def test_the_worker_table_may_be_left_out(tmp_path: Path) -> None:
    assert read(tmp_path, "") == WorkerTable()


def test_the_workers_policies_are_read(tmp_path: Path) -> None:
    table = read(tmp_path, 'nightly_at = "1:05"\ncatch_up = "no"\nlateness_allowed_hours = 12')
    assert (table.nightly_at, table.catch_up, table.lateness_allowed_hours) == (dt.time(1, 5), "no", 12.0)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('nightly = "02:30"', "did you mean nightly_at?|nightly_at"),
        ('nightly_at = "25:00"', 'is not a time of day; write it like "02:30"'),
        ("nightly_at = 02:30:00", 'is not a time of day; write it like "02:30"'),
        ('catch_up = "twice"', "once"),
        ("outbox_minutes = 0", "at least 1"),
        ("keep_runs_days = 1", "at least 7"),
    ],
)
def test_a_fault_is_named_with_its_remedy(tmp_path: Path, line: str, told: str) -> None:
    with pytest.raises(FaultySite, match=told) as faulty:
        read(tmp_path, line)
    assert [fault.row for fault in faulty.value.faults] == [4]
