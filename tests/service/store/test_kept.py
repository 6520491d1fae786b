"""The exports kept: whole or not there."""

import hashlib
from pathlib import Path

import pytest

from service.store.kept import KeptExports


def test_an_export_comes_back_byte_for_byte(tmp_path: Path) -> None:
    kept = KeptExports(tmp_path / "exports")
    content = b"Time,a\r\n2025-01-01,\xff\n" * 1000
    sha256 = kept.keep(content)
    kept.settle()
    assert sha256 == hashlib.sha256(content).hexdigest()
    assert kept.read(sha256) == content
    assert [path.name for path in (tmp_path / "exports").iterdir()] == [f"{sha256}.csv.zst"]
    assert kept.path(sha256).stat().st_size < len(content) / 10
    assert kept.keep(content) == sha256
    assert kept.read(kept.keep(b"")) == b""


def test_a_damaged_export_is_said_and_not_read(tmp_path: Path) -> None:
    kept = KeptExports(tmp_path)
    sha256, other = kept.keep(b"one"), kept.keep(b"two")
    kept.path(sha256).write_bytes(kept.path(other).read_bytes())
    with pytest.raises(OSError, match="damaged"):
        kept.read(sha256)


def test_what_was_left_half_written_is_removed(tmp_path: Path) -> None:
    kept = KeptExports(tmp_path)
    sha256 = kept.keep(b"one")
    (tmp_path / "0123.99.partial").write_bytes(b"hal")
    kept.clear_partial()
    assert [path.name for path in tmp_path.iterdir()] == [f"{sha256}.csv.zst"]
