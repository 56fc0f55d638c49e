"""Are we getting better?"""

from seallife.history.early import EarlyStretches, early_failures, early_stretches
from seallife.history.improvement import Improvements, improvements_of
from seallife.history.mtbr import DEFINITIONS, MtbrHistory, mtbr_history
from seallife.history.rates import compare_rates, expected_counts, mtbr, share_limits

__all__ = [
    "DEFINITIONS",
    "EarlyStretches",
    "Improvements",
    "MtbrHistory",
    "compare_rates",
    "early_failures",
    "early_stretches",
    "expected_counts",
    "improvements_of",
    "mtbr",
    "mtbr_history",
    "share_limits",
]
