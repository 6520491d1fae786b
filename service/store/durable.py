"""Putting files on the disk so that a power cut cannot take them back."""

import os
from collections.abc import Iterable
from pathlib import Path


def sync_file(path: Path) -> None:
    """Flush a file's content to the disk."""
    _sync(path, os.O_RDONLY)


def sync_folder(path: Path) -> None:
    """Flush a folder's entries to the disk, where the system can."""
    if hasattr(os, "O_DIRECTORY"):
        _sync(path, os.O_RDONLY | os.O_DIRECTORY)


def make_folder(path: Path) -> None:
    """Make a folder and those above it, each with its name flushed to the disk."""
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(exist_ok=True)
        sync_folder(folder.parent)


def sync_files_and_folders(paths: Iterable[Path]) -> None:
    """Flush files, then every folder that holds one."""
    folders = set()
    for path in paths:
        sync_file(path)
        folders.add(path.parent)
    for folder in folders:
        sync_folder(folder)


def _sync(path: Path, flags: int) -> None:
    descriptor = os.open(path, flags)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
