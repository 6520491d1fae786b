"""The alert episodes of the ledger, what people do about them, and what is told of them at once."""

from service.alerts.book import export_alerts, keep_alerts
from service.alerts.people import acknowledge, close, log_service, shelve, take_up
from service.alerts.silence import tell_silence
from service.alerts.standing import OpenAlert, history_of, open_alerts

__all__ = [
    "OpenAlert",
    "acknowledge",
    "close",
    "export_alerts",
    "history_of",
    "keep_alerts",
    "log_service",
    "open_alerts",
    "shelve",
    "take_up",
    "tell_silence",
]
