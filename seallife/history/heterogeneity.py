"""Do the positions of a class fail at one rate, or do they differ by more than chance?

In: failures and exposure of each unit. Out: `Heterogeneity`. Next: `seallife.history.standouts`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import group_rows
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status

__all__ = ["Heterogeneity", "heterogeneity"]

_SMALL = 5.0  # expected failures a unit below which the chi-square law is not exact enough
_FEW = 10  # failures of a class below which even large differences would not show


@dataclass(frozen=True, eq=False)
class Heterogeneity(TableResult):
    """Whether units of a class differ, per class.

    Attributes
    ----------
    table : DataFrame
        ``group``, ``units`` (with exposure), ``failures``, ``least_expected`` (of any unit),
        ``chi2`` (sum of (observed - expected)^2 / expected), ``freedom``, ``p`` by the chi-square
        law, ``p_small`` by a law with the exact mean and variance for small counts, ``verdict``
        ('units differ', 'no evidence', 'cannot tell yet'), ``status``, ``message``.
    units : DataFrame
        ``group``, ``label``, ``observed``, ``expected`` at the rate of the whole class, ``ratio``.
    """

    units: pd.DataFrame


def heterogeneity(
    failures: npt.ArrayLike,
    exposure: npt.ArrayLike,
    *,
    group: npt.ArrayLike | None = None,
    label: npt.ArrayLike | None = None,
    dispersion: npt.ArrayLike = 1.0,
    level: float = 0.90,
) -> Heterogeneity:
    """Do the units of a class fail at different rates, by more than chance?

    Parameters
    ----------
    failures : array_like, shape (n,)
        Failures of each unit, whole numbers.
    exposure : array_like, shape (n,)
        Time at risk, or anything to which failures should be proportional.
    group : array_like, shape (n,), optional
        Class of each unit; all one class where None.
    label : array_like, shape (n,), optional
        Name of each unit.
    dispersion : array_like, scalar or shape (n,)
        Variance of a unit's count over its mean, did all fail at one rate.
    level : float
        'units differ' is said where ``p_small`` is at or below 1 - level.

    Returns
    -------
    Heterogeneity

    Raises
    ------
    InputError
        If the data cannot be used.

    Source
    ------
    Pearson's chi-square on counts given their total; exact mean and variance: Haldane (1937),
    Biometrika 29, 133-143.
    """
    from scipy.special import chdtrc, gammaincc

    check_level(level)
    count, size = check_counts(failures, exposure)
    n = len(count)
    spread = np.broadcast_to(np.asarray(dispersion, dtype=np.float64), (n,))
    if (~np.isfinite(spread) | (spread <= 0)).any():
        raise InputError("must be above 0", where="dispersion", hint="1 for the Poisson law")
    groups = group_rows(group, n)
    names = np.arange(1, n + 1) if label is None else np.asarray(label)
    count, size, spread, names = (groups.gather(v) for v in (count, size, spread, names))
    used = size > 0
    total, whole = groups.sum(count * used), groups.sum(size)
    units = groups.sum(used)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = size / groups.spread(whole)
        expected = groups.spread(total) * share
        part = np.where(used & (expected > 0), (count - expected) ** 2 / (spread * expected), 0.0)
        turned = np.where(used, 1 / share, 0.0)
        ratio = count / expected
    chi2, freedom = groups.sum(part), units - 1
    tested = (freedom > 0) & (total > 0)
    safe, many = np.maximum(freedom, 1), np.maximum(total, 1)
    variance = 2 * safe + (groups.sum(turned) - units**2 - 2 * units + 2) / many
    variance = np.maximum(variance, 1e-9)
    p = np.where(tested, chdtrc(safe, chi2), np.nan)
    p_small = np.where(tested, gammaincc(safe**2 / variance, chi2 * safe / variance), np.nan)
    least = np.full(len(groups), np.inf)
    np.minimum.at(least, groups.codes, np.where(used, expected, np.inf))
    differ = np.nan_to_num(p_small, nan=1.0) <= 1 - level
    verdict = np.where(
        differ, "units differ", np.where(tested & (total >= _FEW), "no evidence", "cannot tell yet")
    )
    status, message = worded_status(
        len(groups),
        [
            (units < 2, "one unit", "Fewer than two units with exposure: nothing to compare."),
            (total == 0, "no failures", "No failure: nothing to compare."),
            (
                least < _SMALL,
                "small counts",
                f"Some unit expects fewer than {_SMALL:g} failures: p_small holds better than p.",
            ),
        ],
    )
    labels = groups.label_list()
    table = pd.DataFrame(
        {
            "group": labels,
            "units": units.astype(np.int64),
            "failures": total.astype(np.int64),
            "least_expected": np.where(np.isfinite(least), least, np.nan),
            "chi2": np.where(tested, chi2, np.nan),
            "freedom": np.maximum(freedom, 0).astype(np.int64),
            "p": p,
            "p_small": p_small,
            "verdict": verdict,
            "status": status,
            "message": message,
        }
    )
    each = pd.DataFrame(
        {
            "group": groups.spread(np.asarray(labels, dtype=object)),
            "label": names,
            "observed": count.astype(np.int64),
            "expected": expected,
            "ratio": ratio,
        }
    )
    source = "Pearson's chi-square given the total; Haldane (1937), Biometrika 29, 133-143"
    return Heterogeneity(table, level, "one rate for all units of a class", source, each)


def check_counts(
    failures: npt.ArrayLike, exposure: npt.ArrayLike
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Refuse counts that are none, exposure below 0, and failures without exposure."""
    count = np.atleast_1d(np.asarray(failures, dtype=np.float64))
    size = np.atleast_1d(np.asarray(exposure, dtype=np.float64))
    if count.ndim != 1 or count.shape != size.shape:
        raise InputError(
            f"has shape {count.shape} where exposure has {size.shape}",
            where="failures",
            hint="give one number per unit in both",
        )
    for name, values in (("failures", count), ("exposure", size)):
        bad = ~np.isfinite(values) | (values < 0)
        if name == "failures":
            bad |= np.isfinite(values) & (values != np.rint(values))
        if bad.any():
            i = int(np.argmax(bad))
            kind = "a whole number, zero or more" if name == "failures" else "zero or more"
            raise InputError(f"is {values[i]:g}, not {kind}", where=f"{name}[{i}]")
    lost = (size == 0) & (count > 0)
    if lost.any():
        raise InputError(
            "has failures without time at risk",
            where=f"exposure[{int(np.argmax(lost))}]",
            hint="give the time in which they were counted",
        )
    return count, size
