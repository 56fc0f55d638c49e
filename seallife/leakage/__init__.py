"""Leakage: what it is measured in, which limits a site has to confirm, when a rise reaches them."""

from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.forecast import TimeToLimit, time_to_limit
from seallife.leakage.limits import example_limits
from seallife.leakage.nextstep import next_steps, rank_rising

__all__ = [
    "TimeToLimit",
    "drops_to_ml_per_h",
    "example_limits",
    "ml_to_g_per_h",
    "next_steps",
    "rank_rising",
    "time_to_limit",
]
