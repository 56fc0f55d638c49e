"""Leakage: what it is measured in, which limits a site has to confirm, which seals' is rising."""

from seallife.leakage.alarms import LeakAlarms, watch_rises
from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.limits import example_limits

__all__ = ["LeakAlarms", "drops_to_ml_per_h", "example_limits", "ml_to_g_per_h", "watch_rises"]
