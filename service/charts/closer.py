"""A chart that answers to the pointer: the same definition, with the values under it and zoom."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

_SPOT: Final = {"type": "point", "opacity": 0, "filled": True, "size": 160}
_NUMBER: Final = ".2f"


@dataclass(frozen=True, slots=True)
class Told:
    """A column of a chart's rows that the pointer tells, under the name people know it by."""

    column: str
    name: str
    is_date: bool = False


def closer(spec: Mapping[str, Any], told: Sequence[Told]) -> dict[str, Any]:
    """Return a chart's specification with an invisible mark over each row that tells its values.

    Parameters: `spec`, a chart as plain data; `told`, the first column across and the second up. Rows
    are those of the first layer that has all these columns.
    """
    # What is drawn of no row would only be warned of in the browser.
    layers = [one for one in spec["layer"] if one.get("data", {}).get("values") != []]
    names = [one.column for one in told]
    found = next((layer for layer in layers if _has(layer, names)), None)
    if found is None:
        return {**spec, "layer": layers}
    is_timed = told[0].is_date
    across = {"field": names[0], "type": "temporal" if is_timed else "quantitative"}
    shared = {
        part: found["encoding"]["x"][part] for part in ("scale", "axis") if part in found["encoding"]["x"]
    }
    up = {} if is_timed else {"y": {"field": names[1], "type": "quantitative"}}
    layers.append(
        {
            "data": found["data"],
            "mark": _column(len(found["data"]["values"]), spec["width"]) if is_timed else _SPOT,
            "encoding": {"x": {**across, **shared}, **up, "tooltip": [_told(one) for one in told]},
            "params": [{"name": "zoom", "select": "interval", "bind": "scales"}],
        }
    )
    return {**spec, "layer": layers}


def _column(days: int, width: int) -> dict[str, Any]:
    """Return the mark of a day: as high as the chart, so that the pointer need not hit the line."""
    return {"type": "rule", "opacity": 0, "strokeWidth": max(6, round(width / max(days, 1)))}


def _has(layer: dict[str, Any], names: Sequence[str]) -> bool:
    values = layer.get("data", {}).get("values") or []
    return bool(values) and set(names) <= set(values[0]) and "x" in layer.get("encoding", {})


def _told(one: Told) -> dict[str, Any]:
    if one.is_date:
        return {"field": one.column, "type": "temporal", "title": one.name, "format": "%-d %b %Y"}
    return {"field": one.column, "type": "quantitative", "title": one.name, "format": _NUMBER}
