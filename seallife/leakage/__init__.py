"""Leakage: what was read, whether it rises, which limits hold, what it amounts to."""

from seallife.leakage.alarms import LeakAlarms, watch_rises
from seallife.leakage.barrier import BarrierRates, pressure_decay_rate, top_up_rate
from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.emissions import EmissionTotals, population_emissions
from seallife.leakage.exceedances import Exceedances, exceedances
from seallife.leakage.forecast import TimeToLimit, time_to_limit
from seallife.leakage.foretell import AlarmRecord, cheapest_rate, foretold_failures
from seallife.leakage.formulas import face_leakage_ml_per_h, volume_lost_l
from seallife.leakage.kendall import KendallTests, mann_kendall
from seallife.leakage.limits import LimitsInForce, example_limits, limits_in_force
from seallife.leakage.nextstep import next_steps, rank_rising
from seallife.leakage.nondetects import Levels, levels_with_nondetects
from seallife.leakage.poolslopes import PooledSlopes, pool_slopes
from seallife.leakage.readings import Readings, read_leakage
from seallife.leakage.screening import above_background, emission_factors, emission_rate
from seallife.leakage.slopes import Slopes, theil_sen
from seallife.leakage.tobit import LognormalFits, censored_lognormal
from seallife.leakage.trend import Trends, trend
from seallife.leakage.units import Conversion, conversion, read_units
from seallife.leakage.words import WORD_SCALE, WordReadings, read_words

__all__ = [
    "WORD_SCALE",
    "AlarmRecord",
    "BarrierRates",
    "Conversion",
    "EmissionTotals",
    "Exceedances",
    "KendallTests",
    "LeakAlarms",
    "Levels",
    "LimitsInForce",
    "LognormalFits",
    "PooledSlopes",
    "Readings",
    "Slopes",
    "TimeToLimit",
    "Trends",
    "WordReadings",
    "above_background",
    "censored_lognormal",
    "cheapest_rate",
    "conversion",
    "drops_to_ml_per_h",
    "emission_factors",
    "emission_rate",
    "example_limits",
    "exceedances",
    "face_leakage_ml_per_h",
    "foretold_failures",
    "levels_with_nondetects",
    "limits_in_force",
    "mann_kendall",
    "ml_to_g_per_h",
    "next_steps",
    "pool_slopes",
    "population_emissions",
    "pressure_decay_rate",
    "rank_rising",
    "read_leakage",
    "read_units",
    "read_words",
    "theil_sen",
    "time_to_limit",
    "top_up_rate",
    "trend",
    "volume_lost_l",
    "watch_rises",
]
