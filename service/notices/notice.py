"""A notice: one thing that somebody is told at once, every fact of it, before it is written."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Trade(StrEnum):
    """Whose work it is."""

    MECHANICS = "mechanics"
    CONTROLS = "controls"


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing said of a fan, under its label."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to be told.

    `occasion` what it is about: nobody is told twice of one; `kind` a word for programs; `said` its
    paragraphs; `facts` of one fan, `entries` of many; `buildings` and `trade` whom it concerns, everyone
    where they are empty; `is_visit` whether somebody is sent to a fan, so that the cautions stand in it;
    `details` the same for programs; `is_for_someone` whether it has to reach a person: where nobody is told
    at once, whoever reads the weekly mail is.
    """

    occasion: str
    kind: str
    subject: str
    said: tuple[str, ...]
    facts: tuple[Fact, ...] = ()
    entries: tuple[Fact, ...] = ()
    buildings: tuple[str, ...] = ()
    trade: Trade | None = None
    is_visit: bool = False
    is_for_someone: bool = False
    details: Mapping[str, Any] = field(default_factory=dict)
