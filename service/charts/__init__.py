"""The charts: each defined once, drawn for page, mail and print without a browser or a network."""

from service.charts.ahead import span_of
from service.charts.closer import Told, closer
from service.charts.curve_chart import CurveWords, curve_chart
from service.charts.drawing import as_png, as_svg, specification, svg_of
from service.charts.loss_chart import loss_chart
from service.charts.power_chart import power_chart
from service.charts.slip_chart import slip_chart

__all__ = [
    "CurveWords",
    "Told",
    "as_png",
    "as_svg",
    "closer",
    "curve_chart",
    "loss_chart",
    "power_chart",
    "slip_chart",
    "span_of",
    "specification",
    "svg_of",
]
