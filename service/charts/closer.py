"""A chart that answers to the pointer: the same definition, with the values under it and zoom."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import altair as alt

_REACH: Final = 160
_NUMBER: Final = ".2f"


@dataclass(frozen=True, slots=True)
class Told:
    """A column of a chart's rows that the pointer tells, under the name people know it by."""

    column: str
    name: str
    is_date: bool = False


def closer(chart: alt.LayerChart, told: Sequence[Told]) -> dict[str, Any]:
    """Return a chart's specification with an invisible mark over each row that tells its values.

    Parameters: `chart`; `told`, the first column across and the second up. Rows are those of the first
    layer that has all these columns.
    """
    spec: dict[str, Any] = chart.to_dict()
    # What is drawn of no row would only be warned of in the browser.
    layers = spec["layer"] = [one for one in spec["layer"] if one.get("data", {}).get("values") != []]
    names = [one.column for one in told]
    found = next((layer for layer in layers if _has(layer, names)), None)
    if found is None:
        return spec
    across = {"field": names[0], "type": "temporal" if told[0].is_date else "quantitative"}
    shared = {
        part: found["encoding"]["x"][part] for part in ("scale", "axis") if part in found["encoding"]["x"]
    }
    layers.append(
        {
            "data": found["data"],
            "mark": {"type": "point", "opacity": 0, "filled": True, "size": _REACH},
            "encoding": {
                "x": {**across, **shared},
                "y": {"field": names[1], "type": "quantitative"},
                "tooltip": [_told(one) for one in told],
            },
            "params": [{"name": "zoom", "select": "interval", "bind": "scales"}],
        }
    )
    return spec


def _has(layer: dict[str, Any], names: Sequence[str]) -> bool:
    values = layer.get("data", {}).get("values") or []
    return bool(values) and set(names) <= set(values[0]) and "x" in layer.get("encoding", {})


def _told(one: Told) -> dict[str, Any]:
    if one.is_date:
        return {"field": one.column, "type": "temporal", "title": one.name, "format": "%-d %b %Y"}
    return {"field": one.column, "type": "quantitative", "title": one.name, "format": _NUMBER}
