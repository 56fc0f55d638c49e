"""Are we getting better?"""

from seallife.history.mtbr import DEFINITIONS, MtbrHistory, mtbr_history
from seallife.history.rates import compare_rates, mtbr

__all__ = ["DEFINITIONS", "MtbrHistory", "compare_rates", "mtbr", "mtbr_history"]
