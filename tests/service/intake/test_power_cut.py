"""What a power cut leaves of a pull: only what was flushed. A pull from there ends as an undisturbed one."""

import datetime as dt
import os
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from config import load_site
from service.intake import export_intake, export_readings, pull
from service.store import open_store
from service.store.faults import no_fault
from tests.service.processes import exit_code_of

CLOCK = dt.datetime(2025, 7, 1, 6, tzinfo=dt.UTC)
FANS = "fan,drive,motor_kw,speed_point,current_point\nA,direct,11,A speed,A amps\n"
# The database flushes its own files and the folder it makes them in.
DATABASE = "slipledger.db"
Node = tuple[int, int]  # device and inode


class Disk:
    """A folder's files as a power cut leaves them: what was never flushed is blank, or has no name."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._folder = folder
        self._content: dict[Node, bytes] = {}
        self._names: dict[Node, dict[str, tuple[Node, bool]]] = {}
        self.is_cut: Callable[[], None] = lambda: None  # asked at every flush, before it
        (folder / "state").mkdir(exist_ok=True)
        for path in (folder, *folder.rglob("*")):
            self._flush(path)
        real = os.fsync

        def noting(descriptor: int) -> None:
            path = Path(f"/proc/self/fd/{descriptor}").readlink()
            self.is_cut()
            real(descriptor)
            self._flush(path)

        monkeypatch.setattr(os, "fsync", noting)

    def leave(self, target: Path) -> None:
        """Write what a power cut now would leave, and the database as it stands."""
        self._write(_node(self._folder), target)
        for path in (self._folder / "state").glob(f"{DATABASE}*"):
            shutil.copy(path, target / "state" / path.name)
        with closing(sqlite3.connect(target / "state" / DATABASE)) as database:
            database.execute("delete from leases")  # in place of the minute that nobody renews it
            database.commit()

    def _flush(self, path: Path) -> None:
        if path.is_dir():
            self._names[_node(path)] = {one.name: (_node(one), one.is_dir()) for one in path.iterdir()}
        else:
            self._content[_node(path)] = path.read_bytes()

    def _write(self, folder: Node, target: Path) -> None:
        target.mkdir()
        for name, (node, is_folder) in self._names.get(folder, {}).items():
            if is_folder:
                self._write(node, target / name)
            elif not name.startswith(DATABASE):
                (target / name).write_bytes(self._content.get(node, b""))


def _node(path: Path) -> Node:
    found = path.stat()
    return found.st_dev, found.st_ino


def filled(folder: Path) -> Path:
    """Write a site whose exports overlap and disagree."""
    (folder / "drop").mkdir(parents=True)
    (folder / "site.toml").write_text('name = "S"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text(FANS)
    for day in range(1, 4):
        lines = "".join(f"2025-03-0{day} 0{hour}:00,{10 * day + hour},{hour}\n" for hour in range(8))
        again = f"2025-03-0{day + 1} 01:00,99,9\n"
        (folder / "drop" / f"{day}.csv").write_text(f"Time,A speed,A amps\n{lines}{again}")
    return folder


def pulled(folder: Path, reached: Callable[[str], None] = no_fault, *, again: bool = False) -> None:
    site = load_site(folder)
    with open_store(site, reached) as store:
        pull(site, store, again=again, clock=lambda: CLOCK)


def end(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    site = load_site(folder)
    with open_store(site) as store:
        intake = export_intake(store).sort_values(["file", "stored"], ignore_index=True)
        return export_readings(site, store), intake.drop(columns="pulled_at")


def cut_amid(folder: Path, left: Path, *, again: bool, is_every_flush: bool) -> None:
    """Pull, and write what a cut at every named point, or at every flush too, would leave."""
    with pytest.MonkeyPatch.context() as patched:
        disk = Disk(folder, patched)
        if is_every_flush:
            patched.setattr(sys.modules["service.intake.pull"], "PASS_VALUES", 1)  # a commit a file

        def leave(_point: str = "") -> None:
            disk.leave(left / str(len(list(left.iterdir()))))

        disk.is_cut = leave if is_every_flush else disk.is_cut
        pulled(folder, leave, again=again)


def assert_same_end_after_cuts(tmp_path: Path, *, again: bool = False, is_every_flush: bool = False) -> int:
    """Cut the power amid a pull in a process of its own, pull from what is left; return how often."""
    undisturbed, cut, left = (tmp_path / name for name in ("undisturbed", "cut", "left"))
    filled(undisturbed)
    pulled(undisturbed)
    shutil.copytree(undisturbed, cut) if again else filled(cut)
    left.mkdir()
    # A process of its own: its lease ends with it.
    assert exit_code_of(partial(cut_amid, cut, left, again=again, is_every_flush=is_every_flush)) == 0
    for folder in sorted(left.iterdir()):
        pulled(folder)
        for found, expected in zip(end(folder), end(undisturbed), strict=True):
            pd.testing.assert_frame_equal(found, expected, obj=f"after cut {folder.name}")
    return len(list(left.iterdir()))


def test_the_power_cut_at_any_named_point(tmp_path: Path) -> None:
    assert assert_same_end_after_cuts(tmp_path) == 4


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("again", [False, True], ids=["a pull", "a rebuild"])
def test_the_power_cut_at_every_flush(tmp_path: Path, again: bool) -> None:
    cuts = assert_same_end_after_cuts(tmp_path, again=again, is_every_flush=True)
    print(f"{cuts} cuts")
    assert cuts >= 20
