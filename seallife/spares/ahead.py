"""All that a forecast of seals needed rests on, as flat arrays: one row a seal.

In: lives, register, run hours, outages, `LawDraws`. Out: `FleetAhead`. Next:
`seallife.spares.demand`, `seallife.spares.futures`, `seallife.spares.outage`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints
from seallife.spares.lawdraws import LawDraws
from seallife.spares.positionfactors import PositionFactors

__all__ = ["FleetAhead"]


@dataclass(frozen=True, eq=False)
class FleetAhead:
    """Seals in service and to come, with the laws by which they will fail.

    Attributes
    ----------
    seals : DataFrame, n rows
        ``life_id``, ``position_id``, ``tag``, ``site``, ``unit``, ``service_class``, ``pool``,
        ``criticality``, ``age_h`` or ``age_d`` (NaN: not known), ``hours_a_day``, ``factor``
        (failures of the position against its class, as one of its kind), ``days_to_outage``
        (NaN: none ahead), ``starts_d`` (days until a position to come is taken into service, 0 for
        the rest).
    place : ndarray of int, shape (n,)
        Number of the class of each seal in ``laws``.
    age : ndarray, shape (n,)
        On the clock of the laws; NaN where not known.
    pace : ndarray, shape (n,)
        By how much a seal ages in a calendar day.
    starts : ndarray, shape (n,)
        Days from now.
    factors : PositionFactors
        How often the position of each seal fails against its class.
    years_alike : float
        Shape of the gamma law of what is common to all seals in the time ahead, as years on record
        have differed; infinite where they did not beyond chance.
    laws : LawDraws
    unaged : ndarray, shape (draws, c)
        Failures a unit of the clock of seals of unknown age.
    planned : ndarray, shape (draws, c)
        Removals in good order a day and seal, outages and upgrades left out.
    outage_day, outage_share : ndarray, shape (n, o)
        Days until the outages ahead of each seal, the next first (infinite: none), and the share
        of seals renewed in them.
    now : Timestamp
        First day ahead.
    """

    seals: pd.DataFrame
    place: Ints
    age: Floats
    pace: Floats
    starts: Floats
    factors: PositionFactors
    years_alike: float
    laws: LawDraws
    unaged: Floats
    planned: Floats
    outage_day: Floats
    outage_share: Floats
    now: pd.Timestamp

    def __len__(self) -> int:
        return len(self.place)

    def factor(self, draw: int) -> Floats:
        """How much more often than its class each position fails, in one draw, shape (n,).

        What is common to all seals in the time ahead is in it.
        """
        rng = np.random.default_rng((self.laws.seed, draw))
        common = 1.0
        if np.isfinite(self.years_alike):
            common = rng.gamma(self.years_alike) / self.years_alike
        return self.factors.draw(rng) * common

    def chance_to_fail(self, days: float) -> Floats:
        """How likely is each seal to fail within so many days if nothing renews it, shape (n,)."""
        laws, known = self.laws, np.nan_to_num(self.age)
        served = self.pace * np.maximum(days - self.starts, 0.0)
        total = np.zeros(len(self))
        for draw in range(laws.draws):
            risk = laws.at(self.place, known + served, draw) - laws.at(self.place, known, draw)
            risk = np.where(np.isnan(self.age), self.unaged[draw, self.place] * served, risk)
            total -= np.expm1(-risk * self.factor(draw))
        return total / laws.draws

    def renewing(self, chosen: npt.ArrayLike, share: float = 0.0) -> FleetAhead:
        """What if these seals were renewed in their next outage, and a share of the others?

        Parameters
        ----------
        chosen : array_like of str
            ``life_id`` of the seals on the list.
        share : float
            Share of all other seals, in this and in later outages. A position on the list is
            renewed even if a new seal was fitted shortly before.

        Raises
        ------
        InputError
            A name is no seal in service, or one without an outage ahead.
        """
        names = pd.Index(np.asarray(chosen, dtype=object))
        at = pd.Index(self.seals["life_id"]).get_indexer(names)
        bare = np.ones(len(names), dtype=bool)
        if self.outage_day.shape[1]:
            bare = ~np.isfinite(self.outage_day[at, 0])
        for wrong, what in ((at < 0, "is no seal in service"), (bare, "has no outage ahead")):
            if wrong.any():
                raise InputError(
                    f"{names[int(np.argmax(wrong))]!r} {what}",
                    where="chosen",
                    hint="take names from seals['life_id'] with days_to_outage known",
                )
        shares = np.full(self.outage_share.shape, share)
        shares[at, 0] = 1.0
        return replace(self, outage_share=shares)
