"""The round that a page or a program asks for, or the problem with asking so."""

from dataclasses import dataclass

from service.failure import WorkFailed
from service.round import AsOfRefusedError, Round, plan_round, read_as_of
from service.web.desk import Desk
from service.web.problem import Problem
from service.words import capital


@dataclass(frozen=True, slots=True)
class RoundAsked:
    """What is asked, as written: a day or a quarter, and a building; blank or None what is not."""

    date: str | None
    quarter: str | None
    building: str | None


def planned_round(desk: Desk, asked: RoundAsked, most: int | None, refusal: int) -> Round:
    """Plan the round, with so many sheets at the most; answer `refusal` where what is asked means nothing."""
    try:
        as_of = read_as_of(asked.date, asked.quarter)
        return plan_round(desk.site, desk.store, as_of, asked.building or None, most)
    except AsOfRefusedError as refused:
        raise Problem(refusal, f"{capital(str(refused))}.", refused.remedy) from None
    except WorkFailed as failed:
        remedy = "choose another day, or wait for the first assessment"
        raise Problem(404, f"{capital(str(failed))}.", remedy) from None
