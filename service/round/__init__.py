"""The maintenance round: who goes where with what, what to look for, and what comes back from it."""

from service.round.filled import enter_filled
from service.round.plan import Quarter, Round, plan_round, quarter_of
from service.round.rows import round_csv
from service.round.text import round_text

__all__ = [
    "Quarter",
    "Round",
    "enter_filled",
    "plan_round",
    "quarter_of",
    "round_csv",
    "round_text",
]
