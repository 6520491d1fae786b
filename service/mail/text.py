"""The text part: complete by itself, seventy-two columns wide."""

import textwrap
from typing import Final

from service.mail.digest import Digest
from service.mail.lists import Entry
from service.mail.opening import MARKS, READING, asking, lists_of, summary_of, title_of
from service.mail.visits import Visit
from service.notices.letter import WIDTH, wrapped
from service.words import CAUTION

_LABEL: Final = 14


def text_of(digest: Digest) -> str:
    """Write a week's mail as text; a quiet week is one line and whom to ask."""
    if digest.is_quiet:
        return f"{summary_of(digest)}\n\n{asking(digest)}\n"
    parts = [_headed(title_of(digest), "="), wrapped(summary_of(digest))]
    if digest.visits:
        parts += [_headed("To visit, worst first", "-"), wrapped(f"At every fan. {CAUTION}")]
        parts += [_visit(place, one) for place, one in enumerate(digest.visits, start=1)]
    for heading, purpose, entries in lists_of(digest):
        parts += [_headed(heading, "-"), wrapped(purpose), *(_entry(entry) for entry in entries)]
    parts += ["-" * WIDTH, wrapped(READING), wrapped(asking(digest))]
    return "\n\n".join(parts) + "\n"


def _headed(text: str, stroke: str) -> str:
    lines = textwrap.wrap(text, WIDTH)
    return "\n".join([*lines, stroke * max(len(line) for line in lines)])


def _visit(place: int, visit: Visit) -> str:
    head = f"{place}. {visit.fan}   {MARKS[visit.standing]}   {visit.standing.value}: {visit.why}"
    lines = textwrap.wrap(head, WIDTH, subsequent_indent="   ", break_on_hyphens=False)
    for fact in visit.facts:
        hang = " " * (3 + _LABEL)
        first = f"   {fact.label:<{_LABEL}}"
        wrapped = textwrap.wrap(
            fact.text, WIDTH, initial_indent=first, subsequent_indent=hang, break_on_hyphens=False
        )
        lines += wrapped
    if visit.picture is not None:
        hang = " " * (3 + _LABEL)
        first = f"   {'Drawing':<{_LABEL}}"
        lines += textwrap.wrap(
            visit.picture.words, WIDTH, initial_indent=first, subsequent_indent=hang, break_on_hyphens=False
        )
    return "\n".join(lines)


def _entry(entry: Entry) -> str:
    said = f"* {entry.fan}: {entry.text}"
    return "\n".join(textwrap.wrap(said, WIDTH, subsequent_indent="  ", break_on_hyphens=False))
