"""What is believed of a fan before its data speak: curve shapes, and how causes come and move.

One table for all sites, with its reasons. Figures without a source are common practice, no source;
they were set from the physics and the trade, not from any simulator.
"""

from dataclasses import dataclass

from analytics.model import Parameter
from analytics.vocabulary import FanType


@dataclass(frozen=True, slots=True)
class CurveShape:
    """Prior mean and standard deviation of the slopes and bends of a fan's two curves.

    Slopes are d ln / d ln x at the usual operating point, bends the coefficients of (x - 1)^2.
    """

    pressure_slope: tuple[float, float]
    pressure_bend: tuple[float, float]
    torque_slope: tuple[float, float]
    torque_bend: tuple[float, float]


# Backward-bladed wheels fall steeply in pressure and are flat in torque near their best point;
# forward-curved wheels are flat in pressure and take torque nearly in proportion to flow; axial
# wheels fall steepest and unload. The spreads cover operation left and right of the best point.
CURVE_SHAPES: dict[FanType, CurveShape] = {
    FanType.FORWARD_CURVED: CurveShape((-0.35, 0.35), (-0.4, 0.6), (0.95, 0.25), (0.1, 0.4)),
    FanType.BACKWARD_INCLINED: CurveShape((-0.9, 0.5), (-0.5, 0.6), (0.3, 0.3), (-0.6, 0.5)),
    FanType.AIRFOIL: CurveShape((-0.9, 0.5), (-0.5, 0.6), (0.3, 0.3), (-0.6, 0.5)),
    FanType.PLENUM: CurveShape((-0.9, 0.5), (-0.5, 0.6), (0.3, 0.3), (-0.6, 0.5)),
    FanType.MIXED_FLOW: CurveShape((-1.1, 0.5), (-0.4, 0.7), (0.1, 0.3), (-0.4, 0.5)),
    FanType.RADIAL: CurveShape((-0.5, 0.35), (-0.35, 0.6), (0.75, 0.25), (-0.1, 0.4)),
    FanType.AXIAL: CurveShape((-1.4, 0.6), (-0.5, 0.9), (-0.35, 0.35), (-0.3, 0.6)),
    FanType.UNKNOWN: CurveShape((-0.9, 0.6), (-0.5, 0.8), (0.35, 0.45), (-0.4, 0.6)),
}

# A duct sensor sees the fan less the path between: coils, filters and duct take 0.2 to 0.7 of the fan's
# pressure; here over what the sensor sees at the usual operating point.
PATH_LOSS = (0.7, 0.7)

# Between fan and sensor stand filters that load: of the squared airflow scale, a day.
PATH_TREND_SD = 0.002

# What the readings cannot move is held this tightly.
PINNED_SD = 1e-5
LEVEL_SD = 0.5

# Where nothing tells the load: fan motors run at two thirds of rated at full speed (common practice).
USUAL_TORQUE = 0.65
FRICTION = (0.02, 0.015)
# Losses of small wheels, leakage beside the magnetising current and a drive's own torque estimate bend
# the load by a few per cent between quarter and full. Published part-load efficiency is that of a motor
# at full flux; what a drive's flux law does to core and copper loss bends it by some per cent either way.
LOAD_EXPONENT = (0.0, 0.025)
LOAD_EXPONENT_POWER = (0.0, 0.06)
# 0 is constant volts per hertz, 1 quadratic or automatic flux; nothing else is built.
FLUX_EXPONENT = (0.5, 0.5)
FLUX_RANGE = (-0.05, 1.2)
# Amps say little of torque below this speed; their spread is widened, not clipped.
WEAK_CURRENT_SPEED = 0.45
# An hour's mean of an airflow station, relative, and how far (in logs) it may be off. Stations in straight
# duct repeat to 2 to 3 per cent, much of it slower than an hour.
AIRFLOW_NOISE = (0.02, 0.6)
# What no healthy period shows: the model is not the fan. Floors of an hour's own and of a day's shared
# error, of pressure and of load.
LEAST_HOUR_SD = (0.004, 0.004)
LEAST_DAY_SD = (0.0025, 0.003)
# A nameplate's motor slip may be off by a fifth (IEC 60034-1 allows 20 per cent above 1 kW).
NAMEPLATE_SLIP_SD = 0.10
NO_LOAD_SD_MEASURED = 0.01
# Log of the slip per torque above the knee: for the reference torque more, a sixth of slip; from a fortieth,
# a belt that creeps in proportion, to all. Traction curves of V-belts go from two to four per cent of slip
# within an eighth of torque (from memory, no source at hand).
SLIP_STEEPNESS = (-1.8, 0.9)
# A fouled or damaged wheel's torque falls by a half to all of what its pressure loses.
WHEEL_TORQUE = (0.75, 0.15)
HEALTHY_SLIP_PCT = (1.0, 0.45)


@dataclass(frozen=True, slots=True)
class CauseTraits:
    """How often a cause comes, how it wanders when it is no fault, how it moves, how large it grows.

    `rate_per_year` of onset; `ordinary_sd` the wander no one would call a fault; `daily_sd` of its
    random walk; `fault_sd` the size of a fault; `sudden_share` of the faults that come within a day;
    `is_one_sided` where it can only be positive.
    """

    rate_per_year: float
    ordinary_sd: float
    daily_sd: float
    fault_sd: float
    sudden_share: float
    is_one_sided: bool = False


CAUSE_TRAITS: dict[Parameter, CauseTraits] = {
    # Belts stretch within months of fitting; a loose one may also let go at once.
    Parameter.SLIP: CauseTraits(0.60, 0.0015, 0.0030, 0.05, 0.30, is_one_sided=True),
    # Dry bearings and lost alignment: share of the reference torque.
    Parameter.DRAG: CauseTraits(0.15, 0.0040, 0.0040, 0.08, 0.20, is_one_sided=True),
    # A re-sheave is a step at a service; belts and grooves wear over years.
    Parameter.RATIO: CauseTraits(0.02, 0.0003, 0.0002, 0.05, 0.30),
    # Dirt gathers over months; a lost blade or a bag in the inlet is rare.
    Parameter.WHEEL: CauseTraits(0.06, 0.0015, 0.0012, 0.06, 0.05, is_one_sided=True),
    Parameter.AIRFLOW_GAIN: CauseTraits(0.08, 0.0030, 0.0020, 0.08, 0.20),
    # Of the squared airflow scale: a differential-pressure station's zero.
    Parameter.AIRFLOW_ZERO: CauseTraits(0.04, 0.0020, 0.0015, 0.05, 0.20),
    Parameter.PRESSURE_GAIN: CauseTraits(0.06, 0.0020, 0.0020, 0.08, 0.20),
    Parameter.PRESSURE_ZERO: CauseTraits(0.08, 0.0020, 0.0015, 0.06, 0.20),
    Parameter.LOAD_GAIN: CauseTraits(0.03, 0.0030, 0.0020, 0.08, 0.20),
    Parameter.SPEED_SCALE: CauseTraits(0.03, 0.0003, 0.0003, 0.08, 0.50),
    # Filters load over months and are changed in an hour; some of it is every filter's ordinary life.
    Parameter.AIR_PATH: CauseTraits(1.00, 0.0200, 0.0080, 0.30, 0.20),
}

# A fault that is there steps further, or back, about twice a year.
JUMPS_AGAIN_A_DAY = 0.005

# Of belts that begin to slip, those that let go within days: their walk in a day, the chance a day that it
# is over, and that a belt long slipping lets go further.
LETTING_GO_SHARE = 0.3
LETTING_GO_SD = 0.02
SETTLES_A_DAY = 0.3
LETS_GO_FURTHER_A_DAY = 0.002

# The barometer moves density by this much within days when no point tells it; with a temperature
# and a barometer what is left is humidity. Without a temperature point the season adds its swing.
DENSITY_SD_NO_BAROMETER = 0.008
DENSITY_SD_KNOWN = 0.003
DENSITY_SD_NO_TEMPERATURE = 0.03
# Within the weeks of a healthy period the season moves it less.
HEALTHY_DENSITY_SD = 0.02
DENSITY_MEMORY_DAYS = 4.0
# A season's swing comes slowly: letting it pass as weather would hide half of what pressure and load say.
SEASON_MEMORY_DAYS = 40.0
# Ordinary wander forgets itself over two months: a season's half, a calibration's mood.
ORDINARY_MEMORY_DAYS = 60.0
STEEPNESS_MEMORY_DAYS = 60.0
# A second fault beside the first came within this long of it, else the first was seen alone.
PAIR_YEARS = 0.25
# The share of a fan's day-to-day scatter that returns as an offset of weeks: the model is not the fan.
DAY_SD_THAT_LASTS = 0.6
# No fan's curve is a quadratic: by the ends of the fitted range it departs by this share, in pressure and in
# torque.
CURVE_DEPARTS = 0.01
