"""The demo campus: the one simulator, its exports and its planted truth."""

from demo_trends.packaged import write_campus

__all__ = ["write_campus"]
