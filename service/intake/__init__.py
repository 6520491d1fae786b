"""From exported files to readings: every value stored, or accounted for with its reason."""

from service.intake.exports import export_intake, export_readings, readings_by_fan
from service.intake.pull import pull
from service.intake.report import FileReport, PassReport

__all__ = ["FileReport", "PassReport", "export_intake", "export_readings", "pull", "readings_by_fan"]
