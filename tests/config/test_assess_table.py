"""[assess] of site.toml: who shares in the work, every fault said with what to write."""

from pathlib import Path

import pytest

from config import FaultySite, load_site
from config.assessing import AssessTable

FANS = "fan,drive,motor_kw,speed_point\nA,direct,11,A speed\n"


def read(folder: Path, lines: str) -> AssessTable:
    (folder / "site.toml").write_text(f'name = "S"\ntimezone = "UTC"\n[assess]\n{lines}\n')
    (folder / "fans.csv").write_text(FANS)
    return load_site(folder).site.assess


def test_the_assess_table_may_be_left_out(tmp_path: Path) -> None:
    assert read(tmp_path, "") == AssessTable()


def test_a_cluster_is_named_by_its_scheduler(tmp_path: Path) -> None:
    table = read(tmp_path, 'executor = "dask"\nscheduler = "tcp://10.0.0.7:8786"')
    assert (table.executor, table.scheduler) == ("dask", "tcp://10.0.0.7:8786")


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ('executor = "dsk"', "dask"),
        ('executor = "dask"', 'write its address, like scheduler = "tcp://host:8786"'),
        (
            'executor = "dask"\nscheduler = "10.0.0.7"',
            'write its address, like scheduler = "tcp://host:8786"',
        ),
        ('scheduler = "tcp://10.0.0.7:8786"', 'write executor = "dask" or leave it out'),
        ("workers = -1", "0 for one a core"),
        ("worker = 2", "workers"),
    ],
)
def test_a_fault_is_named_with_its_remedy(tmp_path: Path, lines: str, told: str) -> None:
    with pytest.raises(FaultySite, match=told):
        read(tmp_path, lines)
