"""The check figure at other commands than the usual one: what slips there, by the law of slip."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.model import INDEX, Operating, Parameter, expect
from config.folder import SiteFolder
from service.store.check_figure import CheckFigure
from service.store.power import HealthyFit, healthy_fit, motor_hours
from service.store.store import Store

# Those of a step test: a visit may do both at once.
COMMANDS: Final = (0.40, 0.55, 0.70, 0.85, 1.00)
_LEAST_SLIP: Final = 1e-4


@dataclass(frozen=True, slots=True)
class CommandFigure:
    """What to read at one command: `command_fraction` of the base frequency, speeds in rpm."""

    command_fraction: float
    motor_rpm: float
    tight_rpm: float
    inferred_rpm: float
    lowest_rpm: float
    highest_rpm: float


def command_figures(
    site: SiteFolder, store: Store, fan: str, usual: CheckFigure, most_fraction: float = 1.0
) -> tuple[CommandFigure, ...]:
    """Return the figures at five commands, from two fifths of the greatest one up to it.

    The slip of the usual command is carried to another torque by the model's law of slip, and the torque
    to another speed by the square of it, as the fan's system has it; empty without healthy curves.
    """
    fit = healthy_fit(site, store, fan, usual.date)
    if fit is None:
        return ()
    hours = motor_hours(site, store, fan, usual.date, usual.date, fit)
    if not hours.count:
        return ()
    commands = np.array([usual.command_fraction, *(most_fraction * part for part in COMMANDS)])
    motor_speed, creep, slip = _by_command(fit, commands, usual)
    motor = usual.motor_rpm * motor_speed / motor_speed[0]
    without_slip = motor * usual.ratio.value
    usual_turned = usual.motor_rpm * usual.ratio.value

    def rpm(of_usual: float) -> Floats:
        """Carry a wheel speed of the usual command to the others: less creep and slip as they change."""
        lost = 1.0 - of_usual / usual_turned
        share = (creep + slip) / max(float(creep[0] + slip[0]), _LEAST_SLIP)
        return np.asarray(without_slip * (1.0 - lost * share))

    tight_lost = 1.0 - usual.tight_rpm / usual_turned
    tight = without_slip * (1.0 - tight_lost * creep / max(float(creep[0]), _LEAST_SLIP))
    columns = (commands, motor, tight, rpm(usual.inferred_rpm), rpm(usual.lowest_rpm), rpm(usual.highest_rpm))
    return tuple(CommandFigure(*(float(column[i]) for column in columns)) for i in range(1, len(commands)))


def _by_command(fit: HealthyFit, commands: Floats, usual: CheckFigure) -> tuple[Floats, Floats, Floats]:
    """Return motor speed, creep and belt slip at each command, at the airflow the system passes there."""
    theta = fit.curves.mean.copy()
    at_reference = 1.0 - usual.reference_ratio / usual.ratio.value
    theta[INDEX[Parameter.SLIP]] = max(at_reference - theta[INDEX[Parameter.CREEP]], 0.0)
    ones = np.ones((1, len(commands)))
    # At the usual place on the curve, x = 1 by the scale, airflow follows speed.
    hours = Operating(commands[None], commands[None], ones, ones, ones, ones.astype(bool))
    found = expect(theta[None], fit.curves.plant, hours)
    creep = theta[INDEX[Parameter.CREEP]] * found.load_ratio[0]
    return found.motor_speed[0], np.asarray(creep), found.slip[0]
