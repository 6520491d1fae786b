"""The round as a CSV sheet: a row a fan, printed columns first, then those to fill in."""

import csv
import io

from service.round.fields import COLUMNS, shielded
from service.round.plan import FanSheet, Round
from service.words import one_line


def round_csv(planned: Round) -> str:
    """Write the round as CSV; filled in, it comes back by `slipledger log SITE --from FILE`."""
    told = io.StringIO()
    writer = csv.DictWriter(told, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(_row(sheet) for sheet in planned.sheets)
    return told.getvalue()


def _row(sheet: FanSheet) -> dict[str, str]:
    how = {item.what: item.how for item in sheet.items}
    where, way, *_ = (fact.text for fact in sheet.place)
    told = {
        "fan": sheet.fan,
        "building": sheet.building,
        "where": where,
        "way_there": way,
        "tell_first": sheet.tell_first,
        "standing": sheet.standing.value,
        "look_for": "; ".join(sheet.signs),
        "due": "; ".join(sheet.due),
        "check_figure": sheet.figure,
        "tight_rpm": "" if sheet.tight_rpm is None else f"{sheet.tight_rpm:.0f}",
        "parts": sheet.parts,
        "alignment": how.get("Sheave alignment", ""),
        "belt_tension": sheet.tension,
        "bearings": how["Bearings"],
    }
    # A fan's name comes back as it went out; the rest is for eyes.
    return {name: shielded(text if name == "fan" else one_line(text)) for name, text in told.items()}
