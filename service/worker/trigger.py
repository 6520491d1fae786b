"""A job's plan as the scheduler asks for it."""

import datetime as dt

from apscheduler.triggers.base import BaseTrigger

from service.worker.schedule import Plan


class PlanTrigger(BaseTrigger):  # type: ignore[misc] # the library ships no types
    """Fires when a plan says so."""

    __slots__ = ("_plan",)

    def __init__(self, plan: Plan) -> None:
        """Follow a plan."""
        self._plan = plan

    def get_next_fire_time(self, previous_fire_time: dt.datetime | None, now: dt.datetime) -> dt.datetime:
        """Return the first time after the last one, or after now."""
        return self._plan.first_after(previous_fire_time or now)
