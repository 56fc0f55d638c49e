"""What does one shared pool of spares save against sets that keep their own?

In: mean number of seals needed by each set while one is away. Out: `PoolingSavings`. Next:
reports on spares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import binned
from seallife.life.result import TableResult, worded_status
from seallife.spares.counts import Counts, counts_of, shares_of

__all__ = ["PoolingSavings", "pooling_saving"]

_SOURCE = "Eppen (1979), Management Science 25, 498-501"


@dataclass(frozen=True, eq=False)
class PoolingSavings(TableResult):
    """Stock of separate sets against one shared pool.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``sets``, ``needed``, ``each`` (stock of all sets, each set at the share
        asked) and ``each_all`` (probability that then no set runs short), ``separate`` (stock of
        all sets that does what the pool does), ``shared`` (stock of one pool at the share asked),
        ``shared_no_shortage``, ``shared_fill_rate``, ``saved`` (separate less shared),
        ``status``, ``message``.
    """


def pooling_saving(
    mean: ArrayLike,
    pool: ArrayLike,
    share: float,
    variance: ArrayLike | None = None,
    *,
    measure: str = "no shortage",
) -> PoolingSavings:
    """What does one shared pool save against sets that keep their own stock?

    Parameters
    ----------
    mean : array_like, shape (n,) or (n, q)
        Mean number needed by each set while one is away; columns are equally likely laws, the
        same for all sets.
    pool : array_like, shape (n,)
        Shared pool that each set would belong to.
    share : float
        Service asked of each set, and of the shared pool.
    variance : array_like, optional
        As the mean.
    measure : {'no shortage', 'fill rate'}

    Returns
    -------
    PoolingSavings

    Raises
    ------
    InputError
        As of `seallife.spares.stock.stock_level`.

    Notes
    -----
    Sets may share only what has been confirmed to fit. Given the law, sets are independent. In a
    pool nobody waits as long as one seal is left; sets do as much where none of them runs short,
    so each of n sets is given the n-th root of the share. A fill rate counts seals, and is the
    same for all sets and for each.

    Examples
    --------
    >>> row = pooling_saving([1.6 / 3] * 3, ["A"] * 3, 0.89)["A"]
    >>> int(row["each"]), float(round(row["each_all"], 2))
    (3, 0.73)
    >>> int(row["shared"]), float(round(row["shared_no_shortage"], 2)), int(row["separate"])
    (3, 0.92, 6)
    """
    counts = counts_of(mean, variance)
    labels = np.asarray(pool)
    if labels.shape != counts.expected.shape:
        raise InputError(f"has shape {labels.shape} for {len(counts.expected)} sets", where="pool")
    codes, names = pd.factorize(labels, sort=True)
    sets = np.bincount(codes, minlength=len(names))
    asked = shares_of(share, len(codes))
    each = counts.smallest(asked, measure)
    raised = asked ** (1 / sets[codes]) if measure == "no shortage" else asked
    separate = binned(counts.smallest(raised, measure), codes, len(names))
    chance = np.log(np.maximum(counts.each_at_most(each), np.finfo(float).tiny))
    covered = np.exp(binned(chance, codes, len(names))).mean(axis=1)
    together = Counts(
        binned(counts.mean, codes, len(names)), binned(counts.variance, codes, len(names))
    )
    shared = together.smallest(np.full(len(names), share), measure)
    status, message = worded_status(
        len(names), [(sets == 1, "one set", "There is nothing to share with.")]
    )
    table = pd.DataFrame(
        {
            "pool": names,
            "sets": sets,
            "needed": together.expected,
            "each": binned(each, codes, len(names)).astype(np.int64),
            "each_all": covered,
            "separate": separate.astype(np.int64),
            "shared": shared.astype(np.int64),
            "shared_no_shortage": together.at_most(shared),
            "shared_fill_rate": together.met(shared),
            "saved": (separate - shared).astype(np.int64),
            "status": status,
            "message": message,
        }
    )
    return PoolingSavings(table, np.nan, f"{measure} {share:g}, sets against one pool", _SOURCE)
