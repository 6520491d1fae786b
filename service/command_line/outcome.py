"""What a stopped command says and with which code it exits."""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from service.failure import WorkFailed, WrongInput

DONE: Final = 0
WORK_FAILED: Final = 1
WRONG_USAGE: Final = 2


@dataclass(frozen=True, slots=True)
class Outcome:
    """An exit code and the sentences that go to stderr with it."""

    exit_code: int
    sentences: tuple[str, ...]


def outcome_of(error: Exception) -> Outcome | None:
    """Return how a command that stopped with this error ends; None for an error nobody foresaw."""
    for kind, ending in _ENDINGS:
        if isinstance(error, kind if isinstance(kind, type) else _loaded_class(*kind)):
            return ending(error)
    return None


def _loaded_class(module: str, name: str) -> tuple[type[BaseException], ...]:
    """Return a class if its module is loaded: an error of a module that is not loaded cannot be here."""
    loaded = sys.modules.get(module)
    return (getattr(loaded, name),) if loaded is not None else ()


def _faulty_site(error: Exception) -> Outcome:
    faults = tuple(str(fault) for fault in getattr(error, "faults", ()))
    count = f"{len(faults)} faults" if len(faults) > 1 else "1 fault"
    return Outcome(WRONG_USAGE, (*faults, f"{count}; nothing was done."))


def _wrong_input(error: Exception) -> Outcome:
    return Outcome(WRONG_USAGE, (str(error),))


def _failed(error: Exception) -> Outcome:
    return Outcome(WORK_FAILED, (str(error),))


def _missing_secret(error: Exception) -> Outcome:
    return Outcome(WORK_FAILED, (f"{error}; nothing was changed.",))


def _reader_gone(_error: Exception) -> Outcome:
    """End quietly, with stdout at nothing, so that the interpreter's last flush does not complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return Outcome(DONE, ())


def _system_refused(error: Exception) -> Outcome:
    where = getattr(error, "filename", None)
    what = getattr(error, "strerror", None) or str(error)
    sentence = f"{where}: {what}" if where else what
    return Outcome(WORK_FAILED, (f"{sentence}; put it right and run this again, nothing is lost.",))


def _database_refused(error: Exception) -> Outcome:
    what = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
    return Outcome(
        WORK_FAILED, (f"The site's database: {what}; put it right and run this again, nothing is lost.",)
    )


# The first that fits; a class of a module that only some commands load is named by module and name.
_ENDINGS: Final[tuple[tuple[type[Exception] | tuple[str, str], Callable[[Exception], Outcome]], ...]] = (
    (WrongInput, _wrong_input),
    (WorkFailed, _failed),
    (("config.faults", "FaultySite"), _faulty_site),
    (("config.secrets", "MissingSecret"), _missing_secret),
    (BrokenPipeError, _reader_gone),
    (OSError, _system_refused),
    (("sqlalchemy.exc", "DBAPIError"), _database_refused),
)
