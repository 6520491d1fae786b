"""The files that commands write: each takes its place when it is whole, or is not there."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from service.failure import WorkFailed


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Write a file beside its place and put it there at the end; raise WorkFailed where there is no place."""
    if path.is_dir():
        raise WorkFailed(f"{path} is a folder; name a file in it")
    if not path.parent.is_dir():
        raise WorkFailed(
            f"there is no folder {path.parent} to write {path.name} in; make it, or name another"
        )
    partial = path.with_name(f"{path.name}.partial")
    try:
        with partial.open("wb") as file:
            yield file
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text as UTF-8, its line ends as they are."""
    with whole_file(path) as file:
        file.write(text.encode("utf-8"))
