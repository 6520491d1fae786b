"""The fans where the college eats, swims, gardens and builds boats."""

from demo_trends.campus_record import ALL, CampusFan, bearing, belt, where
from demo_trends.faults import Fault
from demo_trends.plan import Control, Duct

TABLE = (
    CampusFan(
        "Long Table KEF-1",
        "LTB.KEF1",
        "Long Table Hall",
        "backward_inclined",
        "v_belt",
        5,
        7_200,
        2.2,
        1120,
        "exhaust",
        "kitchen",
        Control("scheduled", day_command=0.92, night_command=0.7),
        Duct(near_share=0.12, path_share=0.2, wander=0.015, demand_share=0.15),
        where("Roof, above the kitchen", "Roof hatch by the bakery", "Kitchen hoods", 10, "critical")
        | belt("A", "A56", 2, 19, adjustable=True)
        | bearing(40),
        roles=(*ALL, "run_status"),
        moves="room",
        faults=(Fault("lost", 185.56, 1.0, "step"),),
        cause="drive_lost",
        note="the belts come off on 24 July at 13:26",
    ),
    CampusFan(
        "Long Table MUA-2",
        "LTB.MUA2",
        "Long Table Hall",
        "forward_curved",
        "v_belt",
        3,
        6_200,
        1.4,
        820,
        "supply",
        "kitchen",
        Control("scheduled", day_command=0.9, night_command=0.7),
        Duct(near_share=0.4, path_share=0.2, wander=0.015, demand_share=0.15),
        where("Roof, above the servery", "Roof hatch by the bakery", "Kitchen make-up air", 11)
        | belt("A", "A60", 1, 20, adjustable=True)
        | bearing(35),
        moves="outdoor",
        flux_law="constant",
    ),
)

POOL = (
    CampusFan(
        "Heron Pool AH-3 supply",
        "POL.AH3.SF",
        "Heron Pool",
        "airfoil",
        "cogged_belt",
        15,
        15_000,
        3.2,
        1060,
        "supply",
        "pool",
        Control("flow", min_flow=0.5, max_flow=0.95),
        Duct(near_share=0.38, path_share=0.2, held_share=0.2, wander=0.015),
        where("Pool plant room", "Through the filter gallery; wet floor", "Pool hall", 12, "critical")
        | belt("BX", "BX85", 3, 28)
        | bearing(60),
        roles=("speed", "current", "power", "airflow", "pressure"),
        faults=(Fault("drag", 95, 0.056, "ramp", 92),),
        cause="drag",
        note="fan bearings drag more and more from 25 April",
    ),
    CampusFan(
        "Heron Pool EF-4",
        "POL.EF4",
        "Heron Pool",
        "axial",
        "direct",
        3,
        9_000,
        0.95,
        1090,
        "exhaust",
        "pool",
        Control("scheduled", day_command=0.9, night_command=0.68),
        Duct(near_share=0.15, path_share=0.2, wander=0.015, demand_share=0.2),
        where("Pool hall gable", "Scissor lift only", "Pool hall", 13) | bearing(30, lubrication="sealed"),
        moves="room",
        poles=6,
    ),
)

GLASSHOUSE = (
    CampusFan(
        "Glass House SF-1",
        "GLS.SF1",
        "Glass House",
        "backward_inclined",
        "v_belt",
        5,
        9_500,
        1.9,
        960,
        "supply",
        "glasshouse",
        Control("scheduled", day_command=0.93, night_command=0.62),
        Duct(near_share=0.3, path_share=0.25, wander=0.02, demand_share=0.25),
        where("Potting shed loft", "Loft ladder; mind the citrus", "Palm house and fernery", 14)
        | belt("B", "B72", 1, 24, adjustable=True)
        | bearing(45),
        flux_law="constant",
        faults=(Fault("slip", 68, 0.065, "growing", 92, end_day=150.40, left=0.85),),
        stopped_spans=((150.38, 150.42),),
        cause="belt_slip",
        note="glazed belt slips from 29 March; retensioned on 19 June without much help",
    ),
    CampusFan(
        "Glass House EF-3",
        "GLS.EF3",
        "Glass House",
        "axial",
        "direct",
        3,
        10_500,
        0.8,
        1100,
        "exhaust",
        "glasshouse",
        Control("scheduled", day_command=0.92, night_command=0.6),
        Duct(near_share=0.15, path_share=0.2, wander=0.02, demand_share=0.25),
        where("Palm house ridge", "Ridge gantry", "Palm house", 15) | bearing(30, lubrication="sealed"),
        moves="room",
        poles=6,
    ),
)

BOATHOUSE = (
    CampusFan(
        "Boat House DC-1 dust",
        "BOAT DC-1",
        "Boat House",
        "radial",
        "v_belt",
        5,
        2_400,
        5.6,
        2050,
        "exhaust",
        "workshop",
        Control("constant"),
        Duct(near_share=0.1, path_share=0.25, demand_share=0.2),
        where("Lean-to behind the shop", "Outside door; key B1", "Boat workshop dust hoods", 16)
        | belt("A", "A48", 2, 16)
        | bearing(40),
        roles=("current", "airflow", "pressure"),
        moves="room",
        interval_minutes=60,
    ),
    CampusFan(
        "Boat House SF-2",
        "BOAT SF-2",
        "Boat House",
        "forward_curved",
        "cogged_belt",
        2,
        4_000,
        1.1,
        760,
        "supply",
        "workshop",
        Control("scheduled", day_command=0.92, night_command=0.65),
        Duct(near_share=0.35, path_share=0.2, wander=0.015, demand_share=0.15),
        where("Loft over the shell racks", "Stair from the slip", "Workshop and erg room", 17)
        | belt("AX", "AX51", 1, 17, adjustable=True)
        | bearing(30),
        flux_law="constant",
        interval_minutes=60,
    ),
)
