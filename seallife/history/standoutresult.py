"""What is known of units that were held against their class.

In: `seallife.history.weighing`. Out: `StandOuts`. Next: figures, report.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from seallife.history.heterogeneity import Heterogeneity
from seallife.history.standoutwords import BETTER, WORSE
from seallife.life.result import TableResult

__all__ = ["StandOuts"]


@dataclass(frozen=True, eq=False)
class StandOuts(TableResult):
    """Units held against their class, worst first.

    Attributes
    ----------
    table : DataFrame
        Per unit: ``label``, ``group``; ``observed`` failures, ``exposure``, ``expected`` failures
        at the rate of the rest of its class, ``ratio`` of the two as counted; ``not_compared``,
        further failures in classes in which it is alone; ``ratio_shrunk``, the ratio that unit and
        class together speak for (posterior mean) with ``ratio_low``, ``ratio_high``; ``prob_above``
        and ``prob_below``, how probable it is that the ratio is more than `ratio`, or less than
        1 / `ratio`; ``prob_apart``, that the unit is of another kind than the spread of the others;
        ``p`` (two-sided, at the rate of the rest) and ``p_adjusted`` for the number of units;
        ``dispersion``, variance over mean of its count; ``verdict``: 'worse than its class' or
        'better than its class' where ``p_adjusted`` is at or below `discovery` and ``ratio_shrunk``
        nearer to `ratio`, or its inverse, than to 1; 'no evidence'; 'cannot tell yet' with the
        ``more_exposure`` it would take for `tells` times the rate to show;
        ``again_expected``, failures in as much exposure again with nothing done, and
        ``next_expected`` in ``next_exposure``, each with limits of the count ``_low``, ``_high``
        for those listed; ``status``, ``message``.
    spread : DataFrame
        How much units differ: ``sd`` of the ratios, ``apart``, share of another kind.
    differ : Heterogeneity
        Test per class whether its units differ.
    funnel : DataFrame
        ``expected``, limits of the ratio by chance at 90 % (``low``, ``high``) and at 99.8 %
        (``far_low``, ``far_high``) for one unit looked at alone.
    tested : int
        Units compared, for whose number ``p_adjusted`` allows.
    together : str
        What those listed as worse had and what they may expect, as a sentence; '' where none is.
    ratio, tells, discovery : float
        Ratio that matters; ratio that should have shown; false discovery rate of the list.
    unit : str
        Unit of exposure.
    prior : str
        What is taken for granted about how units differ.
    by : str
        What the units are.
    note : str
        What was left out of the rows, as a sentence.
    """

    spread: pd.DataFrame
    differ: Heterogeneity
    funnel: pd.DataFrame
    tested: int
    together: str
    ratio: float
    tells: float
    discovery: float
    unit: str
    prior: str
    by: str = "label"
    note: str = ""

    @property
    def listed(self) -> pd.DataFrame:
        """Rows of units that stand out."""
        return self.table[self.table["verdict"].isin([WORSE, BETTER])].reset_index(drop=True)
