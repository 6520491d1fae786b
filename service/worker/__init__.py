"""What keeps a site up to date by itself: jobs, when they are due, and the process that runs them."""

from service.worker.keeper import WorkerKeeper, end_with_stdin
from service.worker.log import log_to_stderr
from service.worker.process import stopped_by_signals, work

__all__ = ["WorkerKeeper", "end_with_stdin", "log_to_stderr", "stopped_by_signals", "work"]
