"""The round as plain text, for a terminal or a printer that knows nothing else."""

from collections.abc import Iterator
from textwrap import fill
from typing import Final

from service.round.cautions import CAUTIONS
from service.round.fields import CHECKS, READINGS
from service.round.plan import FanSheet, Round
from service.store.remedies import Remedy
from service.words import one_line, plain_date

_WIDTH: Final = 96
_BLANK: Final = "________"


def round_text(planned: Round) -> str:
    """Write the round as text."""
    lines = [
        f"Maintenance round {planned.quarter}, {one_line(planned.site)}",
        f"as of {plain_date(planned.day)}: {len(planned.sheets)} fans",
        "",
        "Before anything else:",
        *(_indented(text, "  - ") for text in CAUTIONS),
    ]
    for name, sheets in planned.groups:
        lines += ["", "", one_line(name), "=" * len(one_line(name))]
        for sheet in sheets:
            lines += ["", *_sheet(sheet, planned.currency)]
    return "\n".join(lines) + "\n"


def _sheet(sheet: FanSheet, currency: str) -> Iterator[str]:
    title = f"{one_line(sheet.fan)} ({sheet.standing.value})"
    yield title
    yield "-" * len(title)
    for fact in sheet.place:
        yield _indented(f"{fact.label}: {fact.text}")
    yield _indented(f"Tell first: {sheet.tell_first}")
    for sign in sheet.signs:
        yield _indented(f"Look for: {sign}")
    for due in sheet.due:
        yield _indented(f"Due: {due}")
    yield _indented(f"Check figure: {sheet.figure}")
    yield _indented(f"It costs: {sheet.cost}")
    yield _indented(f"Bring: {sheet.parts}")
    for remedy in sheet.remedies:
        yield _indented(f"May be done: {_remedy(remedy, currency)}")
    for done in sheet.done:
        yield _indented(f"In the log this quarter: {done}")
    for item in sheet.items:
        last = "" if item.what.startswith("Locked") else f" (last: {item.last_words})"
        yield _indented(f"[ ] {item.what}: {item.how}{last}")
    wanted = [field for field in READINGS if not (field.is_of_belts and sheet.is_direct)]
    for when in ("as found", "as left"):
        yield _indented(f"{when}: " + "  ".join(f"{field.words} {_BLANK}" for field in wanted))
    yield _indented("  ".join(f"[ ] {check.words}" for check in CHECKS))
    recheck = f"  recheck after 24 to 48 h on {_BLANK}" if sheet.can_slip else ""
    yield _indented(f"date {_BLANK}  work {_BLANK}{_BLANK}{recheck}  signature {_BLANK}")


def _remedy(remedy: Remedy, currency: str) -> str:
    saved = remedy.money
    saves = f"saves {saved.centre:,.0f} {currency} ({saved.low:,.0f} to {saved.high:,.0f}) a year"
    return (
        f"{remedy.name}: {remedy.price.centre:,.0f} {currency}, {saves}, payback {remedy.payback_words} years"
    )


def _indented(text: str, begin: str = "  ") -> str:
    return fill(text, _WIDTH, initial_indent=begin, subsequent_indent=" " * len(begin) + "  ")
