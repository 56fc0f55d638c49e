"""How long seals last: the laws, the causes, the curves, and what few failures can say.

Plain arrays in, a frozen result with a tidy ``table`` out; `fit_lives` does the same for a life
table. All classes are fitted in one call.
"""

from seallife.life.ahead import share_running
from seallife.life.causecurves import Incidence
from seallife.life.causefits import CauseFits
from seallife.life.causes import fit_causes
from seallife.life.choose import LawChoice, choose_law
from seallife.life.compare import ShapeComparison, compare_shapes
from seallife.life.curves import SurvivalCurves
from seallife.life.early import early_share
from seallife.life.effects import FactorEffects
from seallife.life.exponential import ExponentialFits, fit_exponential
from seallife.life.factorlist import FACTORS
from seallife.life.factors import LifeFactors, life_factors
from seallife.life.fewfailures import exact_limits, fit_fixed_shape
from seallife.life.fits import LifeFits, fit_lives
from seallife.life.hazard import LawHazards, WeibullHazards, law_hazards, weibull_hazard
from seallife.life.incidence import cumulative_incidence
from seallife.life.lifetable import actuarial_table, exposure_table, grouped_survival
from seallife.life.lognormal import LognormalFits, fit_lognormal
from seallife.life.logrank import LogRank, log_rank
from seallife.life.mixture import MixtureVerdicts, hides_mixture
from seallife.life.nonparametric import kaplan_meier
from seallife.life.pooling import PooledWeibull, pool_weibull
from seallife.life.ranks import RankLine, rank_line
from seallife.life.regression import fit_cox_factors, fit_weibull_factors
from seallife.life.renewal_effect import RenewalEffect, renewal_effect
from seallife.life.renewals import fit_renewal_effect
from seallife.life.restricted import RestrictedMeans, restricted_means
from seallife.life.running import ShareRunning
from seallife.life.todate import SealsToDate, seals_to_date
from seallife.life.weibull import WeibullFits, fit_weibull

__all__ = [
    "FACTORS",
    "CauseFits",
    "ExponentialFits",
    "FactorEffects",
    "Incidence",
    "LawChoice",
    "LawHazards",
    "LifeFactors",
    "LifeFits",
    "LogRank",
    "LognormalFits",
    "MixtureVerdicts",
    "PooledWeibull",
    "RankLine",
    "RenewalEffect",
    "RestrictedMeans",
    "SealsToDate",
    "ShapeComparison",
    "ShareRunning",
    "SurvivalCurves",
    "WeibullFits",
    "WeibullHazards",
    "actuarial_table",
    "choose_law",
    "compare_shapes",
    "cumulative_incidence",
    "early_share",
    "exact_limits",
    "exposure_table",
    "fit_causes",
    "fit_cox_factors",
    "fit_exponential",
    "fit_fixed_shape",
    "fit_lives",
    "fit_lognormal",
    "fit_renewal_effect",
    "fit_weibull",
    "fit_weibull_factors",
    "grouped_survival",
    "hides_mixture",
    "kaplan_meier",
    "law_hazards",
    "life_factors",
    "log_rank",
    "pool_weibull",
    "rank_line",
    "renewal_effect",
    "restricted_means",
    "seals_to_date",
    "share_running",
    "weibull_hazard",
]
