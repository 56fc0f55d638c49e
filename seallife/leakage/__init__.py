"""Leakage: what it is measured in, whether it rises, which limits a site has to confirm."""

from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.kendall import KendallTests, mann_kendall
from seallife.leakage.limits import example_limits
from seallife.leakage.nondetects import Levels, levels_with_nondetects
from seallife.leakage.slopes import Slopes, theil_sen
from seallife.leakage.tobit import LognormalFits, censored_lognormal
from seallife.leakage.trend import Trends, trend

__all__ = [
    "KendallTests",
    "Levels",
    "LognormalFits",
    "Slopes",
    "Trends",
    "censored_lognormal",
    "drops_to_ml_per_h",
    "example_limits",
    "levels_with_nondetects",
    "mann_kendall",
    "ml_to_g_per_h",
    "theil_sen",
    "trend",
]
