"""`slipledger serve` from start to a clean end."""

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.command_line.frame import app

from .conftest import TIGHT, write_site

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize("sign", [signal.SIGTERM, pytest.param(signal.SIGINT, marks=pytest.mark.long)])
def test_it_serves_until_told_to_stop_and_ends_as_done(tmp_path: Path, sign: signal.Signals) -> None:
    write_site(tmp_path / "site", (TIGHT,))
    command = "from service.command_line import main; main()"
    started = subprocess.Popen(
        [sys.executable, "-c", command, "serve", str(tmp_path / "site"), "--port", "0", "--only", "web"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with started:
        assert started.stdout is not None
        address = started.stdout.readline().split(" at ")[1].split()[0]
        with urllib.request.urlopen(address) as page:
            assert TIGHT in page.read().decode()
            assert page.headers["server"] is None
            assert "default-src 'none'" in page.headers["content-security-policy"]
        started.send_signal(sign)
        _, told = started.communicate(timeout=20)
    assert started.returncode == 0
    assert told == ""


@pytest.mark.parametrize("bind", ["0.0.0.0", "::", "fans.example.edu"])
def test_an_address_others_can_reach_is_refused(tmp_path: Path, bind: str) -> None:
    write_site(tmp_path / "site", (TIGHT,))
    ended = CliRunner().invoke(app, ["serve", str(tmp_path / "site"), "--bind", bind])
    assert ended.exit_code == 2
    assert "encrypted" in " ".join(ended.stderr.replace("│", " ").split())


def test_a_port_in_use_is_said(tmp_path: Path) -> None:
    write_site(tmp_path / "site", (TIGHT,))
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        ended = CliRunner().invoke(app, ["serve", str(tmp_path / "site"), "--port", port])
    assert ended.exit_code == 1
    assert f"port {port}" in ended.stderr
    assert "--port" in ended.stderr
