"""The maintenance round: who goes where with what, what to look for, and what comes back from it."""

from service.round.filled import enter_filled
from service.round.plan import Round, plan_round
from service.round.quarters import AsOfRefusedError, Quarter, quarter_of, read_as_of
from service.round.rows import round_csv
from service.round.text import round_text

__all__ = [
    "AsOfRefusedError",
    "Quarter",
    "Round",
    "enter_filled",
    "plan_round",
    "quarter_of",
    "read_as_of",
    "round_csv",
    "round_text",
]
