"""Are we getting better?"""

from seallife.history.mtbr import MtbrHistory, compare_rates, mtbr, mtbr_history

__all__ = ["MtbrHistory", "compare_rates", "mtbr", "mtbr_history"]
