"""Which units fail more or less often than their class explains, by more than chance?

In: failures and exposure of units. Out: `StandOuts`. Next: figures, report.

Of 420 identical positions some are always worst. A unit stands out only where its count would be
rare at the rate of the rest of its class, allowing for the number of units looked at. How far it
stands out is drawn towards 1 as far as the class is alike. The list ends where the evidence ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.history.heterogeneity import check_counts
from seallife.history.reference import Cells, by_size, known_expectation, summed
from seallife.history.standoutresult import StandOuts
from seallife.history.standoutwords import Asked
from seallife.history.weighing import weigh
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level

__all__ = ["StandOuts", "stand_out"]


def stand_out(
    failures: npt.ArrayLike,
    exposure: npt.ArrayLike,
    *,
    group: npt.ArrayLike | None = None,
    label: npt.ArrayLike | None = None,
    expected: npt.ArrayLike | None = None,
    behind: npt.ArrayLike | None = None,
    dispersion: npt.ArrayLike = 1.0,
    next_exposure: npt.ArrayLike | None = None,
    level: float = 0.90,
    ratio: float = 1.5,
    tells: float = 3.0,
    discovery: float = 0.10,
    spread: str = "common",
    unit: str = "years",
) -> StandOuts:
    """Which units fail more or less often than the rest of their class, by more than chance?

    Parameters
    ----------
    failures : array_like, shape (n,)
        Failures of each row, whole numbers.
    exposure : array_like, shape (n,)
        Time at risk, any one unit.
    group : array_like, shape (n,), optional
        Class of each row; one class where None.
    label : array_like, shape (n,), optional
        Unit of each row. A unit with rows in several classes is held against each of them.
    expected : array_like, shape (n,), optional
        Failures expected at the rate of the rest of the class, for instance at the ages of the
        seals. Where None, failures of the others over their exposure, times the exposure.
    behind : array_like, shape (n,), optional
        Failures that ``expected`` rests on; those of the others of the class where None.
    dispersion : array_like, scalar or shape (n,)
        Variance of a count over its mean among like units: 1 at constant rates, below 1 where
        seals age, above 1 where many fail young. 1 makes a list of ageing seals cautious and a list
        of early failures too long.
    next_exposure : array_like, shape (n,), optional
        Exposure to come for which failures are foretold; as much again where None.
    level : float
        Two-sided level of all intervals.
    ratio : float
        Ratio of rates that matters, above 1.
    tells : float
        Ratio that should have shown before 'no evidence' is said.
    discovery : float
        Share of false entries that the list may have on average.
    spread : {'common', 'class'}
        Whether units of all classes differ alike, or each class has a spread of its own.
    unit : str
        Unit of exposure, for the sentences.

    Returns
    -------
    StandOuts

    Raises
    ------
    InputError
        If the data or a setting cannot be used.

    Examples
    --------
    >>> result = stand_out([9, 1, 0, 2, 1, 1, 0, 1], [10.0] * 8, label=list("ABCDEFGH"))
    >>> result.listed[["label", "observed", "verdict"]].values.tolist()
    [['A', 9, 'worse than its class']]
    """
    asked = Asked(check_level(level), ratio, tells, discovery, unit)
    if spread not in ("common", "class"):
        raise InputError(f"is {spread!r}", where="spread", hint="use 'common' or 'class'")
    count, size = check_counts(failures, exposure)
    n = len(count)
    scatter = _each(dispersion, n, "dispersion", least_open=True)
    unit_codes, labels = _coded(np.arange(1, n + 1) if label is None else label, n, "label")
    group_codes, groups = _coded(np.full(n, "all") if group is None else group, n, "group")
    if expected is None and behind is not None:
        raise InputError("is given without expected", where="behind", hint="give both or neither")
    ahead = size if next_exposure is None else _each(next_exposure, n, "next_exposure")
    mean = size if expected is None else _each(expected, n, "expected")
    base = np.ones(n) if behind is None else _each(behind, n, "behind", least_open=True)
    # rows of one unit in one class are one: it must not be held against itself
    pairs, row = np.unique(unit_codes * max(len(groups), 1) + group_codes, return_inverse=True)
    weight = np.maximum(mean, 1e-300)
    sums = [summed(row, v, len(pairs)) for v in (count, size, mean, ahead)]
    heavy = summed(row, weight, len(pairs))
    spread_of, base = (summed(row, weight * v, len(pairs)) / heavy for v in (scatter, base))
    unit_of, group_of = pairs // max(len(groups), 1), pairs % max(len(groups), 1)
    cells = Cells(unit_of, group_of, sums[0], sums[1], spread_of, len(labels), len(groups))
    reference = by_size(cells)
    if expected is not None:
        reference = known_expectation(cells, sums[2], None if behind is None else base)
    got = weigh(cells, reference, labels, groups, sums[1], sums[3], asked, spread=spread)
    return replace(got, table=got.table.drop(columns="place"))


def _each(values: npt.ArrayLike, n: int, where: str, *, least_open: bool = False) -> Floats:
    """Numbers of each row, not below 0, or above 0."""
    array = np.asarray(values, dtype=np.float64)
    if array.shape not in ((), (n,)):
        raise InputError(f"has shape {array.shape} where failures has ({n},)", where=where)
    array = np.broadcast_to(array, (n,))
    bad = ~np.isfinite(array) | (array <= 0 if least_open else array < 0)
    if bad.any():
        i = int(np.argmax(bad))
        kind = "above 0" if least_open else "zero or more"
        raise InputError(f"is {array[i]:g}, not {kind}", where=f"{where}[{i}]")
    return array


def _coded(values: npt.ArrayLike, n: int, where: str) -> tuple[NDArray[np.int64], list[object]]:
    array = np.asarray(values)
    if array.shape != (n,):
        raise InputError(f"has shape {array.shape} where failures has ({n},)", where=where)
    codes, known = pd.factorize(array, sort=True)
    if n and codes.min() < 0:
        hint = "name what is not known, or leave the row out"
        raise InputError("is missing", where=f"{where}[{int(np.argmin(codes))}]", hint=hint)
    return codes.astype(np.int64), known.tolist()
