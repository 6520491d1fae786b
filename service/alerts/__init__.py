"""The alert episodes of the ledger and what people are told about them."""

from service.alerts.book import export_alerts, keep_alerts

__all__ = ["export_alerts", "keep_alerts"]
