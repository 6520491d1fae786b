"""All power of a motor whose drive is lost is excess: the line's where it is trended, else the shaft's."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.arrays import Bools, Floats
from analytics.lost_power import lost_power_kw
from analytics.machine import Machine
from analytics.model import LoadKind
from analytics.scaled_hours import ScaledHours
from analytics.vocabulary import Drive
from tests.analytics.planted import planted_curves

MACHINE = Machine(drive=Drive.V_BELT, motor_rated_power_w=10_000.0)
CURVES = planted_curves()
LINE_W = np.array([400.0, 500.0, np.nan])
IS_LOST = np.array([False, True, True])


def hours(load: Floats, speed: Floats) -> ScaledHours:
    blank = np.full(len(load), np.nan)
    is_steady: Bools = np.ones(len(load), dtype=bool)
    return ScaledHours(speed, blank, np.ones(len(load)), blank, load, is_steady, blank, blank, blank)


def test_the_lines_power_is_taken_as_it_is_read() -> None:
    curves = replace(CURVES, channels=replace(CURVES.channels, has_line_power=True))
    told = lost_power_kw(hours(np.full(3, 0.3), np.ones(3)), LINE_W, IS_LOST, curves, MACHINE)
    np.testing.assert_array_equal(told, [np.nan, 0.5, np.nan])


def test_a_torque_is_power_by_the_speed_it_is_given_at() -> None:
    curves = replace(
        CURVES,
        rated_slip=0.0,
        channels=replace(CURVES.channels, load_kind=LoadKind.TORQUE, has_line_power=False),
    )
    curves = replace(curves, mean=np.zeros_like(curves.mean))
    load, speed = np.array([0.5, 0.02, np.nan]), np.array([1.0, 0.6, 0.6])
    told = lost_power_kw(hours(load, speed), LINE_W, IS_LOST, curves, MACHINE)
    assert told[1] == pytest.approx(0.02 * 0.6 * 10.0, rel=1e-9)
    assert np.isnan(told[[0, 2]]).all()


def test_a_current_below_idle_is_no_power() -> None:
    curves = replace(
        CURVES, channels=replace(CURVES.channels, load_kind=LoadKind.CURRENT, has_line_power=False)
    )
    told = lost_power_kw(hours(np.full(3, 0.01), np.ones(3)), LINE_W, IS_LOST, curves, MACHINE)
    np.testing.assert_array_equal(told, [np.nan, 0.0, 0.0])
