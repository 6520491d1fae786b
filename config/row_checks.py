"""What cannot be right when the cells of one row of fans.csv are held together."""

from collections.abc import Iterator
from typing import Final

from analytics.vocabulary import MotorType, Role
from config.fans import FanRow
from config.faults import Fault
from config.motor import LARGEST_RATED_SLIP, base_frequency_hz, rated_slip
from config.site import WATCH_AND_ACT, Site, watch_above_act
from config.units import HORSEPOWER_W
from config.unread import as_far_as_read

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


_Found = tuple[str, str | None, str, str]


def row_faults(row: FanRow, line: int, site: Site) -> list[Fault]:
    """Return every fault that no cell has alone, as far as the row's cells and the site could be read."""
    alone = (_fact_faults, _no_load_faults, _nameplate_speed_faults, _rated_current_faults, _point_faults)
    found = [said for rule in alone for said in as_far_as_read(rule, row)]
    found += [said for name in ("zero_hz", "min_hz") for said in as_far_as_read(_frequency_faults, row, name)]
    for watch, act in WATCH_AND_ACT:
        found += as_far_as_read(_limit_faults, row, site, watch, act)
    found += as_far_as_read(_baseline_faults, row)
    found += as_far_as_read(_current_unit_faults, row, site)
    found += as_far_as_read(_speed_unit_faults, row, site)
    return [Fault(FILE, line, column, value, problem, remedy) for column, value, problem, remedy in found]


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


def _no_load_faults(row: FanRow) -> Iterator[_Found]:
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


def _nameplate_speed_faults(row: FanRow) -> Iterator[_Found]:
    if row.motor_rpm is not None and row.motor_type is MotorType.INDUCTION:
        motor_hz = row.motor_hz or base_frequency_hz(row.motor_rpm, row.motor_volts)
        slip = rated_slip(row.motor_rpm, motor_hz, row.motor_type)
        if slip > LARGEST_RATED_SLIP or slip < 0.0:
            problem = f"fits no motor at {motor_hz:g} Hz (motor slip {100 * slip:.0f} %)"
            yield "motor_rpm", f"{row.motor_rpm:g}", problem, "write the nameplate's rpm, and motor_hz"


def _rated_current_faults(row: FanRow) -> Iterator[_Found]:
    if row.motor_fla is not None and row.motor_volts is not None:
        power_w = HORSEPOWER_W * row.motor_hp if row.motor_hp else 1000.0 * (row.motor_kw or 0.0)
        ratio = row.motor_fla * row.motor_volts * 3**0.5 / power_w if power_w else 1.0
        low, high = _PLAUSIBLE_CURRENT_RATIO
        if not low <= ratio <= high:
            problem = f"does not fit the motor's power at {row.motor_volts:g} V"
            remedy = "write the full-load amperes of one motor at motor_volts, and that motor's rated output"
            yield "motor_fla", f"{row.motor_fla:g}", problem, remedy


def _frequency_faults(row: FanRow, column: str) -> Iterator[_Found]:
    top = row.max_hz or row.motor_hz or base_frequency_hz(row.motor_rpm, row.motor_volts)
    value = getattr(row, column)
    if value is not None and value >= top:
        yield column, f"{value:g}", f"is not below max_hz ({top:g})", "exchange or correct them"


def _limit_faults(row: FanRow, site: Site, watch: str, act: str) -> Iterator[_Found]:
    own = [name for name in (watch, act) if getattr(row, name) is not None]
    limits = [getattr(row if name in own else site.limits_table, name) for name in (watch, act)]
    if own and limits[0] > limits[1]:
        yield own[0], None, *watch_above_act(watch, act)


def _baseline_faults(row: FanRow) -> Iterator[_Found]:
    first, last = row.baseline_from, row.baseline_to
    if (first is None) != (last is None):
        blank = "baseline_from" if first is None else "baseline_to"
        remedy = "write both dates of the healthy period, or neither"
        yield blank, None, "is blank where its other date is given", remedy
    if first is not None and last is not None and last < first:
        yield "baseline_to", str(last), f"is before baseline_from ({first})", "exchange the dates"


def _current_unit_faults(row: FanRow, site: Site) -> Iterator[_Found]:
    is_scale_known = row.current_full_scale is not None or row.motor_fla is not None
    if row.current_point is None or is_scale_known:
        return
    if (row.current_unit or site.units.of(Role.CURRENT)) == "percent":
        remedy = "fill in motor_fla, or current_full_scale with the amperes of 100 %"
        yield "current_point", row.current_point, "is in percent and nothing says of what", remedy


def _speed_unit_faults(row: FanRow, site: Site) -> Iterator[_Found]:
    if row.speed_point is None or row.motor_rpm is not None:
        return
    if (row.speed_unit or site.units.of(Role.SPEED)) == "rpm":
        remedy = "write the nameplate's rpm; a speed in rpm is read against it"
        yield "motor_rpm", None, "is blank and speed is in rpm", remedy


def _point_faults(row: FanRow) -> Iterator[_Found]:
    seen: dict[str, Role] = {}
    for role in Role:
        point = row.point(role)
        if point is not None and point in seen:
            remedy = "a point has one meaning: keep it under one of them"
            yield f"{role}_point", point, f"is also {seen[point]}_point of this fan", remedy
        if point is not None:
            seen.setdefault(point, role)
