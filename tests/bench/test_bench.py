"""The benches run, on a toy, and their table says what it should; no time is asserted."""

import sys
from pathlib import Path

import pytest

from tests.bench import __main__ as command
from tests.bench.bench import Size
from tests.bench.child import SUBJECT, peak, times
from tests.bench.registry import bench_named, benches

QUICK = ("help",)


NAMES = [bench.name for bench in benches()]


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.long) for name in NAMES]
)
def test_each_bench_runs_beside_its_references(name: str, tmp_path: Path) -> None:
    bench = bench_named(name)
    inputs = tmp_path / "inputs"
    inputs.mkdir()
    bench.prepare(inputs, Size(2, 2))
    taken = times(bench, inputs, tmp_path, 1)
    assert list(taken) == [SUBJECT, *bench.references]
    assert all(len(rounds) == 1 and rounds[0] > 0 for rounds in taken.values())
    found = peak(bench, inputs, tmp_path)
    assert found["peak_bytes"] > 10_000_000
    assert ("disk_bytes" in found) == (bench.disk is not None)


@pytest.mark.long
def test_the_command_prints_the_machine_and_a_line_a_reference(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["bench", "help", "--rounds", "1"])
    command.main()
    machine, titles, line = capsys.readouterr().out.splitlines()
    assert "cores" in machine
    assert titles.split()[0] == "bench"
    assert line.startswith("help")
    assert "bare interpreter" in line
