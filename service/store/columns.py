"""The columns of the readings table: what one row of it may say."""

from typing import Final

import pyarrow as pa

from analytics.vocabulary import Role

# A fan's reading, in SI, by the role of the point it came from.
ROLE_COLUMNS: Final[dict[Role, str]] = {
    Role.SPEED: "speed_fraction",
    Role.CURRENT: "current_a",
    Role.POWER: "power_w",
    Role.TORQUE: "torque_fraction",
    Role.AIRFLOW: "airflow_m3s",
    Role.PRESSURE: "pressure_pa",
    Role.AIR_TEMPERATURE: "air_temperature_c",
    Role.RUN_STATUS: "run_status",
    Role.MOTOR_SPEED: "motor_speed_rpm",
    Role.WHEEL_SPEED: "wheel_speed_rpm",
    Role.OUTDOOR_AIR_DAMPER: "outdoor_air_damper_fraction",
}
SITE_FAN: Final = ""  # the rows of the site's own points carry this name
OUTDOOR_TEMPERATURE: Final = "outdoor_temperature_c"
BAROMETRIC_PRESSURE: Final = "barometric_pressure_pa"
VALUE_COLUMNS: Final = (*ROLE_COLUMNS.values(), OUTDOOR_TEMPERATURE, BAROMETRIC_PRESSURE)

# What orders conflicting values: newest record of the export, the time its source gave, its digest.
RANK_NEWEST: Final = "rank_newest"
RANK_MODIFIED: Final = "rank_modified"
RANK_SHA256: Final = "rank_sha256"
RANK_COLUMNS: Final = (RANK_NEWEST, RANK_MODIFIED, RANK_SHA256)

FAN: Final = "fan"
TIME: Final = "time"
MONTH: Final = "month"
TIME_TYPE: Final = pa.timestamp("us", tz="UTC")

READINGS_SCHEMA: Final = pa.schema(
    [
        pa.field(FAN, pa.string(), nullable=False),
        pa.field(TIME, TIME_TYPE, nullable=False),
        *(pa.field(name, pa.float64()) for name in VALUE_COLUMNS),
        pa.field(RANK_NEWEST, pa.int64(), nullable=False),
        pa.field(RANK_MODIFIED, pa.int64(), nullable=False),
        pa.field(RANK_SHA256, pa.string(), nullable=False),
        pa.field(MONTH, pa.string(), nullable=False),
    ]
)
