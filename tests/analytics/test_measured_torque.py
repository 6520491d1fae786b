"""Motor torque from a reading of load: the model's own load read backwards, and the nameplate point."""

import numpy as np
import pytest

from analytics.curves import HealthyCurves
from analytics.measured_torque import measured_torque
from analytics.model import INDEX, SIZE, LoadKind, Operating, Parameter, expect
from analytics.scaled_hours import Channels

RATED_SLIP = 0.03


def curves(kind: LoadKind, **fitted: float) -> HealthyCurves:
    mean = np.zeros(SIZE)
    values = {
        Parameter.PRESSURE_SLOPE: -0.5,
        Parameter.TORQUE_LEVEL: np.log(0.7),
        Parameter.TORQUE_SLOPE: 0.4,
        Parameter.FRICTION: 0.02,
        Parameter.NO_LOAD_CURRENT: 0.4,
        Parameter.FLUX_EXPONENT: 0.6,
        Parameter.SLIP_STEEPNESS: -1.3,
    }
    for name, value in {**values, **{Parameter(key): value for key, value in fitted.items()}}.items():
        mean[INDEX[name]] = value
    nothing = np.zeros((2, 2))
    channels = Channels(kind, True, True, False, False, False, False, False)
    return HealthyCurves(
        channels=channels, mean=mean, covariance=np.zeros((SIZE, SIZE)), hour_covariance=nothing,
        day_covariance=nothing, airflow_scale_m3s=1.0, pressure_scale_pa=1.0, pressure_sign=1.0,
        rated_slip=RATED_SLIP, reference_torque=0.7, least_x=0.1, greatest_x=2.0, least_speed=0.1,
        greatest_speed=1.2, stopped_pressure_pa=(np.nan, np.nan), stopped_airflow_m3s=(np.nan, np.nan),
        wheel_ratio=np.nan, hours=100, days=20, airflow_noise=0.03, pressure_cv_rmse=0.0,
        load_cv_rmse=0.0, pressure_nmbe=0.0, load_nmbe=0.0,
    )  # fmt: skip


@pytest.mark.parametrize("kind", [LoadKind.CURRENT, LoadKind.POWER, LoadKind.TORQUE])
@pytest.mark.parametrize("load_exponent", [0.0, 0.08, -0.03])
def test_it_reads_the_models_load_backwards(kind: LoadKind, load_exponent: float) -> None:
    healthy = curves(kind, load_exponent=load_exponent)
    speed = np.linspace(0.45, 1.05, 13)[None]
    ones = np.ones_like(speed)
    hours = Operating(speed, 0.9 * speed, ones, ones, ones, ones.astype(bool))
    expected = expect(healthy.mean[None], healthy.plant, hours)
    torque, motor_speed = measured_torque(expected.load[0], speed[0], healthy)
    np.testing.assert_allclose(torque, expected.torque[0], rtol=2e-4)
    np.testing.assert_allclose(motor_speed, expected.motor_speed[0], rtol=2e-4)


def test_rated_current_at_rated_frequency_is_rated_torque_at_nameplate_speed() -> None:
    # By definition of the nameplate: 1.0 of rated current is 1.0 of rated torque, speed less rated slip.
    torque, motor_speed = measured_torque(np.array([1.0]), np.array([1.0]), curves(LoadKind.CURRENT))
    assert torque[0] == pytest.approx(1.0, abs=1e-9)
    assert motor_speed[0] == pytest.approx(1.0 - RATED_SLIP, abs=1e-9)


def test_the_no_load_current_is_no_torque() -> None:
    torque, motor_speed = measured_torque(np.array([0.4]), np.array([1.0]), curves(LoadKind.CURRENT))
    assert torque[0] == pytest.approx(0.0, abs=1e-6)
    assert motor_speed[0] == pytest.approx(1.0, abs=1e-6)


def test_without_a_reading_of_load_there_is_no_torque() -> None:
    torque, _ = measured_torque(np.array([np.nan]), np.array([0.8]), curves(LoadKind.NONE))
    assert np.isnan(torque).all()
