"""A line on a terminal that says what is being worked on."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def showing_files(verb: str) -> Iterator[Callable[[str], None]]:
    """Show on a terminal which file is worked on and how many were; elsewhere show nothing."""
    if not sys.stderr.isatty():
        yield lambda _file: None
        return
    from rich.console import Console  # noqa: PLC0415 - on terminals alone
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(verb)
        yield lambda file: bar.update(task, advance=1, description=f"{verb} {file}")
