"""The systemd unit: filled in for a site, accepted by systemd, with its sandbox on."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from config.templates import systemd_unit


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    folder = tmp_path / "sites" / "North 100% Campus"
    folder.mkdir(parents=True)
    path = tmp_path / "slipledger.service"
    path.write_text(systemd_unit("North 100% Campus", "root", Path(sys.executable), folder))
    return path


def test_it_serves_the_site_and_may_write_to_it_alone(unit: Path, tmp_path: Path) -> None:
    lines = unit.read_text().splitlines()
    folder = str(tmp_path / "sites" / "North 100%% Campus")
    assert f'ExecStart="{sys.executable}" serve "{folder}"' in lines
    assert [line for line in lines if line.startswith("ReadWritePaths=")] == [f'ReadWritePaths="{folder}"']
    assert {"ProtectSystem=strict", "NoNewPrivileges=yes", "CapabilityBoundingSet="} <= set(lines)


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze")
def test_systemd_accepts_it(unit: Path) -> None:
    told = subprocess.run(
        ["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False
    )
    assert (told.returncode, [line for line in told.stderr.splitlines() if str(unit) in line]) == (0, [])
