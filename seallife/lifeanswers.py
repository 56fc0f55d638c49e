"""All that the lives of a fleet say, each model fitted when its answer is first asked for.

In: `LifeTable`, the register and the changes as tables, `Rules`. Out: `LifeAnswers`. Next:
`seallife.study`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from seallife.life.causecurves import Incidence
from seallife.life.causefits import CauseFits
from seallife.life.choose import LawChoice
from seallife.life.drivers import Drivers, drivers_of_lives
from seallife.life.fits import LifeFits, fit_lives
from seallife.life.mixture import MixtureVerdicts
from seallife.life.pooling import PooledWeibull
from seallife.life.renewal_effect import RenewalEffect
from seallife.life.renewals import fit_renewal_effect
from seallife.life.restricted import RestrictedMeans, restricted_means_of_lives
from seallife.life.tablefits import (
    cause_fits_of_lives,
    incidence_of_lives,
    laws_of_lives,
    mixtures_of_lives,
    pool_lives,
    rates_of_lives,
)
from seallife.life.usable import CLOCKS, Clock
from seallife.lives import LifeTable, with_unknown_as
from seallife.schema import ARRANGEMENTS
from seallife.settings import Rules

__all__ = ["SURVIVAL_AGES_H", "LifeAnswers"]

SURVIVAL_AGES_H = (8_760.0, 25_000.0)
"""Ages [h] at which survival is stated: a year of running, and the 25,000 h of API 682."""

_BY = "service_class"


@dataclass(frozen=True, eq=False)
class LifeAnswers:
    """How long seals last, and why not longer; nothing is computed before it is asked for.

    Attributes
    ----------
    lives : LifeTable
    positions : DataFrame
        The register, one row a position.
    changes : DataFrame
        Changes of positions.
    rules : Rules
        Level, clock, resamples.
    """

    lives: LifeTable
    positions: pd.DataFrame
    changes: pd.DataFrame
    rules: Rules

    @cached_property
    def fits(self) -> LifeFits:
        """Weibull laws, failure rates and survival curves by class."""
        return self._fits(self.lives, hazards=True)

    @cached_property
    def fits_other(self) -> LifeFits:
        """The same with removals of unknown reason taken the other way."""
        other = "withdrawn" if self.lives.unknown_as == "failed" else "failed"
        return self._fits(with_unknown_as(self.lives, other))

    @cached_property
    def rates(self) -> pd.DataFrame:
        """Failure rate by class and age, as counted."""
        return rates_of_lives(self.lives.table, _BY, self.clock, level=self.rules.level)

    @cached_property
    def pooled(self) -> PooledWeibull:
        """Weibull laws of all classes, thin ones leaning on the others."""
        return pool_lives(
            self.lives.table, _BY, self.clock, level=self.rules.level, survival_at=self.ages
        )

    @cached_property
    def mixtures(self) -> MixtureVerdicts:
        """In which classes one law hides an early part."""
        return mixtures_of_lives(self.lives.table, _BY, self.clock, level=self.rules.level)

    @cached_property
    def laws(self) -> LawChoice:
        """Which law each class follows, as far as it can tell."""
        return laws_of_lives(self.lives.table, _BY, self.clock, level=self.rules.level)

    @cached_property
    def damage(self) -> Incidence:
        """Share failed from each kind of damage by age, whole fleet."""
        return incidence_of_lives(
            self.lives.table, "damage", None, self.clock, level=self.rules.level
        )

    @cached_property
    def leak_paths(self) -> Incidence:
        """Share failed with each leak path by age, by arrangement of the seals."""
        lives = self.lives.table.assign(arrangement=self.arrangement)
        return incidence_of_lives(
            lives, "leak_path", "arrangement", self.clock, level=self.rules.level
        )

    @property
    def arrangement(self) -> pd.Series:
        """Arrangement of the seals when each life ran, as far as the changes tell."""
        known = self.drivers.factors.values["arrangement"]
        return known.map(lambda a: ARRANGEMENTS.get(a, a)).astype(object).fillna("not known")

    @cached_property
    def damage_fits(self) -> CauseFits:
        """Law of each kind of damage, whole fleet."""
        return cause_fits_of_lives(
            self.lives.table, "damage", None, self.clock, level=self.rules.level
        )

    @cached_property
    def restricted(self) -> RestrictedMeans:
        """Mean life up to an age that all classes have seen."""
        return restricted_means_of_lives(self.lives.table, _BY, self.clock, level=self.rules.level)

    @cached_property
    def drivers(self) -> Drivers:
        """What goes with longer and shorter lives within classes."""
        return drivers_of_lives(
            self.lives.table,
            self.positions,
            self.changes,
            _BY,
            self.clock,
            level=self.rules.level,
        )

    @cached_property
    def renewals(self) -> RenewalEffect:
        """Whether a renewed seal is as good as new."""
        return fit_renewal_effect(self.lives.table, _BY, self.clock, level=self.rules.level)

    @property
    def clock(self) -> Clock:
        """Clock of all ages."""
        return CLOCKS[self.rules.clock]

    @property
    def ages(self) -> tuple[float, ...]:
        """Ages at which the share still running is stated, on that clock."""
        hours = self.clock == "run_h"
        return SURVIVAL_AGES_H if hours else tuple(h / 24 for h in SURVIVAL_AGES_H)

    def _fits(self, lives: LifeTable, *, hazards: bool = False) -> LifeFits:
        return fit_lives(
            lives.table,
            _BY,
            self.clock,
            level=self.rules.level,
            resamples=self.rules.resamples,
            survival_at=self.ages,
            hazards=hazards,
        )
