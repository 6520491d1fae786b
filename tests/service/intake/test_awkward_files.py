# ruff: noqa: E501
"""A table of awkward files: what each is read as, what is said about it, and every cell accounted for.

The shapes are common practice, without a source; where RFC 4180 states one, its section is named.
"""

import csv
import datetime as dt
import io
import random
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from config import load_site
from config.site import Source
from service.intake.accounts import FileReading
from service.intake.mapping import PointMap, map_points
from service.intake.reading import read_export
from service.intake.text import UnreadableFileError

SITE = 'name = "S"\ntimezone = "America/Denver"\n[units]\nairflow = "L/s"\npressure = "Pa"\n'
FANS = (
    "fan,drive,motor_kw,motor_fla,speed_point,current_point,airflow_point,pressure_point,run_status_point\n"
    "SF-1,direct,11,20,SF1 speed,SF1 amps,SF1 flow,SF1 dp [Pa],SF1 run\n"
)
ROWS = "2025-03-01 00:00,10.5,50\n2025-03-01 00:15,11.5,60\n"
PLAIN = "Time,SF1 amps,SF1 speed\n" + ROWS
AMPS = (10.5, 11.5)
MIDNIGHT = "2025-03-01T07:00:00"  # of Denver, in UTC


@dataclass(frozen=True)
class Case:
    """A file, how its source is declared, and what must come of it."""

    name: str
    content: str | bytes
    values: dict[str, tuple[float, ...] | None] = field(default_factory=lambda: {"SF1 amps": AMPS})
    says: tuple[str, ...] = ()
    first: str = MIDNIGHT
    missing: int = 0
    refused: int = 0
    file: str = "a.csv"
    source: dict[str, Any] = field(default_factory=dict)


def amps(*cells: str, header: str = "SF1 amps") -> str:
    lines = [f"2025-03-01 00:{minute:02d},{cell}\n" for minute, cell in enumerate(cells)]
    return f"Time,{header}\n" + "".join(lines)


def times(*cells: str) -> str:
    return "Time,SF1 amps\n" + "".join(f"{cell},{value}\n" for cell, value in zip(cells, AMPS, strict=False))


SINGLE = "2025-03-01 00:00,10.5\n2025-03-01 00:15,11.5\n"
SINGLE_NAMED = "Time,Value\n" + SINGLE
OVER_MIDNIGHT = "Time,SF1 amps\n" + "".join(
    f"{11 + place // 6}/03/2025 {'00' if place // 6 else '23'}:{place % 6 * 10:02d},{place}\n"
    for place in range(12)
)
FLOW = "Time,{}\n2025-03-01 00:00,1500\n2025-03-01 00:15,1600\n"
FLOWS = {"SF1 flow": (1500.0, 1600.0)}
NAMED = {"SF1 amps": AMPS, "SF1 speed": (50.0, 60.0)}

CASES = (
    # What stands above the header.
    Case("one line above", "Nightly export\n" + PLAIN, NAMED, ("1 line above the header",)),
    Case(
        "pairs above",
        "Building,Hall A\nCreated,2025-03-02 06:00\nPoints,2\n\n" + PLAIN,
        NAMED,
        ("3 lines above the header",),
    ),
    Case("a date line above", "Date,2025-03-02\n" + PLAIN, NAMED, ("1 line above",)),
    Case("as wide as the table above", "2025-03-02 06:00,Export,x\n" + PLAIN, NAMED, ("1 line above",)),
    Case("marks above", "# site: A\n# by: night job, v2\n" + PLAIN, NAMED, ("2 lines above",)),
    Case("a blank line under the header", PLAIN.replace("speed\n", "speed\n\n"), NAMED),
    Case("blank lines above", "\n\n" + PLAIN, NAMED),
    Case(
        "the point named above",
        "Point:,SF1 amps\nTime,Value\n2025-03-01 00:00,10.5\n2025-03-01 00:15,11.5\n",
        says=("single",),
        file="export 7.csv",
    ),
    Case("no time word in the header", PLAIN.replace("Time", "Zeitpunkt"), NAMED),
    Case("no time word, and lines above", "Report of March\nA,B\n" + PLAIN.replace("Time", "Zeit"), NAMED),
    # Two rows of header.
    Case(
        "groups above the names",
        ",SF1,\nTime,amps,speed\n" + ROWS,
        NAMED,
        ("two header rows",),
    ),
    Case("groups under the time's name", "Time,SF1,SF1\n,amps,speed\n" + ROWS, NAMED, ("two header rows",)),
    Case("names, then words", "Time,SF1 amps,SF1 speed\n,current,per cent of full\n" + ROWS, NAMED),
    Case("words, then names", "Time,current,speed\n,SF1 amps,SF1 speed\n" + ROWS, NAMED),
    Case("a row of units", "Time,SF1 amps,SF1 speed\n,A,%\n" + ROWS, NAMED, ("units in a row of their own",)),
    Case(
        "a row of other units",
        "Time,SF1 flow\n,cfm\n2025-03-01 00:00,1500\n",
        {"SF1 flow": (1500.0,)},
        ("'SF1 flow' is in cfm by this file, in L/s by the site: read as L/s",),
    ),
    # Units in the header.
    Case("unit in square brackets", PLAIN.replace("SF1 amps", "SF1 amps [A]"), NAMED),
    Case("unit in round brackets", PLAIN.replace("SF1 amps", "SF1 amps (A)"), NAMED),
    Case("unit as a last word", FLOW.format("SF1 flow L/s"), FLOWS),
    Case("unit after an underscore", FLOW.format("SF1 flow_L/s"), FLOWS),
    Case("a last word that is no unit of the point", "Time,SF1 speed A,SF1 amps\n2025-03-01 00:00,1,10.5\n",
         {"SF1 amps": (10.5,), "SF1 speed": None}),
    Case("a name that is but the beginning of a point's", amps("1", "2", header="SF1"), {"SF1 amps": None}, first=""),
    Case("unit in the site's name alone", FLOW.format("SF1 dp"), {"SF1 dp [Pa]": (1500.0, 1600.0)}),
    Case("unit in both", FLOW.format("SF1 dp [Pa]"), {"SF1 dp [Pa]": (1500.0, 1600.0)}),
    Case(
        "unit that contradicts",
        FLOW.format("SF1 flow [m³/h]"),
        FLOWS,
        ("'SF1 flow' is in m3/h by this file, in L/s by the site: read as L/s",),
    ),
    Case(
        "one point in two units",
        "Time,SF1 flow [cfm],SF1 flow [L/s]\n2025-03-01 00:00,1500,700\n",
        {},
        ("'SF1 flow [cfm]' may be 'SF1 flow', but so may another",),
    ),
    Case("units behind the numbers", amps("10.5 A", "11.5 A")),
    Case("a file's name with a unit", amps("10.5", "11.5", header="Value"), file="SF1 amps (A).csv"),
    # What stands under the table.
    Case("a total at the end", PLAIN + "Total,22,110\n", NAMED, ("1 row of totals",), refused=2),
    Case(
        "several at the end", PLAIN + "\nMin,1,2\nMax,1,2\nAverage:,1,\nEnd of report\n", NAMED, ("4 rows",),
        missing=1, refused=5,
    ),
    Case("units at the end", PLAIN + ",A,%\n", NAMED, ("1 row of totals, units",), refused=2),
    Case("a total not ended", PLAIN + "Total,22,110", NAMED, ("1 row of totals",), refused=2),
    Case("a total of other points too", "Time,SF1 amps,Room\n2025-03-01 00:00,10.5,20\n2025-03-01 00:15,11.5,21\n"
         "Total,22,41\nCount,,2\n", says=("2 rows of totals",), missing=1, refused=1),
    Case("totals below a long file", "Time,Point,Value\n2025-03-01 00:00,SF1 amps,10.5\n"
         "2025-03-01 00:15,SF1 amps,11.5\nTotal,SF1 amps,22\nCount,,2\n", says=("2 rows of totals",), refused=1),
    Case("a total below one point", SINGLE_NAMED + "Total,22\n", says=("single", "1 row of totals"), refused=1,
         file="SF1 amps.csv"),
    Case("totals below two tables", PLAIN + "Total,22,110\n" + PLAIN.replace("-01 ", "-02 ").replace(
         "Time,SF1 amps", "Time,SF1 flow") + "Total,22,110\n", {"SF1 amps": AMPS, "SF1 flow": AMPS}, ("2 tables",),
         refused=4),
    Case("a total below tables side by side", "Time,SF1 amps,Time,SF1 speed\n2025-03-01 00:00,10.5,2025-03-01 00:01,50\n"
         "2025-03-01 00:15,11.5,2025-03-01 00:16,60\n,,2025-03-01 00:31,70\nTotal,22,,180\nPrinted at night\n",
         {"SF1 amps": AMPS, "SF1 speed": (50.0, 60.0, 70.0)}, ("side by side",), refused=2),
    Case("a total amid the rows is refused", PLAIN + "Total,1,2\n2025-03-01 00:30,12.5,\n", refused=2,
         values={"SF1 amps": (10.5, 11.5, 12.5)}, missing=1),
    # Marks between cells (RFC 4180, section 2: records, quotes).
    Case("rule 1: CRLF ends records", PLAIN.replace("\n", "\r\n"), NAMED),
    Case("rule 2: the last end may lack", PLAIN.rstrip("\n"), NAMED),
    Case("rule 3: a header may lack, the file's name holds", ROWS.replace(",50", "").replace(",60", ""),
         says=("no header line",), file="SF1 amps.csv"),
    Case("rule 5: quotes around any", '"Time","SF1 amps"\n"2025-03-01 00:00","10.5"\n"2025-03-01 00:15",11.5\n'),
    Case("rule 6: a comma and a line end in quotes",
         'Time,"Note, long",SF1 amps\n2025-03-01 00:00,"a, b\nc",10.5\n2025-03-01 00:15,,11.5\n'),
    Case("rule 6: a line end in a header", '"Time\n(local)",SF1 amps\n2025-03-01 00:00,10.5\n2025-03-01 00:15,11.5\n'),
    Case("rule 7: a quote in quotes", 'Time,"the ""A""",SF1 amps\n2025-03-01 00:00,"""",10.5\n2025-03-01 00:15,,11.5\n'),
    Case("bare CR", PLAIN.replace("\n", "\r"), NAMED),
    Case("semicolons", PLAIN.replace(",", ";"), NAMED, ("semicolon",)),
    Case("tabs", PLAIN.replace(",", "\t"), NAMED, ("tab",)),
    Case("bars", PLAIN.replace(",", "|"), NAMED, ("bar",)),
    Case("a mark that the source names", PLAIN.replace(",", "~"), NAMED, source={"delimiter": "~"}),
    Case("a comma at every end", PLAIN.replace("\n", ",\n"), NAMED),
    # Numbers.
    Case("decimal commas", PLAIN.replace(",", ";").replace(".5", ",5"), NAMED, ("decimal comma",)),
    Case("decimal commas in quotes", 'Time,SF1 amps\n2025-03-01 00:00,"10,5"\n2025-03-01 00:15,"11,5"\n'),
    Case("thousands in quotes", FLOW.format("SF1 flow").replace("1500", '"1,500"').replace("1600", '"1,600.0"'),
         FLOWS, ("2 cells with marks between thousands",)),
    Case("thousands with points", "Time;SF1 flow\n2025-03-01 00:00;1.500,0\n2025-03-01 00:15;1.600,0\n", FLOWS),
    Case("points of thousands beside decimal commas",
         "Time;SF1 flow;SF1 amps\n2025-03-01 00:00;1.500;10,5\n2025-03-01 00:15;1.600;11,5\n",
         {**FLOWS, "SF1 amps": AMPS}),
    Case("thousands with spaces", "Time,SF1 flow\n2025-03-01 00:00,1 500\n2025-03-01 00:15,1\u00a0600\n", FLOWS),
    Case("thousands with strokes", FLOW.format("SF1 flow").replace("1500", "1'500"), FLOWS),
    Case("three decimals after commas", "Time;SF1 amps\n2025-03-01 00:00;1,234\n", {"SF1 amps": (1.234,)}),
    Case("the source's decimal mark", 'Time,SF1 amps\n2025-03-01 00:00,"1,234"\n', {"SF1 amps": (1.234,)},
         source={"decimal": ","}),
    Case("powers of ten", amps("1.05e1", "1.15E+01")),
    Case("per cent signs", amps("50%", "60 %", header="SF1 speed"), {"SF1 speed": (50.0, 60.0)}),
    # Nothing, in other words.
    Case("words for nothing", amps("10.5", "null", "---", "NaN", "n/a", "11.5"), missing=4),
    Case("numbers for nothing", amps("10.5", "-9999", "-99999", "-32768", "3.4028235e38", "11.5"), missing=4,
         says=("1 cells of -9999 taken as missing",)),
    Case("flags in brackets", amps("10.5", "[down]", "12 {fault}", "13 (stale)", "11.5 [ok]"), missing=3,
         says=("1 cells flagged [fault] taken as missing",)),
    Case("an unknown word is refused", amps("10.5", "eleven", "11.5"), refused=1),
    Case("states as words", amps("On", "off", "Running", header="SF1 run"), {"SF1 run": (1.0, 0.0, 1.0)}),
    # Encodings.
    Case("a byte order mark", "\ufeff" + PLAIN, NAMED),
    Case("UTF-16", PLAIN.encode("utf-16"), NAMED, ("UTF-16",)),
    Case("UTF-16 without mark", PLAIN.encode("utf-16-le"), NAMED, ("UTF-16 without mark",)),
    Case("Windows-1252", PLAIN.replace("\n2", ",Außen °C\n2", 1).encode("cp1252"), NAMED, ("Windows-1252",)),
    Case("the source's encoding", PLAIN.encode("utf-16-be"), NAMED, ("utf-16-be",), source={"encoding": "utf-16-be"}),
    # Several tables in one file.
    Case("the header again amid the rows", "Time,SF1 amps,SF1 speed\n2025-03-01 00:00,10.5,50\n"
         "Time,SF1 amps,SF1 speed\n2025-03-01 00:15,11.5,60\n", NAMED, ("header lines amid the rows left out",)),
    Case("a table of other points below", PLAIN + "\nTime,SF1 flow\n2025-03-01 00:00,1500\n2025-03-01 00:15,1600\n",
         {**NAMED, **FLOWS}, ("2 tables, each under a header of its own",)),
    Case("columns that change places below", PLAIN.replace("2025-03-01 00:15,11.5,60\n", "")
         + "SF1 speed,Time,SF1 amps\n60,2025-03-01 00:15,11.5\n", NAMED, ("2 tables",)),
    Case("a point that is new below", "Time,SF1 amps\n2025-03-01 00:00,10.5\nTime,SF1 amps,SF1 speed\n"
         "2025-03-01 00:15,11.5,60\n", {"SF1 amps": AMPS, "SF1 speed": (60.0,)}, ("2 tables",)),
    # A word beside each value.
    Case("a long file's word for a bad value", "Time,Point,Value,Status\n2025-03-01 00:00,SF1 amps,10.5,{ok}\n"
         '2025-03-01 00:05,SF1 amps,0,"{alarm,fault}"\n'
         "2025-03-01 00:15,SF1 amps,11.5,{alarm}\n", missing=1,
         says=("1 cells taken as missing: 'Status' says so",)),
    Case("a single file's quality and unit", "Timestamp,Trend Flags,Quality,Value,Unit\n"
         "2025-03-01 00:00,,good,10.5,A\n2025-03-01 00:05,,Bad,0,A\n2025-03-01 00:15,,good,11.5,A\n", missing=1,
         says=("single",), file="SF1 amps.csv"),
    Case("marks for nothing", amps("10.5", "?", "***", "11.5"), missing=2),
    Case("a printer's minus", "Time,SF1 dp [Pa]\n2025-03-01 00:00,\u2212250.5\n", {"SF1 dp [Pa]": (-250.5,)}),
    # Times.
    Case("ISO with Z", times("2025-03-01T07:00:00Z", "2025-03-01T07:15:00Z"), says=("with offset",)),
    Case("ISO with offset", times("2025-03-01T00:00-07:00", "2025-03-01T00:15-07:00")),
    Case("a space before the offset", times("2025-03-01 00:00:00 -07:00", "2025-03-01 00:15:00 -07:00")),
    Case("month first", times("3/1/2025 12:00 AM", "3/31/2025 12:15 AM"), says=("month first", "12-hour clock")),
    Case("day first", times("01/03/2025 00:00", "31/03/2025 00:15"), says=("day first",)),
    Case("day or month: not told", times("01/03/2025 00:00", "01/03/2025 00:15"), {}, refused=2,
         says=("not told",), first=""),
    Case("day or month: the source tells", times("01/03/2025 00:00", "01/03/2025 00:15"),
         source={"time_format": "%d/%m/%Y %H:%M"}),
    Case("month by name", times("1 Mar 2025 00:00", "1 Mar 2025 00:15")),
    Case("weekday and month by name", times("Sat 01-Mar-25 12:00:00 AM", "Sat 01-Mar-25 12:15:00 AM")),
    Case("the zone's own short name", times("2025-03-01 00:00:00 MST", "2025-03-01 00:15:00 MST"), says=("with offset",)),
    Case("short names across the repeated hour", times("2025-11-02 01:30:00 MDT", "2025-11-02 01:30:00 MST"),
         first="2025-11-02T07:30:00"),
    Case("another zone's short name is refused", times("2025-03-01 00:00 CET", "2025-03-01 00:15 CET"), {}, refused=2,
         first=""),
    Case("a zone's name behind the offset", times("2025-03-01T00:00:00-07:00[America/Denver]",
         "2025-03-01T00:15:00-07:00 Denver")),
    Case("UTC in the time's header", times("2025-03-01 07:00", "2025-03-01 07:15").replace("Time", "Timestamp (UTC)"),
         says=("UTC by its header",)),
    Case("an offset in the time's header", times("2025-03-01 01:00", "2025-03-01 01:15").replace(
         "Time", "Time (UTC-06:00)"), says=("UTC-06:00 by its header",)),
    Case("UTC in the header, a zone by the source", times("2025-03-01 00:00", "2025-03-01 00:15").replace(
         "Time", "Time UTC"), says=("zone America/Denver",), source={"zone": "America/Denver"}),
    Case("thousandths behind a colon", times("2025-03-01 00:00:00:000", "2025-03-01 00:15:00:000")),
    Case("a narrow blank before AM", times('"3/31/2025, 12:00:00\u202fAM"', '"3/31/2025, 12:15:00\u202fAM"'),
         first="2025-03-31T06:00:00"),
    Case("epoch seconds", times("1740812400", "1740813300"), says=("epoch seconds",)),
    Case("epoch milliseconds", times("1740812400000", "1740813300000"), says=("epoch milliseconds",)),
    Case("epoch by the source", times("1740812400", "1740813300"), source={"time_format": "epoch"}),
    Case("digits alone", times("20250301 0000", "20250301 0015")),
    Case("24:00 is the next midnight", times("2025-02-28 24:00", "2025-03-01 00:15")),
    Case("the source's zone", times("2025-03-01 07:00", "2025-03-01 07:15"), source={"zone": "UTC"}),
    Case("the source's time column", "Created,Logged,SF1 amps\n2025-03-02 01:00,2025-03-01 00:00,10.5\n"
         "2025-03-02 01:00,2025-03-01 00:15,11.5\n", source={"time_column": "Logged"}),
    Case("the skipped hour", times("2025-03-09 01:45", "2025-03-09 02:15"), {"SF1 amps": (10.5,)}, refused=1,
         first="2025-03-09T08:45:00"),
    Case("date and clock apart", "Date,Time,SF1 amps\n3/1/2025,12:00 AM,10.5\n3/31/2025,12:15 AM,11.5\n",
         says=("two columns",)),
    # Layouts.
    Case("long", "Time,Point,Value\n2025-03-01 00:00,SF1 amps,10.5\n2025-03-01 00:15,SF1 amps,11.5\n", says=("long",)),
    Case("long, units in the names", "Time,Point,Value\n2025-03-01 00:00,SF1 amps [A],10.5\n"
         "2025-03-01 00:15,SF1 amps [A],11.5\n", says=("long",)),
    Case("long under lines", "Report\nfor,March\n\nPoint,Time,Value,Unit\nSF1 amps,2025-03-01 00:00,10.5,A\n"
         "SF1 amps,2025-03-01 00:15,11.5,A\n", says=("long", "2 lines above")),
    # Guessed by none of these: what stands beside, above and in order is looked at.
    Case("trends one under another, each named above", "Trend: SF1 amps\nTime,Value\n" + SINGLE
         + "\nTrend: SF1 flow\nTime,Value\n" + SINGLE.replace("10.5", "1500").replace("11.5", "1600"),
         {"SF1 amps": AMPS, **FLOWS}, ("2 tables",)),
    Case("a caption without a header of its own", "SF1 amps\nTime,Value\n" + SINGLE + "SF1 flow\n"
         + SINGLE.replace("10.5", "1500").replace("11.5", "1600"), {"SF1 amps": AMPS, **FLOWS}, ("2 tables",)),
    Case("commas between thousands beside decimal points", "Time;SF1 flow;SF1 amps\n2025-03-01 00:00;1,500;10.5\n"
         "2025-03-01 00:15;1,600;11.5\n", {**FLOWS, "SF1 amps": AMPS}, ("2 cells with marks between thousands",)),
    Case("a status with its number", amps("1 (On)", "0 (off)", header="SF1 run"), {"SF1 run": (1.0, 0.0)}),
    Case("a column of times for each point", "Time,SF1 amps,Time,SF1 speed\n2025-03-01 00:00,10.5,2025-03-01 00:01,50\n"
         "2025-03-01 00:15,11.5,2025-03-01 00:16,60\n,,2025-03-01 00:31,70\n",
         {"SF1 amps": AMPS, "SF1 speed": (50.0, 60.0, 70.0)}, ("side by side",)),
    Case("a start and an end", "Start Time,End Time,SF1 amps\n2025-03-01 00:00,2025-03-01 00:15,10.5\n"
         "2025-03-01 00:15,2025-03-01 00:30,11.5\n", says=("times of 'Start Time', not of 'End Time'",)),
    Case("a status beside each point", "Time,SF1 amps,SF1 amps Status,SF1 speed,Status\n"
         "2025-03-01 00:00,10.5,{ok},50,\n2025-03-01 00:05,0,{down},0,{fault}\n2025-03-01 00:15,11.5,{ok},60,{ok}\n",
         NAMED, ("'SF1 amps Status' says so", "'Status' says so"), missing=2),
    Case("a zone above", "Time zone: UTC\n" + PLAIN.replace("01 00:", "01 07:"), NAMED, ("UTC by a line above",)),
    Case("a zone's name above", "Report,x\nTimezone,America/New_York\n" + PLAIN.replace("01 00:", "01 02:"), NAMED,
         ("America/New_York by a line above",)),
    Case("the time of its writing says nothing of the rows", "Created: 2025-03-02 06:00 UTC\n" + PLAIN, NAMED),
    Case("another zone's short name in the header", PLAIN.replace("Time", "Time (EST)"), NAMED,
         ("said to be 'EST' and read as wall clock of America/Denver",)),
    Case("AM and PM in a column", "Date,Time,AM/PM,SF1 amps\n3/31/2025,12:00,AM,10.5\n3/31/2025,12:15,AM,11.5\n",
         says=("AM and PM in a column",), first="2025-03-31T06:00:00"),
    Case("a name in two columns", "Time,Unit no.,Point,Value\n2025-03-01 00:00,SF1,amps,10.5\n"
         "2025-03-01 00:15,SF1,amps,11.5\n2025-03-01 00:15,SF1,speed,60\n", {"SF1 amps": AMPS, "SF1 speed": (60.0,)},
         ("points named by 'Unit no.' and 'Point'",)),
    Case("keys above for the names", "Key,Name\nP1,SF1 amps\nP2,SF1 speed\nTime,P1,P2\n" + ROWS, NAMED,
         ("names by the lines above",)),
    Case("groups, names and units", "Time,SF1,SF1\n,amps,speed\n,A,%\n" + ROWS, NAMED,
         ("two header rows", "units in a row of their own")),
    Case("one name over two columns", PLAIN.replace("speed", "amps"), {"SF1 amps": (50.0, 60.0)},
         ("heads 2 columns",)),
    Case("another unit behind the numbers", "Time,SF1 flow\n2025-03-01 00:00,1500 cfm\n2025-03-01 00:15,1600 cfm\n",
         FLOWS, ("in cfm by this file, in L/s by the site",)),
    Case("a number in brackets is no flag", amps("10.5", "(2.5)", "11.5"), refused=1),
    Case("a second value column is told", "Time,Point,Value,Text Value\n2025-03-01 00:00,SF1 amps,10.5,\n"
         "2025-03-01 00:15,SF1 amps,11.5,\n", says=("'Text Value' not read",)),
    Case("the year first in two digits", times("25-03-01 00:00", "25-03-02 00:15"), says=("year first",)),
    Case("two digits and one day", times("25-03-01 00:00", "25-03-01 00:15"), {}, refused=2, first="",
         says=("year or day first: not told",)),
    Case("two digits, the year last", times("14-03-25 00:00", "15-03-25 00:15"), says=("day first",),
         first="2025-03-14T06:00:00"),
    Case("the rows run on over midnight", OVER_MIDNIGHT, {"SF1 amps": tuple(range(12))},
         ("day first, as the rows run on over midnight",), first="2025-03-12T05:00:00"),
    Case("the rows step by days: day and month stay open", "Time,SF1 amps\n11/03/2025 00:00,1\n12/03/2025 00:00,1\n", {},
         refused=2, says=("not told",), first=""),
    Case("the year behind the clock", times("Sat Mar 01 00:00:00 MST 2025", "Sat Mar 01 00:15:00 MST 2025")),
    Case("a clock with points", times("01.03.2025 00.00", "31.03.2025 00.15"), says=("day first",)),
    Case("a wide p. m.", times("28/02/2025 12:00:00 a. m.", "28/02/2025 12:15:00 a. m."), first="2025-02-28T07:00:00"),
    Case("epoch microseconds", times("1740812400000000", "1740813300000000"), says=("epoch microseconds",)),
    Case("rows newest first", "Time,SF1 amps,SF1 speed\n" + "\n".join(reversed(ROWS.splitlines())) + "\n", NAMED),
    Case("a time twice: the last row holds", amps("9", "11.5") + "2025-03-01 00:00,10.5\n"),
)  # fmt: skip

UNREADABLE = (
    Case("times side by side in the header", "Point,2025-03-01 00:00,2025-03-01 00:15\nSF1 amps,10.5,11.5\n",
         says=("export it with a row a time",)),
    Case("a workbook", b"PK\x03\x04\x14\0[Content_Types].xml", says=("workbook",)),
    Case("a damaged zip", b"PK\x03\x04broken", says=("zip file is damaged",)),
    Case("no header and several columns", ROWS, says=("has no header",)),
    Case("prose", "Dear all,\nplease find attached\n", says=("no column of times",)),
    Case("one column", "SF1 amps\n10.5\n", says=("every line is one cell",)),
    Case("a wrong encoding", PLAIN.encode("utf-16"), says=("is not utf-8",), source={"encoding": "utf-8"}),
    Case("a time column that is not there", PLAIN, says=("no column is named 'Stamp'",),
         source={"time_column": "Stamp"}),
)  # fmt: skip


@pytest.fixture(scope="module")
def points() -> PointMap:
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "site.toml").write_text(SITE)
        (Path(name) / "fans.csv").write_text(FANS)
        return map_points(load_site(Path(name)))


def read(case: Case, points: PointMap) -> FileReading:
    content = case.content.encode() if isinstance(case.content, str) else case.content
    return read_export(
        content, case.file, Source(name="s", **case.source), ZoneInfo("America/Denver"), points
    )


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_an_awkward_file_is_read_and_says_how(case: Case, points: PointMap) -> None:
    reading = read(case, points)
    found = {name: tuple(series.values) for name, series in reading.series.items() if len(series.values)}
    assert {name: found.get(name) for name in case.values} == case.values, reading.decided
    for said in case.says:
        assert said in reading.decided
    assert (reading.missing, reading.refused_count) == (case.missing, case.refused), reading.refused
    if case.values and case.first:
        assert reading.first_us is not None
        first = dt.datetime.fromisoformat(case.first).replace(tzinfo=dt.UTC)
        assert reading.first_us == round(first.timestamp() * 1e6)
    counted = sum(
        len(series.times_us)
        + sum(int(np.sum(extra)) for extra in (series.repeated, series.overruled) if extra is not None)
        for series in reading.series.values()
    )
    assert reading.cells == counted + reading.refused_count + reading.missing + reading.unmapped


POINTS = ("SF1 amps", "SF1 speed", "SF1 flow", "SF1 run")
# Words, marks, numbers and flags that say that there is no value, as these files write them.
NO_VALUE = (
    "",
    "n/a",
    "null",
    "nan",
    "no data",
    "---",
    "?",
    "***",
    "-9999",
    "-99999",
    "-32768",
    "3.4028235e38",
)
NO_VALUE_FLAGS = ("[down]", "12 {fault}", "13 (stale)")


def counted_by_itself(text: str) -> int | None:
    """Count the cells under mapped points that are neither blank nor a missing-word, as RFC 4180 parts cells.

    None where the file is no table, or tables, of points alone under one line of names each. A line of names
    heads what follows, be it the same names again, and goes on with the lines right under it whose time is
    blank (units, words): their cells stand under no point.
    """
    rows = [row for row in csv.reader(io.StringIO(text, newline=None)) if any(cell.strip() for cell in row)]
    mapped: list[int] = []
    count, width, is_heading = 0, 0, False
    for row in rows:
        if "Time" in row and set(row) & set(POINTS):
            mapped, width = [column for column, name in enumerate(row) if name in POINTS], len(row)
            is_heading = True
            if len(mapped) + 1 < width or len(set(row)) < width:
                return None
        elif mapped and not (is_heading and not row[0].strip()):
            is_heading = False
            if len(row) > width:
                return None
            cells = [row[column].strip().lower() for column in mapped if column < len(row)]
            count += sum(cell not in (*NO_VALUE, *NO_VALUE_FLAGS) for cell in cells)
    return count if mapped else None


PLAIN_TABLES = [
    case
    for case in CASES
    if isinstance(case.content, str) and "Status" not in case.content and counted_by_itself(case.content)
]


@pytest.mark.parametrize("case", PLAIN_TABLES, ids=lambda case: case.name)
def test_rows_read_are_the_cells_that_a_plain_reader_of_csv_counts(case: Case, points: PointMap) -> None:
    assert isinstance(case.content, str)
    reading = read(case, points)
    assert values(reading) + reading.refused_count == counted_by_itself(case.content), reading.refused


def test_plain_tables_are_most_of_them_and_those_with_totals_too() -> None:
    names = {case.name for case in PLAIN_TABLES}
    assert len(names) >= 40, len(names)
    assert {"a total at the end", "several at the end", "units at the end", "a total not ended"} <= names


@pytest.mark.parametrize("case", UNREADABLE, ids=lambda case: case.name)
def test_a_file_of_which_nothing_can_be_read_says_why(case: Case, points: PointMap) -> None:
    with pytest.raises(UnreadableFileError, match=case.says[0]):
        read(case, points)


def test_there_are_enough_of_them() -> None:
    assert len({case.name for case in (*CASES, *UNREADABLE)}) >= 60


def mutated(content: bytes, chance: random.Random) -> bytes:
    for _ in range(chance.randint(1, 4)):
        content = chance.choice(MUTATIONS)(content, chance)
    return content


def with_a_byte_flipped(content: bytes, chance: random.Random) -> bytes:
    place = chance.randrange(len(content) + 1)
    return content[:place] + bytes([chance.randrange(256)]) + content[place + 1 :]


def cut(content: bytes, chance: random.Random) -> bytes:
    return content[: chance.randrange(len(content) + 1)] or content


def with_a_mark_put_in(content: bytes, chance: random.Random) -> bytes:
    place = chance.randrange(len(content) + 1)
    mark = chance.choice((b'"', b",", b"\n", b";", b"\r", b"\0", b"[", b"-9999"))
    return content[:place] + mark + content[place:]


def with_lines_shuffled(content: bytes, chance: random.Random) -> bytes:
    lines = content.split(b"\n")
    chance.shuffle(lines)
    return b"\n".join(lines)


def with_columns_swapped(content: bytes, chance: random.Random) -> bytes:
    """Swap two columns, in all lines or from one of them on."""
    lines = content.split(b"\n")
    mark = max((b",", b";", b"\t", b"|"), key=content.count)
    first, second = chance.randrange(4), chance.randrange(4)
    start = chance.choice((0, chance.randrange(len(lines))))
    for number, line in enumerate(lines[start:], start):
        cells = line.split(mark)
        if max(first, second) < len(cells):
            cells[first], cells[second] = cells[second], cells[first]
            lines[number] = mark.join(cells)
    return b"\n".join(lines)


MUTATIONS = (with_a_byte_flipped, cut, with_a_mark_put_in, with_lines_shuffled, with_columns_swapped)
HANG_S = 5.0  # thousands of times what such a small file takes


@pytest.mark.parametrize(
    "count", [400, pytest.param(10_000, marks=[pytest.mark.long, pytest.mark.timeout(3600)])]
)
def test_a_mutated_file_is_read_or_says_why_and_its_counts_hold(count: int, points: PointMap) -> None:
    chance = random.Random(20250301)
    fates: Counter[str] = Counter()
    slowest_s = 0.0
    for _ in range(count):
        case = chance.choice(CASES)
        whole = case.content.encode() if isinstance(case.content, str) else case.content
        content = mutated(whole, chance)
        begun = time.process_time()
        try:
            reading = read(replace(case, content=content), points)
        except UnreadableFileError:
            fates["says why it cannot be read"] += 1
            continue
        finally:
            slowest_s = max(slowest_s, time.process_time() - begun)
        told = reading.refused_count + reading.missing + reading.unmapped
        assert reading.cells == told + values(reading), content
        assert reading.refused_count == sum(refused.cells for refused in reading.refused), content
        fates["read whole" if not reading.refused_count else "read, some of it refused"] += 1
    print(f"{count} mutated files: {dict(fates)}, the slowest {slowest_s:.2f} s")
    assert slowest_s < HANG_S
    assert min(fates.values()) > count // 50


def values(reading: FileReading) -> int:
    return sum(
        len(series.times_us)
        + sum(int(np.sum(extra)) for extra in (series.repeated, series.overruled) if extra is not None)
        for series in reading.series.values()
    )


def told(case: Case, points: PointMap) -> str:
    """Return a line of the table: the file, and what was decided and why."""
    try:
        reading = read(case, points)
    except UnreadableFileError as error:
        return f"{case.name} | cannot be read: {error}"
    counts = f"{values(reading)} values, {reading.missing} missing, {reading.refused_count} refused"
    reasons = "; ".join(dict.fromkeys(cell.reason for cell in reading.refused))
    return f"{case.name} | {counts} | {reading.decided}" + (f" | refused: {reasons}" if reasons else "")


if __name__ == "__main__":  # the table of all of them, to read
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "site.toml").write_text(SITE)
        (Path(name) / "fans.csv").write_text(FANS)
        known = map_points(load_site(Path(name)))
    for each in (*CASES, *UNREADABLE):
        print(told(each, known))
