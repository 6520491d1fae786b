"""A day's row says what it cannot tell apart."""

from dataclasses import replace

import pytest

from analytics.vocabulary import Cause
from service.assess.rows import verdict_words
from tests.analytics.planted import planted_curves

CURVES = planted_curves()
AT_ONE_SPEED = replace(CURVES, least_speed=0.99, greatest_speed=1.01)


@pytest.mark.parametrize("cause", [Cause.BELT_SLIP, Cause.WHEEL])
def test_a_belt_and_a_wheel_at_one_speed_are_told_with_what_decides(cause: Cause) -> None:
    said = verdict_words(cause, (cause,), AT_ONE_SPEED)
    assert "a slipping belt and a fouled wheel look much the same here" in said
    assert said.endswith("a tachometer reading of motor and wheel decides")


def test_where_the_speed_varies_or_the_wheel_is_read_the_readings_decide() -> None:
    read = replace(AT_ONE_SPEED, channels=replace(CURVES.channels, has_wheel_speed=True))
    assert not CURVES.is_at_one_speed
    assert verdict_words(Cause.BELT_SLIP, (Cause.BELT_SLIP,), CURVES) == ""
    assert verdict_words(Cause.BELT_SLIP, (Cause.BELT_SLIP,), read) == ""
    assert verdict_words(Cause.DRAG, (Cause.DRAG,), AT_ONE_SPEED) == ""


def test_an_unclear_day_names_what_looks_the_same() -> None:
    possible = (Cause.DRAG, Cause.CURRENT_SENSOR)
    assert (
        verdict_words(Cause.UNCLEAR, possible, AT_ONE_SPEED) == "looks the same here: drag or current_sensor"
    )
