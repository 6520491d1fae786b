"""A notice as text and as HTML, on the same paper as the weekly mail."""

import textwrap
from functools import cache
from typing import Final

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from service.charts.look import ACCENT, INK, PAPER
from service.notices.notice import Fact, Notice
from service.words import CAUTION

WIDTH: Final = 72
_LABEL: Final = 14
_NO_LONGER: Final = "Said once; it stands in the weekly mail for as long as it lasts."


def text_of(notice: Notice, ask: str) -> str:
    """Write a notice as text, seventy-two columns wide."""
    parts = [wrapped(one) for one in notice.said]
    if notice.facts:
        parts.append("\n".join(fact_lines(fact.label, fact.text) for fact in notice.facts))
    if notice.entries:
        parts.append("\n".join(_entry(entry) for entry in notice.entries))
    if notice.is_visit:
        parts.append(wrapped(f"At the fan. {CAUTION}"))
    return "\n\n".join([*parts, "-" * WIDTH, wrapped(closing(notice, ask))]) + "\n"


def html_of(notice: Notice, ask: str) -> str:
    """Write a notice as HTML, complete by itself, on a phone and in dark mode."""
    page = letters("service.notices").get_template("notice.html.j2")
    return page.render(
        subject=notice.subject,
        said=notice.said,
        facts=notice.facts,
        entries=notice.entries,
        caution=CAUTION if notice.is_visit else "",
        closing=closing(notice, ask),
        paper=PAPER,
        ink=INK,
        accent=ACCENT,
    )


def closing(notice: Notice, ask: str) -> str:
    """Say who answers questions, and that nobody is told of this twice."""
    said = f"Questions, or a finding that does not fit: answer this mail or write to {ask}."
    return f"{_NO_LONGER} {said}" if notice.is_visit else said


def fact_lines(label: str, text: str) -> str:
    """Write a fact with its label hanging before it."""
    hang = " " * _LABEL
    first = f"{label:<{_LABEL}}"
    return "\n".join(
        textwrap.wrap(
            text,
            WIDTH,
            initial_indent=first,
            subsequent_indent=hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
    )


def _entry(entry: Fact) -> str:
    said = f"* {entry.label}: {entry.text}" if entry.text else f"* {entry.label}"
    return "\n".join(textwrap.wrap(said, WIDTH, subsequent_indent="  ", break_on_hyphens=False))


def wrapped(text: str) -> str:
    """Return text in lines as long as a letter's."""
    return "\n".join(textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False))


@cache
def letters(package: str) -> Environment:
    """Return the templates of a package, beside the paper that all letters share."""
    loaders = [PackageLoader(package)]
    if package != __package__:
        loaders.append(PackageLoader("service.notices"))
    return Environment(
        loader=ChoiceLoader(loaders),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
