"""Are we getting better?"""

from seallife.history.early import EarlyStretches, early_failures, early_stretches
from seallife.history.funnel import funnel_limits
from seallife.history.heterogeneity import Heterogeneity, heterogeneity
from seallife.history.mtbr import DEFINITIONS, MtbrHistory, mtbr_history
from seallife.history.rates import compare_rates, expected_counts, mtbr, share_limits
from seallife.history.standoutlives import standouts_of
from seallife.history.standouts import StandOuts, stand_out

__all__ = [
    "DEFINITIONS",
    "EarlyStretches",
    "Heterogeneity",
    "MtbrHistory",
    "StandOuts",
    "compare_rates",
    "early_failures",
    "early_stretches",
    "expected_counts",
    "funnel_limits",
    "heterogeneity",
    "mtbr",
    "mtbr_history",
    "share_limits",
    "stand_out",
    "standouts_of",
]
