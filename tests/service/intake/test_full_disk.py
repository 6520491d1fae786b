"""A disk that is full and one that may not be written: nothing is lost, and the next pull goes on.

In a mount namespace of its own, so that the disk is real and nobody else's; chmod is no test as root.
"""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[3]
SCRIPT = """
set -e
mount -t tmpfs -o size={size} none {state}
{before}
set +e
{python} -c 'from service.command_line import main; main()' pull {site} > {out}/first.txt 2>&1
echo $? > {out}/first.code
set -e
mount -o remount,rw,size=64m {state}
{python} -c 'from service.command_line import main; main()' pull {site}
{python} -c 'from service.command_line import main; main()' export {site} readings --out {out}/readings.csv
{python} -c 'from service.command_line import main; main()' export {site} intake --out {out}/intake.csv
"""


def _in_own_namespace(script: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["unshare", "-rm", "sh", "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module", autouse=True)
def _namespaces(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("probe")
    try:
        probe = _in_own_namespace(f"mount -t tmpfs -o size=1m none {folder}")
    except FileNotFoundError:
        pytest.skip("there is no unshare on this machine to give a test a disk of its own")
    if probe.returncode:
        pytest.skip(f"this machine gives a test no disk of its own: {probe.stderr.strip()}")


def filled(plant: Any) -> None:
    import numpy as np

    noise = np.random.default_rng(1).normal(size=(6000, 2))
    for day in range(1, 4):
        lines = [
            f"2025-03-0{day} {place // 3600:02d}:{place // 60 % 60:02d}:{place % 60:02d},{one!r},{other!r}"
            for place, (one, other) in enumerate(noise.tolist())
        ]
        plant.drop(f"{day}.csv", "Time,SF1 speed,SF1 amps\n" + "\n".join(lines) + "\n", 1000.0)


@pytest.mark.parametrize(
    ("size", "before", "said"),
    [
        pytest.param("700k", "", "No space left on device", marks=pytest.mark.long),
        pytest.param("850k", "", "", marks=pytest.mark.long),
        pytest.param("1000k", "", "", marks=pytest.mark.long),
        pytest.param("64m", "mount -o remount,ro {state}", "cannot be written", marks=pytest.mark.long),
    ],
    ids=["full", "full later", "full last", "read-only"],
)
def test_a_pull_on_such_a_disk_fails_clearly_and_the_next_ends_as_if_nothing_had_been(
    plants: Any, tmp_path: Path, size: str, before: str, said: str
) -> None:
    undisturbed, short = plants(), plants()
    for plant in (undisturbed, short):
        filled(plant)
    undisturbed.pull()
    state = short.folder / "state"
    state.mkdir()
    names = {"state": f"'{state}'", "site": f"'{short.folder}'", "out": f"'{tmp_path}'"}
    script = SCRIPT.format(size=size, python=sys.executable, before=before.format(**names), **names)
    ran = _in_own_namespace(script)
    first = (tmp_path / "first.txt").read_text()
    if said:
        assert (tmp_path / "first.code").read_text().strip() == "1", first
        assert said in first
    assert "Traceback" not in first
    assert ran.returncode == 0, ran.stderr
    readings = undisturbed.readings().to_csv(index=False)
    assert (tmp_path / "readings.csv").read_text() == readings
    assert (tmp_path / "intake.csv").read_text().count("\n") == len(undisturbed.intake()) + 1
