"""What is told at once: a notice, whom it is for, and how it is written for a mail and for a program."""

from service.notices.fan import page_facts, place_facts, tell_first
from service.notices.notice import Fact, Notice
from service.notices.rows import rows_for

__all__ = ["Fact", "Notice", "page_facts", "place_facts", "rows_for", "tell_first"]
