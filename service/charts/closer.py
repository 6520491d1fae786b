"""A chart that answers to the pointer: the same definition, with the values under it and zoom."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.charts.look import INK

_NUMBER: Final = ".2f"
_HAIRLINE: Final = {"type": "rule", "color": INK, "strokeWidth": 1}
_SPOT: Final = {"type": "point", "color": INK, "filled": True, "size": 40}
# What can be moved is cut at the chart's edge: room for the number beside the last day.
_ROOM: Final = 36
_SEEN_UNDER_POINTER: Final = {"condition": {"param": "pointed", "empty": False, "value": 0.6}, "value": 0}


@dataclass(frozen=True, slots=True)
class Told:
    """A column of a chart's rows that the pointer tells, under the name people know it by."""

    column: str
    name: str
    is_date: bool = False


def closer(spec: Mapping[str, Any], told: Sequence[Told]) -> dict[str, Any]:
    """Return a chart's specification with a mark on the row nearest to the pointer, which tells its values.

    Parameters: `spec`, a chart as plain data; `told`, the first column across and the second up. Rows
    are those of the first layer that has all these columns. Over time the nearest day is told at any height.
    """
    # What is drawn of no row would only be warned of in the browser.
    layers = [one for one in spec["layer"] if _rows(spec, one)]
    names = [one.column for one in told]
    found = next((one for one in layers if set(names) <= set(_rows(spec, one)[0])), None)
    if found is None:
        return {**spec, "layer": layers}
    is_timed = told[0].is_date
    up = {} if is_timed else {"y": {"field": names[1], "type": "quantitative"}}
    layers.append(
        {
            "data": found["data"],
            "mark": _HAIRLINE if is_timed else _SPOT,
            "encoding": {
                "x": _across(found["encoding"]["x"], told[0]),
                **up,
                "opacity": _SEEN_UNDER_POINTER,
                "tooltip": [_told(one) for one in told],
            },
            "params": _pointed_and_zoomed(["x"] if is_timed else ["x", "y"]),
        }
    )
    return {**spec, "layer": layers}


def _across(drawn: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Return the direction across, on the scale and axis of what is drawn."""
    shared = {part: drawn[part] for part in ("scale", "axis") if part in drawn}
    if told.is_date:
        shared["scale"] = {**shared["scale"], "padding": _ROOM}
    return {"field": told.column, "type": "temporal" if told.is_date else "quantitative", **shared}


def _pointed_and_zoomed(directions: list[str]) -> list[dict[str, Any]]:
    pointed = {"type": "point", "on": "pointerover", "clear": "pointerout", "nearest": True}
    zoomed = {"type": "interval", "encodings": directions}
    return [
        {"name": "pointed", "select": {**pointed, "encodings": directions}},
        {"name": "zoom", "select": zoomed, "bind": "scales"},
    ]


def _rows(spec: Mapping[str, Any], layer: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    """Return a layer's rows: layers of the same rows share them by name."""
    data = layer["data"]
    rows: Sequence[Mapping[str, Any]] = spec["datasets"][data["name"]] if "name" in data else data["values"]
    return rows


def _told(one: Told) -> dict[str, Any]:
    if one.is_date:
        # A plant date as it is written: without the unit a browser west of Greenwich tells the day before.
        day = {"field": one.column, "type": "temporal", "timeUnit": "utcyearmonthdate"}
        return {**day, "title": one.name, "format": "%-d %b %Y"}
    return {"field": one.column, "type": "quantitative", "title": one.name, "format": _NUMBER}
