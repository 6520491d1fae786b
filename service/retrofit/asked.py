"""What is asked of a retrofit check, read from words and refused where it has no answer."""

import math
import shlex
from dataclasses import dataclass

from analytics.compared_hours import Basis
from service.retrofit.periods import Period, RetrofitRefusedError, read_period


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked: the fan, the two periods, the promise [%] or None, the confidence [%], the basis."""

    fan: str
    before: Period
    after: Period
    promised_pct: float | None = None
    confidence: float = 90.0
    basis: Basis | None = None


def read_asked(
    fan: str,
    before: str,
    after: str,
    promised: float | None = None,
    confidence: float = 90.0,
    basis: str | None = None,
) -> Asked:
    """Read what is asked; raise RetrofitRefusedError where a word of it means nothing."""
    periods = read_period(before, "before"), read_period(after, "after")
    if promised is not None and not 0.0 < promised < 100.0:
        told = f"{promised:g} is no saving in per cent: write one between 0 and 100"
        raise RetrofitRefusedError("promised", told)
    if not 50.0 <= confidence <= 99.9 or math.isnan(confidence):
        told = f"{confidence:g} is no confidence in per cent: write one from 50 to 99.9, for example 90"
        raise RetrofitRefusedError("confidence", told)
    if basis is not None and basis not in tuple(Basis):
        raise RetrofitRefusedError("basis", f"{basis[:40]!r} is no basis; write drive or air")
    return Asked(fan, *periods, promised, confidence, None if basis is None else Basis(basis))


def command_of(site: str, asked: Asked) -> list[str]:
    """Return the command that asks the same and writes the hours, in parts that stay whole."""
    parts = ["slipledger retrofit", shlex.quote(site), f"--fan {shlex.quote(asked.fan)}"]
    parts += [f"--before {asked.before}", f"--after {asked.after}"]
    parts += [] if asked.promised_pct is None else [f"--promised {asked.promised_pct:g}"]
    parts += [f"--confidence {asked.confidence:g}"]
    parts += [] if asked.basis is None else [f"--basis {asked.basis}"]
    return [*parts, "--hours hours.csv"]


def readings_command(site: str, fan: str) -> str:
    """Return the command that writes the readings behind the hours."""
    return f"slipledger export {shlex.quote(site)} readings --fan {shlex.quote(fan)}"
