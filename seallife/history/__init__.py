"""Are we getting better?"""

from seallife.history.changepoint import ChangePoints, change_point
from seallife.history.early import EarlyStretches, early_failures, early_stretches
from seallife.history.funnel import funnel_limits
from seallife.history.growth import Growth, growth_of_groups
from seallife.history.heterogeneity import Heterogeneity, heterogeneity
from seallife.history.improvement import Improvements, improvements_of
from seallife.history.mtbr import DEFINITIONS, MtbrHistory, mtbr_history
from seallife.history.positionchange import PositionChanges, change_by_position
from seallife.history.positiontrend import PositionTrends, trend_by_position
from seallife.history.powerlaw import PowerLaw, power_law
from seallife.history.powerlawlimits import handbook_mtbf_limits
from seallife.history.rates import compare_rates, expected_counts, mtbr, share_limits
from seallife.history.recurrence import MeanCumulative, mean_cumulative
from seallife.history.recurrence_difference import (
    MeanCumulativeDifference,
    mean_cumulative_difference,
)
from seallife.history.recurrence_groups import mean_cumulative_of_groups
from seallife.history.standoutlives import standouts_of
from seallife.history.standouts import StandOuts, stand_out
from seallife.history.trendtests import TrendTests, trend_tests

__all__ = [
    "DEFINITIONS",
    "ChangePoints",
    "EarlyStretches",
    "Growth",
    "Heterogeneity",
    "Improvements",
    "MeanCumulative",
    "MeanCumulativeDifference",
    "MtbrHistory",
    "PositionChanges",
    "PositionTrends",
    "PowerLaw",
    "StandOuts",
    "TrendTests",
    "change_by_position",
    "change_point",
    "compare_rates",
    "early_failures",
    "early_stretches",
    "expected_counts",
    "funnel_limits",
    "growth_of_groups",
    "handbook_mtbf_limits",
    "heterogeneity",
    "improvements_of",
    "mean_cumulative",
    "mean_cumulative_difference",
    "mean_cumulative_of_groups",
    "mtbr",
    "mtbr_history",
    "power_law",
    "share_limits",
    "stand_out",
    "standouts_of",
    "trend_by_position",
    "trend_tests",
]
