"""The agreed layout: who may import whom, what analytics may not touch, what lies at the top."""

import ast
import fnmatch
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OURS = ("analytics", "config", "service", "demo_trends")
FREE_OF_ANALYTICS = frozenset({"vocabulary", "machine"})  # all that config may take from analytics
# They import the store, never each other.
WORKERS_OF_SERVICE = ("intake", "assess", "alerts", "mail", "access", "round", "retrofit")
FRONTS_OF_SERVICE = ("command_line", "worker", "web")  # call them
SUBPACKAGES = (*WORKERS_OF_SERVICE, *FRONTS_OF_SERVICE, "store")

# What would let analytics open a file, read a clock, log or reach the world.
WORLDLY_MODULES = """
    asyncio builtins ctypes deltalake fsspec glob http io logging mmap multiprocessing os pathlib pyarrow
    random secrets shutil signal socket sqlalchemy sqlite3 structlog subprocess sys tempfile threading time
    urllib
"""
WORLDLY_CALLS = """
    open print input exec eval breakpoint now today utcnow load loadtxt genfromtxt fromfile memmap save savez
    savetxt tofile read_csv read_parquet read_pickle read_json read_sql read_excel read_table to_csv
    to_parquet to_pickle to_sql to_excel
"""
COMPUTED_NAME = "an import by a computed name"
VISIBLE = {*OURS, "tests", "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"}


def imported(tree: ast.AST, module: str, *, is_package: bool) -> Iterator[str]:
    """Yield the full name of everything a module imports, wherever in it and in whatever way."""
    package = module.split(".") if is_package else module.split(".")[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parts = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*parts, *([node.module] if node.module else [])])
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and called_name(node) in ("import_module", "__import__"):
            first = node.args[0] if node.args else None
            is_plain = isinstance(first, ast.Constant) and isinstance(first.value, str)
            yield first.value if is_plain else COMPUTED_NAME


def called_name(call: ast.Call) -> str:
    return getattr(call.func, "id", None) or getattr(call.func, "attr", None) or ""


def is_allowed(module: str, target: str) -> bool:
    """Whether the design lets this module import that name."""
    importer, wanted = module.split("."), target.split(".")
    if target == COMPUTED_NAME:
        return False
    if wanted[0] not in OURS:
        return importer[0] != "analytics" or wanted[0] not in WORLDLY_MODULES.split()
    if importer[0] == "service":
        return is_allowed_in_service(second(importer), wanted)
    if importer[0] == "config" and wanted[0] == "analytics":
        return second(wanted) in FREE_OF_ANALYTICS
    return importer[0] == wanted[0]


def is_allowed_in_service(own: str, wanted: list[str]) -> bool:
    if wanted[0] == "demo_trends":
        return own == "command_line"
    part = second(wanted)
    if wanted[0] != "service" or part == own or part not in SUBPACKAGES:
        return True  # analytics, config, its own part, and the modules right under service
    if own in FRONTS_OF_SERVICE:
        return part not in FRONTS_OF_SERVICE or own == "command_line"
    return own in WORKERS_OF_SERVICE and part == "store"


def second(parts: list[str]) -> str:
    return parts[1] if len(parts) > 1 else ""


def broken_rules(module: str, source: str, *, is_package: bool = False) -> list[str]:
    """Return what a module's source does that the layout forbids."""
    tree = ast.parse(source)
    found = [
        f"{module} imports {target}"
        for target in imported(tree, module, is_package=is_package)
        if not is_allowed(module, target)
    ]
    if module.startswith("analytics"):
        found += [
            f"{module} calls {called_name(node)}"
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and called_name(node) in WORLDLY_CALLS.split()
        ]
    return found


def sources() -> list[Path]:
    return sorted(path for package in OURS for path in (ROOT / package).rglob("*.py"))


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_every_module_imports_only_what_the_layout_allows() -> None:
    found = [
        rule
        for path in sources()
        for rule in broken_rules(
            module_name(path), path.read_text(encoding="utf-8"), is_package=path.name == "__init__.py"
        )
    ]
    assert found == []


def test_the_walk_sees_every_package() -> None:
    assert {module_name(path).split(".")[0] for path in sources()} == set(OURS)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("analytics.state", "import config"),
        ("analytics.state", "from config.units import to_si"),
        ("analytics.state", "def f():\n    from service import store"),
        ("analytics.state", "from pathlib import Path"),
        ("analytics.state", "import logging"),
        ("analytics.state", "import time"),
        ("analytics.state", "text = open('x').read()"),
        ("analytics.state", "import datetime\nwhen = datetime.datetime.now()"),
        ("analytics.state", "import pandas as pd\nframe = pd.read_csv('x')"),
        ("analytics.state", "print('x')"),
        ("config.site", "from analytics.state import State"),
        ("config.site", "import analytics"),
        ("config.site", "from analytics import curves"),
        ("config.site", "from service.store import open_store"),
        ("config.site", "import demo_trends"),
        ("demo_trends.motor", "from analytics.motor import torque"),
        ("demo_trends.motor", "from analytics.vocabulary import Role"),
        ("demo_trends.motor", "import importlib\nimportlib.import_module('analytics.motor')"),
        ("demo_trends.motor", "import importlib\nname = 'analytics'\nimportlib.import_module(name)"),
        ("demo_trends.motor", "from config import load_site"),
        ("service.intake.reading", "from service.assess import days"),
        ("service.intake.reading", "from service import alerts"),
        ("service.intake.reading", "from ..assess import days"),
        ("service.assess.days", "import service.alerts.episodes"),
        ("service.alerts.episodes", "from service.mail import send"),
        ("service.mail.outbox", "from service.intake import pull"),
        ("service.mail.outbox", "from service.command_line import main"),
        ("service.store.delta", "from service.intake import pull"),
        ("service.store.delta", "from service.command_line import main"),
        ("service.web.pages", "from service.worker import loop"),
        ("service.logbook", "from service.store import open_store"),
        ("service.assess.days", "import demo_trends"),
    ],
)
def test_a_planted_breach_is_found(module: str, source: str) -> None:
    assert broken_rules(module, source)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("analytics.state", "import numpy as np\nfrom analytics.machine import Machine\nfrom . import air"),
        ("config.site", "from analytics.vocabulary import Role\nimport tomllib\nfrom pathlib import Path"),
        ("demo_trends.motor", "import numpy as np\nfrom demo_trends import units"),
        (
            "service.intake.reading",
            "from service.store import open_store\nfrom service.failure import WorkFailed",
        ),
        ("service.assess.days", "from analytics import state\nfrom config import load_site"),
        ("service.command_line.demo", "import demo_trends\nfrom service import assess, intake, web, worker"),
        ("service.web.pages", "from service.assess import days\nfrom ..store import open_store"),
    ],
)
def test_what_the_layout_allows_is_let_through(module: str, source: str) -> None:
    assert broken_rules(module, source) == []


def test_nothing_else_is_visible_at_the_top() -> None:
    ignored = [line.rstrip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").split()]
    visible = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".")
        and not any(fnmatch.fnmatch(path.name, pattern) for pattern in ignored)
    }
    assert visible - VISIBLE == set()
    assert {*OURS, "tests", "pyproject.toml"} <= visible
