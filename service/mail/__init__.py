"""The weekly mail: what to visit, why, how sure that is, and whether the last visit worked."""

from service.mail.digest import Digest, weekly_digest
from service.mail.message import as_message
from service.mail.opening import subject_of
from service.mail.outbox import Delivery, send_weekly
from service.mail.text import text_of
from service.mail.weeks import Week, last_whole_week

__all__ = [
    "Delivery",
    "Digest",
    "Week",
    "as_message",
    "last_whole_week",
    "send_weekly",
    "subject_of",
    "text_of",
    "weekly_digest",
]
