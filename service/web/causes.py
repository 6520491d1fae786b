"""What explains a fan's numbers, in words, from the ledger's shares."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from analytics.ledger import NAMED_CAUSES
from analytics.vocabulary import Cause
from service.words import CAUSE_WORDS, told_cause

_WORTH_SAYING: Final = 0.02


@dataclass(frozen=True, slots=True)
class Share:
    """A cause and its share of the probability."""

    cause: Cause
    words: str
    share: float


def ranked(shares: Sequence[float] | None) -> tuple[Share, ...]:
    """Return the causes worth saying, the likeliest first."""
    if not shares or len(shares) != len(NAMED_CAUSES):
        return ()
    pairs = sorted(zip(NAMED_CAUSES, shares, strict=True), key=lambda pair: -pair[1])
    return tuple(Share(cause, CAUSE_WORDS[cause], share) for cause, share in pairs if share >= _WORTH_SAYING)


def cause_words(row: Mapping[str, Any] | None) -> str:
    """Return a row's cause in words; an unclear one names what would look the same."""
    if row is None:
        return ""
    cause = Cause(row["cause"])
    found = ranked(row["shares"])
    return told_cause(cause, [one.cause for one in found[:2]])
