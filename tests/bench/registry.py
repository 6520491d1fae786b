"""Every bench by its name."""

from typing import Final

from tests.bench.assess_benches import ASSESSMENTS
from tests.bench.bench import Bench
from tests.bench.help_bench import HELP
from tests.bench.page_benches import PAGES
from tests.bench.pull_benches import PULLS

BENCHES: Final = {bench.name: bench for bench in (HELP, *PULLS, *ASSESSMENTS, *PAGES)}


def bench_named(name: str) -> Bench:
    """Return a bench; raise KeyError where there is none of that name."""
    return BENCHES[name]
