"""Processes that die or race in a test, forked off one that has loaded the product: a start is no load."""

from collections.abc import Callable, Sequence
from multiprocessing import get_context

_CONTEXT = get_context("forkserver")
# The server loads these and opens nothing, so that a fork finds no thread and no lock of theirs at work.
_CONTEXT.set_forkserver_preload(["config", "service.intake", "service.store", "service.store.moving"])


def exit_code_of(work: Callable[..., None], *arguments: object) -> int | None:
    """Run a function of a module in a process of its own and return how that ended; 0 where it returned."""
    return exit_codes_of(work, [arguments])[0]


def exit_codes_of(work: Callable[..., None], each: Sequence[Sequence[object]]) -> list[int | None]:
    """Run a function in as many processes side by side as there are arguments for; return how each ended."""
    started = [_CONTEXT.Process(target=work, args=tuple(arguments)) for arguments in each]
    for process in started:
        process.start()
    for process in started:
        process.join()
    return [process.exitcode for process in started]
