"""Leakage: what it is measured in, what it amounts to, which limits a site has to confirm."""

from seallife.leakage.barrier import BarrierRates, pressure_decay_rate, top_up_rate
from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.emissions import EmissionTotals, population_emissions
from seallife.leakage.exceedances import Exceedances, exceedances
from seallife.leakage.formulas import face_leakage_ml_per_h, volume_lost_l
from seallife.leakage.limits import LimitsInForce, example_limits, limits_in_force
from seallife.leakage.screening import above_background, emission_factors, emission_rate
from seallife.leakage.units import conversion
from seallife.leakage.words import WORD_SCALE, WordReadings, read_words

__all__ = [
    "WORD_SCALE",
    "BarrierRates",
    "EmissionTotals",
    "Exceedances",
    "LimitsInForce",
    "WordReadings",
    "above_background",
    "conversion",
    "drops_to_ml_per_h",
    "emission_factors",
    "emission_rate",
    "example_limits",
    "exceedances",
    "face_leakage_ml_per_h",
    "limits_in_force",
    "ml_to_g_per_h",
    "population_emissions",
    "pressure_decay_rate",
    "read_words",
    "top_up_rate",
    "volume_lost_l",
]
