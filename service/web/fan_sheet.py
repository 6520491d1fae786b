"""The page of one fan, written: as asked for, or again with what was typed into its form."""

from dataclasses import dataclass, field
from typing import Final

from fastapi import Request
from fastapi.responses import HTMLResponse

from analytics.vocabulary import Role as Reading
from analytics.vocabulary import Work
from service.access import Role
from service.store.cost_words import cost_words
from service.store.remedies import Remedy, remedies_of
from service.web.desk import Desk
from service.web.drawings import Drawings
from service.web.fan_view import FanPage, fan_page
from service.web.paper import page
from service.web.service_done import words_of
from service.web.visitor import visitor_of
from service.words import CAUTION

_BAD_REQUEST: Final = 400
_WORKS: Final = tuple((work.value, words_of(work)) for work in Work)
_READINGS: Final = tuple((role.value, role.value.replace("_", " ")) for role in Reading)


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed into the form of work done, and what is wrong with it."""

    cells: dict[str, str] = field(default_factory=dict)
    faults: tuple[str, ...] = ()


class FanSheet:
    """Writes the pages of fans, with their charts kept."""

    def __init__(self, desk: Desk) -> None:
        """Write for a desk."""
        self._desk = desk
        self._drawings = Drawings(desk)

    def page(
        self, request: Request, name: str, typed: Typed, *, alert: str = "", is_closer: bool = False
    ) -> HTMLResponse:
        """Write a fan's page.

        Parameters: `typed` into its form, with what is wrong with it; `alert` the number that work is to be
        entered for; `is_closer` with charts that answer to the pointer.
        """
        desk = self._desk
        found = fan_page(desk, name)
        return page(
            "fan.html",
            _BAD_REQUEST if typed.faults else 200,
            site=desk.site.site,
            faults=desk.current.faults,
            found=found,
            money=cost_words(found.fan, desk.site.site.currency),
            remedies=_remedies(desk, found),
            drawings=self._drawings.of(found),
            typed={"alert": alert, **typed.cells},
            refusal=typed.faults,
            works=_WORKS,
            readings=_READINGS,
            today=desk.clock().astimezone(desk.site.site.zone).date(),
            may_act=visitor_of(request).may(Role.OPERATOR),
            is_closer=is_closer,
            caution=CAUTION,
        )


def _remedies(desk: Desk, found: FanPage) -> tuple[Remedy, ...]:
    cost = found.fan.cost
    return () if cost is None else remedies_of(found.epoch, cost, desk.site.site.prices)
