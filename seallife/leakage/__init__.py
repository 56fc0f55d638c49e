"""Leakage: what it is measured in, and which limits a site has to confirm."""

from seallife.leakage.conversions import drops_to_ml_per_h, ml_to_g_per_h
from seallife.leakage.limits import example_limits

__all__ = ["drops_to_ml_per_h", "example_limits", "ml_to_g_per_h"]
