"""Every bench by its name."""

from collections.abc import Iterator
from importlib import import_module
from typing import Final

from tests.bench.bench import Bench

# Imported one after the other: what a bench does not need is in no peak of it.
_MODULES: Final = {
    "help_bench": "HELPS",
    "pull_benches": "PULLS",
    "assess_benches": "ASSESSMENTS",
    "page_benches": "PAGES",
    "report_benches": "REPORTS",
}


def benches() -> Iterator[Bench]:
    """Yield every bench, those that import the least first."""
    for module, name in _MODULES.items():
        yield from getattr(import_module(f"tests.bench.{module}"), name)


def bench_named(name: str) -> Bench:
    """Return a bench; raise KeyError where there is none of that name."""
    for bench in benches():
        if bench.name == name:
            return bench
    raise KeyError(name)
