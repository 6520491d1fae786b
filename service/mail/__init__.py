"""What people are told: the weekly mail, and the outbox from which every mail and hook goes out."""

from service.mail.announcing import announce
from service.mail.delivering import Delivered, deliver
from service.mail.digest import Digest, weekly_digest
from service.mail.message import as_file, as_message
from service.mail.opening import subject_of
from service.mail.outbox import Delivery, send_weekly, write_weekly
from service.mail.text import text_of
from service.mail.weeks import Week, last_whole_week

__all__ = [
    "Delivered",
    "Delivery",
    "Digest",
    "Week",
    "announce",
    "as_file",
    "as_message",
    "deliver",
    "last_whole_week",
    "send_weekly",
    "subject_of",
    "text_of",
    "weekly_digest",
    "write_weekly",
]
