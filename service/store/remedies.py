"""What may be done about a drive, what each costs and saves, and what to mind."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from analytics.motor import poles_for, synchronous_rpm
from analytics.vocabulary import Drive, SpeedControl
from config.epoch import FanEpoch
from config.money import Prices
from service.store.costs import FanCost, Figure

_BELTS_IF_UNKNOWN: Final = 1
_KILOWATT: Final = 1000.0
# Beyond this no payback is told: fans and people change. Common practice, no source.
LIFE_YEARS: Final = 30.0
_SPEED_CHANGES: Final = (
    "size the sheaves by the wheel speed measured now, tight, not by the old sheaves: without slip the "
    "same ratio "
    "turns the wheel faster, and power goes with the cube of speed: check motor amps and the fan's class"
)
_STATIC: Final = "where the air may burn or hold dust, static-conducting belts only"
_POLE_PAIRS: Final = (1, 2, 3, 4)
_NEAR_SPEED: Final = 0.03


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing that may be done: what it costs, what it saves a year, its payback, and what to mind.

    `price` and `money` in the site's currency; `payback_years` None where it does not pay within the
    interval's centre; its high bound is infinite where the low saving is none.
    """

    name: str
    price: Figure
    energy_kwh: Figure
    money: Figure
    payback_years: Figure | None
    notes: tuple[str, ...]

    @property
    def payback_words(self) -> str:
        """The payback in years with its interval; a payback beyond a machine's life is said to be none."""
        if self.payback_years is None or self.payback_years.centre > LIFE_YEARS:
            return f"none within {LIFE_YEARS:.0f}"
        span = self.payback_years
        longest = f"{span.high:.1f}" if span.high <= LIFE_YEARS else f"over {LIFE_YEARS:.0f}"
        return f"{span.centre:.1f} ({max(span.low, 0.0):.1f} to {longest})"


def remedies_of(epoch: FanEpoch, cost: FanCost, prices: Prices) -> tuple[Remedy, ...]:
    """Return what may be done about a fan's drive, in order of effort.

    What puts the old drive in order saves what slip above an ordinary belt's creep costs, for as long as it
    stays in order; another drive saves that and the difference of both kinds' healthy losses, by the
    published curves at the fan's own loads.
    """
    drive = epoch.machine.drive
    if drive is Drive.DIRECT:
        return ()
    return tuple(
        _remedy(name, price, saving, cost, prices, notes)
        for name, price, saving, notes in _options(epoch, cost, prices)
    )


_Option = tuple[str, float, Figure, tuple[str, ...]]


def _options(epoch: FanEpoch, cost: FanCost, prices: Prices) -> Iterator[_Option]:
    machine = epoch.machine
    drive = machine.drive
    belts = epoch.belt_count or _BELTS_IF_UNKNOWN
    change = prices.belt_change_hours * prices.labour_per_hour
    kilowatts = machine.motor_rated_power_w * machine.motor_count / _KILOWATT
    each = prices.cogged_belt_each if drive is Drive.COGGED_BELT else prices.belt_each
    unsure = () if epoch.belt_count else ("the number of belts is not in fans.csv: priced for one",)
    slip = cost.slip_kwh
    if drive.can_slip:
        retension = prices.retension_hours * prices.labour_per_hour
        fresh = ("recheck after 24 to 48 h of running", "after it the fan draws more at the same command")
        yield "retension", retension, slip, fresh
        yield "new belts", change + belts * each, slip, (*fresh, "all of a drive as one matched set", *unsure)
    if drive is Drive.V_BELT:
        saving = _sum(slip, cost.cogged_kwh)
        price = change + belts * prices.cogged_belt_each
        yield (
            "cogged belts",
            price,
            saving,
            ("they run in the same sheaves if the grooves are not worn", *unsure),
        )
    if drive.can_slip and not epoch.belt_tensioner:
        note = "saves what slip costs for as long as it is kept, and the visits to retension"
        yield "automatic tensioner", prices.tensioner + change, slip, (note,)
    if drive.can_slip:
        price = prices.synchronous_base + prices.synchronous_per_kw * kilowatts
        price += prices.drive_change_hours * prices.labour_per_hour
        yield "synchronous belt", price, _sum(slip, cost.synchronous_kwh), _synchronous_notes(epoch)
    price = prices.direct_base + prices.direct_per_kw * kilowatts
    price += prices.drive_change_hours * prices.labour_per_hour
    yield "direct drive", price, _sum(slip, cost.direct_kwh), _direct_notes(epoch)


def _remedy(
    name: str, price: float, saving: Figure, cost: FanCost, prices: Prices, notes: tuple[str, ...]
) -> Remedy:
    away = prices.uncertainty_pct / 100.0
    priced = Figure(price, price * (1.0 - away), price * (1.0 + away))
    money = Figure(*(cost.mean_price * part for part in (saving.centre, saving.low, saving.high)))
    return Remedy(name, priced, saving, money, _payback(priced, money), notes)


def _payback(price: Figure, money: Figure) -> Figure | None:
    if money.centre <= 0.0:
        return None
    longest = price.high / money.low if money.low > 0.0 else math.inf
    return Figure(price.centre / money.centre, price.low / money.high, longest)


def _sum(one: Figure, other: Figure) -> Figure:
    centre = one.centre + other.centre
    below = math.hypot(one.centre - one.low, other.centre - other.low)
    above = math.hypot(one.high - one.centre, other.high - other.centre)
    return Figure(centre, centre - below, centre + above)


def _synchronous_notes(epoch: FanEpoch) -> tuple[str, ...]:
    notes = [_SPEED_CHANGES, *_class_note(epoch)]
    if epoch.machine.speed_control in (
        SpeedControl.CONSTANT,
        SpeedControl.INLET_VANES,
        SpeedControl.TWO_SPEED,
    ):
        notes.append(
            "this motor starts across the line: a toothed belt takes the whole jerk; ask for a soft start"
        )
    notes += [
        _STATIC,
        "louder than a V-belt; alignment within 0.3 degrees; it does not slip when a wheel jams",
    ]
    return tuple(notes)


def _direct_notes(epoch: FanEpoch) -> tuple[str, ...]:
    machine = epoch.machine
    notes = list(_class_note(epoch))
    wheel = machine.design_wheel_rpm
    if wheel is None or machine.motor_rpm is None:
        notes.append(
            "its wheel would turn with the motor: the design wheel speed (design_fan_rpm) is not declared"
        )
    else:
        notes.append(_direct_speed(epoch, wheel, machine.motor_rpm))
    notes.append(
        "a belt stays the better choice where the wheel turns faster than a motor can, where the motor "
        "must stay "
        "out of a hot, wet or fume stream, and where a motor is to be changed in an hour"
    )
    return tuple(notes)


def _direct_speed(epoch: FanEpoch, wheel_rpm: float, motor_rpm: float) -> str:
    machine = epoch.machine
    if machine.speed_control is SpeedControl.VFD:
        hz = machine.motor_hz * wheel_rpm / motor_rpm
        if wheel_rpm > motor_rpm:
            return (
                f"the wheel's design speed of {wheel_rpm:,.0f} rpm is above this motor's "
                f"{motor_rpm:,.0f}: {hz:.0f} "
                "Hz at the drive, with less torque above base frequency, or a motor of fewer poles"
            )
        return (
            f"the design speed of {wheel_rpm:,.0f} rpm would be {hz:.0f} Hz with this motor, which then "
            "must give "
            f"{motor_rpm / wheel_rpm:.1f} times the torque for the same power: a larger one, or one of "
            "more poles"
        )
    poles = [2 * pairs for pairs in _POLE_PAIRS]
    slip = 1.0 - motor_rpm / float(synchronous_rpm(machine.motor_hz, poles_for(motor_rpm, machine.motor_hz)))
    speeds = [float(synchronous_rpm(machine.motor_hz, number)) * (1.0 - slip) for number in poles]
    nearest = min(speeds, key=lambda speed: abs(speed - wheel_rpm))
    if abs(nearest / wheel_rpm - 1.0) <= _NEAR_SPEED:
        return f"a motor of {nearest:,.0f} rpm would turn the wheel near its design {wheel_rpm:,.0f} rpm"
    return (
        f"without a frequency drive the nearest motor turns {nearest:,.0f} rpm, the wheel was designed for "
        f"{wheel_rpm:,.0f}: airflow would change with speed and power with its cube "
        f"({(nearest / wheel_rpm) ** 3:.2f} "
        "times), so that a frequency drive must come with it"
    )


def _class_note(epoch: FanEpoch) -> tuple[str, ...]:
    if epoch.wheel_max_rpm is not None:
        return (f"the wheel's class allows {epoch.wheel_max_rpm:,.0f} rpm at most",)
    return ("the wheel's highest speed (fan_max_rpm) is not declared: read its class plate first",)
