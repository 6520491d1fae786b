"""The machine that the ratios were measured on, in a line."""

import os
import platform
from importlib.metadata import version
from pathlib import Path
from typing import Final

_LIBRARIES: Final = ("numpy", "pandas", "pyarrow", "deltalake", "scipy", "sqlalchemy")
_CPU_INFO: Final = Path("/proc/cpuinfo")


def machine() -> str:
    """Return the processor, the cores this process may use, and the versions that matter."""
    versions = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    return f"{_processor()}, {_cores()} cores; Python {platform.python_version()}, {versions}"


def _processor() -> str:
    if _CPU_INFO.exists():
        for line in _CPU_INFO.read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
