"""The daily judgement of every fan, brought up to date from the first day that changed."""

from service.assess.exports import export_daily
from service.assess.ledger import assess

__all__ = ["assess", "export_daily"]
