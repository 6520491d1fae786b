"""The demo campus: the one simulator, its exports and its planted truth."""

from demo_trends.campus import write_campus

__all__ = ["write_campus"]
