"""The check figure in words, the same in mails, on pages and on the round's sheets."""

from typing import Final

from analytics.vocabulary import AlertKind
from service.store.check_figure import CheckFigure, NoCheckFigure
from service.store.fleet import FanStanding

_TELLING_SHARE: Final = 0.005


def figure_words(figure: CheckFigure | NoCheckFigure, fan: FanStanding) -> str:
    """Write the check figure: what to read at the wheel, one minute with a tachometer, guard on."""
    if isinstance(figure, NoCheckFigure):
        return f"None: {figure.missing} is missing."
    percent, hz = 100.0 * figure.command_fraction, figure.command_fraction * figure.base_hz
    at = f"At {percent:.0f} % command ({hz:.1f} Hz) the motor turns near {figure.motor_rpm:,.0f} rpm"
    rests = f"Rests on {figure.ratio.rests_on}."
    if any(alert.kind is AlertKind.DRIVE_LOST for alert in fan.alerts):
        said = (
            f"{at}; a tight drive would turn the wheel at {figure.tight_rpm:,.0f} rpm, a lost one not at all."
        )
        return f"{said} {rests}"
    if not figure.can_slip:
        said = (
            f"{at} and must turn the wheel at {figure.tight_rpm:,.0f} rpm; less is a loose wheel, key or hub."
        )
        return f"{said} One minute with a tachometer, guard on. {rests}"
    if figure.tight_rpm - figure.inferred_rpm < _TELLING_SHARE * figure.tight_rpm:
        return (
            f"{at} and the wheel at {figure.tight_rpm:,.0f} rpm if the belt is tight, which it seems to be: "
            f"a wheel clearly slower ({figure.lowest_rpm:,.0f} or less) would say that it is the belt after "
            f"all. One minute with a tachometer on both shafts, guard on. {rests}"
        )
    span = f"{figure.lowest_rpm:,.0f} to {figure.highest_rpm:,.0f}"
    return (
        f"{at}; a tight drive turns the wheel at {figure.tight_rpm:,.0f} rpm, at the inferred slip it turns "
        f"at {figure.inferred_rpm:,.0f} ({span}). One minute with a tachometer on both shafts, guard on. At "
        f"another command divide wheel by motor: {figure.tight_ratio:.3f} is tight, "
        f"{figure.inferred_ratio:.3f} as inferred there, {figure.reference_ratio:.3f} as inferred at the "
        f"reference torque: the harder it works, the more it shows. {rests}"
    )
