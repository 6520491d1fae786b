"""The alert episodes of the ledger, what people do about them, and what is told of them at once."""

from service.alerts.book import export_alerts, keep_alerts
from service.alerts.people import acknowledge, close, log_service, shelve, take_up
from service.alerts.silence import tell_silence

__all__ = [
    "acknowledge",
    "close",
    "export_alerts",
    "keep_alerts",
    "log_service",
    "shelve",
    "take_up",
    "tell_silence",
]
