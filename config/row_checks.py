"""What cannot be right when the cells of one row of fans.csv are held together."""

from collections.abc import Iterator
from typing import Final

from analytics.vocabulary import MotorType, Role
from config.fans import FanRow
from config.faults import Fault
from config.motor import LARGEST_RATED_SLIP, base_frequency_hz, rated_slip
from config.units import HORSEPOWER_W

FILE: Final = "fans.csv"
_SAME_FACT: Final = (
    ("motor_hp", "motor_kw"),
    ("design_airflow_cfm", "design_airflow_m3s", "design_airflow_ls", "design_airflow_m3h"),
    ("design_pressure_inwg", "design_pressure_pa"),
    ("motor_sheave_mm", "motor_sheave_in"),
    ("fan_sheave_mm", "fan_sheave_in"),
    ("centre_distance_mm", "centre_distance_in"),
)
# Rated current over what power and volts imply, three-phase at unit power factor and efficiency. Real
# nameplates lie between 1.1 and 2.5 (small motors), single-phase ones up to 3.5: outside is a typing error.
_PLAUSIBLE_CURRENT_RATIO: Final = (0.6, 6.0)


def row_faults(row: FanRow, line: int) -> list[Fault]:
    """Return every fault that no cell has alone."""
    found = [*_fact_faults(row), *_motor_faults(row), *_frequency_faults(row), *_point_faults(row)]
    return [Fault(FILE, line, column, value, problem, remedy) for column, value, problem, remedy in found]


_Found = tuple[str, str | None, str, str]


def _fact_faults(row: FanRow) -> Iterator[_Found]:
    for columns in _SAME_FACT:
        given = [column for column in columns if getattr(row, column) is not None]
        if len(given) > 1:
            yield given[1], None, f"says again what {given[0]} says", "keep one of the two"
    if row.motor_hp is None and row.motor_kw is None:
        yield (
            "motor_hp",
            None,
            "is blank and so is motor_kw",
            "write the motor's rated shaft output in one of them",
        )
    if not any(row.point(role) for role in Role):
        remedy = "name at least one; 'slipledger points SITE' lists those the exports hold"
        yield "speed_point", None, "is blank and so is every other point", remedy


def _motor_faults(row: FanRow) -> Iterator[_Found]:
    if row.motor_no_load_a == 0.0 and row.motor_type is MotorType.INDUCTION:
        remedy = "write the current measured with the belts off, or leave it blank"
        yield "motor_no_load_a", "0", "is no induction motor's no-load current", remedy
    if row.motor_no_load_a is not None and row.motor_fla is not None and row.motor_no_load_a >= row.motor_fla:
        remedy = "write the current with the belts off here and the nameplate's under motor_fla"
        yield (
            "motor_no_load_a",
            f"{row.motor_no_load_a:g}",
            f"is not below motor_fla ({row.motor_fla:g})",
            remedy,
        )
    if row.motor_rpm is not None and row.motor_type is MotorType.INDUCTION:
        motor_hz = row.motor_hz or base_frequency_hz(row.motor_rpm, row.motor_volts)
        slip = rated_slip(row.motor_rpm, motor_hz, row.motor_type)
        if slip > LARGEST_RATED_SLIP or slip < 0.0:
            problem = f"fits no motor at {motor_hz:g} Hz (motor slip {100 * slip:.0f} %)"
            yield "motor_rpm", f"{row.motor_rpm:g}", problem, "write the nameplate's rpm, and motor_hz"
    if row.motor_fla is not None and row.motor_volts is not None:
        power_w = HORSEPOWER_W * row.motor_hp if row.motor_hp else 1000.0 * (row.motor_kw or 0.0)
        ratio = row.motor_fla * row.motor_volts * 3**0.5 / power_w if power_w else 1.0
        low, high = _PLAUSIBLE_CURRENT_RATIO
        if not low <= ratio <= high:
            problem = f"does not fit the motor's power at {row.motor_volts:g} V"
            remedy = "write the full-load amperes of one motor at motor_volts, and that motor's rated output"
            yield "motor_fla", f"{row.motor_fla:g}", problem, remedy


def _frequency_faults(row: FanRow) -> Iterator[_Found]:
    top = row.max_hz or row.motor_hz or base_frequency_hz(row.motor_rpm, row.motor_volts)
    for column in ("zero_hz", "min_hz"):
        value = getattr(row, column)
        if value is not None and value >= top:
            yield column, f"{value:g}", f"is not below max_hz ({top:g})", "exchange or correct them"


def _point_faults(row: FanRow) -> Iterator[_Found]:
    seen: dict[str, Role] = {}
    for role in Role:
        point = row.point(role)
        if point is not None and point in seen:
            remedy = "a point has one meaning: keep it under one of them"
            yield f"{role}_point", point, f"is also {seen[point]}_point of this fan", remedy
        if point is not None:
            seen.setdefault(point, role)
