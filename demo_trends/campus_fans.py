"""The demo campus as planned: its dates, its buildings, what its service log says."""

from demo_trends.campus_living import BOATHOUSE, GLASSHOUSE, POOL, TABLE
from demo_trends.campus_record import CampusFan
from demo_trends.campus_teaching import ALDER, LIBRARY, SCIENCE

FIRST_DATE = "2025-01-20"
DAYS = 189
ZONE = "America/Denver"
HEALTHY = ("2025-01-27", "2025-03-09")
HEALTHY_DAYS = (7.0, 49.0)

BUILDINGS: dict[str, tuple[CampusFan, ...]] = {
    "Alder Hall": ALDER,
    "Wren Library": LIBRARY,
    "Hopper Science": SCIENCE,
    "Long Table Hall": TABLE,
    "Heron Pool": POOL,
    "Glass House": GLASSHOUSE,
    "Boat House": BOATHOUSE,
}
SINGLE_LAYOUT = "Boat House"
"""The building whose system can only export one point a file."""

SERVICE_LOG: tuple[dict[str, str], ...] = (
    {"fan": "Alder AH-1 supply", "date": "2025-02-14", "work": "greased", "note": "PM route"},
    {"fan": "Heron Pool AH-3 supply", "date": "2025-02-18", "work": "greased", "note": "PM route"},
    {
        **{"fan": "Hopper Science LEF-2", "date": "2025-02-20", "time": "10:00", "work": "inspected"},
        **{"motor_rpm": "1513", "fan_rpm": "1130", "note": "strobe at hood certification"},
    },
    {
        **{"fan": "Hopper Science LEF-1", "date": "2025-02-20", "time": "10:15", "work": "inspected"},
        **{"motor_rpm": "1521", "fan_rpm": "1135", "note": "strobe at hood certification"},
    },
    {"fan": "Hopper Science LEF-3", "date": "2025-04-08", "work": "inspected", "note": "flow switch tested"},
    {
        **{"fan": "Alder RF-1 return", "date": "2025-06-11", "time": "10:20", "work": "retensioned"},
        "note": "belts were slack; classes upstairs said the rooms felt stuffy",
    },
    {
        **{"fan": "Alder RF-1 return", "date": "2025-06-13", "time": "10:00", "work": "inspected"},
        **{"motor_rpm": "1505", "fan_rpm": "804", "note": "belts rechecked after run-in"},
    },
    {
        **{"fan": "Glass House SF-1", "date": "2025-06-19", "time": "09:40", "work": "retensioned"},
        "note": "squeal at start; sheave grooves shiny",
    },
    {
        **{"fan": "Alder AH-1 supply", "date": "2025-07-04", "time": "10:05", "work": "filter_changed"},
        "note": "whole bank",
    },
)
