"""The worker's log: one line an event on stderr, JSON where no person looks on."""

import logging
import sys

import structlog


def log_to_stderr() -> None:
    """Write structured lines to stderr: coloured columns on a terminal, one JSON object a line elsewhere."""
    is_terminal = sys.stderr.isatty()
    last: list[structlog.typing.Processor] = (
        [structlog.dev.ConsoleRenderer()]
        if is_terminal
        else [structlog.processors.format_exc_info, structlog.processors.JSONRenderer(ensure_ascii=False)]
    )
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            *last,
        ],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
    # The scheduler's own words are about its machinery; what concerns a run is said by the run.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
