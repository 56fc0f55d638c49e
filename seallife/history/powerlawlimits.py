"""Limits of the rate of a power law at the end, and whether the law fits.

In: `Systems` and sums over them. Out: limits, p. Next: `seallife.history.powerlaw`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from seallife.history.systems import Systems
from seallife.life.groups import Floats, Ints, segment_max
from seallife.life.lifedata import check_level

__all__ = ["fit_test", "handbook_mtbf_limits", "null_statistics", "rate_limits"]

_NODES = np.linspace(-7.0, 7.0, 57)  # of a standard normal: trapezoids over it are exact enough
_LARGEST = 400  # events in a simulated fit statistic: beyond them its law hardly moves


def handbook_mtbf_limits(
    mtbf: ArrayLike, events: ArrayLike, *, level: float = 0.90
) -> tuple[Floats, Floats]:
    """Between which limits does the mean time between failures at the end lie, by the handbook?

    A published approximation for watching that ended by time, kept for comparison: it is for
    ``mtbf`` with the unbiased shape. `power_law` has limits that hold with few events too.

    Parameters
    ----------
    mtbf : array_like, shape (n,)
        End over events and over the unbiased shape.
    events : array_like of int, shape (n,)
    level : float
        Two-sided.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.2.

    Examples
    --------
    >>> [float(limit.round(1)) for limit in handbook_mtbf_limits(310.234, 10, level=0.80)]
    [157.7, 548.6]
    """
    from scipy.special import ndtri

    check_level(level)
    m, n = np.asarray(mtbf, dtype=np.float64), np.asarray(events, dtype=np.float64)
    z = ndtri((1 + level) / 2)
    few = n <= z * np.sqrt(n / 2)
    up = np.where(few, np.nan, n - z * np.sqrt(n / 2))
    down = n + z**2 / 4 + np.sqrt(n * z**2 / 2 + z**4 / 16)
    low, high = (np.asarray(m * n * (n - 1) / by**2) for by in (down, up))
    return low, np.where(few, np.inf, high)


def rate_limits(
    data: Systems, events: Ints, freedom: Floats, logs: Floats, level: float
) -> tuple[Floats, Floats]:
    """Limits of the rate of one system at the longest end.

    The shape is V / S with V gamma of ``freedom``; the expected events of all systems are W, gamma
    of the events (and a half, if watching ended by time). The rate is their product over
    longest * sum of (end / longest)^shape; its law is summed over V.
    """
    from scipy.special import gammainc, gammaincinv, ndtr

    known = np.isfinite(logs)
    of = np.repeat(np.arange(len(data)), np.diff(data.units))
    longest = segment_max(data.end, data.units)
    ends = np.log(data.end / longest[of])
    share = ndtr(_NODES)
    v = gammaincinv(np.where(known, freedom, 1.0)[:, None], share[None, :])
    b = v / np.where(known, logs, 1.0)[:, None]
    spread = np.add.reduceat(np.exp(b[of] * ends[:, None]), data.units[:-1], axis=0)
    worth = longest[:, None] * spread / b
    weight = np.exp(-(_NODES**2) / 2)
    weight /= weight.sum()
    counts = events + (0.5 if data.truncated_by == "time" else 0.0)
    counts = np.where(known, counts, 1.0)[:, None]
    out = []
    for tail in ((1 - level) / 2, (1 + level) / 2):
        middle = np.log(counts[:, 0] / (worth @ weight))
        down, up = middle - 40.0, middle + 40.0
        for _ in range(48):
            at = (down + up) / 2
            held = gammainc(counts, np.exp(at)[:, None] * worth) @ weight
            down, up = np.where(held < tail, at, down), np.where(held < tail, up, at)
        out.append(np.where(known, np.exp((down + up) / 2), np.nan))
    return out[0], out[1]


def fit_test(
    data: Systems, freedom: Floats, unbiased: Floats, resamples: int, seed: int
) -> tuple[Floats, Floats]:
    """Cramer-von Mises statistic of each group, and how often chance gives one as large."""
    free = data.free
    of = np.repeat(np.arange(len(data)), np.diff(data.group_events))
    share = data.relative()[free] ** unbiased[of][free]
    offsets = np.concatenate([[0], np.cumsum(freedom)]).astype(np.int64)
    size = np.diff(offsets)
    group = np.repeat(np.arange(len(data)), size)
    share = share[np.lexsort((share, group))]
    place = np.arange(len(share)) - np.repeat(offsets[:-1], size)
    gap = (share - (2 * place + 1) / (2 * np.repeat(np.maximum(size, 1), size))) ** 2
    total = np.bincount(group, gap, minlength=len(data)) + 1 / (12 * np.maximum(size, 1))
    statistic = np.where(size > 1, total, np.nan)
    p = np.full(len(data), np.nan)
    many = np.minimum(size, _LARGEST)
    for m in np.unique(many[size > 1]).tolist():
        null = null_statistics(m, resamples, seed)
        mine = (many == m) & (size > 1)
        p[mine] = (1 + (null[None, :] >= statistic[mine][:, None]).sum(axis=1)) / (1 + resamples)
    return statistic, p


def null_statistics(m: int, resamples: int, seed: int) -> Floats:
    """Statistics of so many events of any power law, refitted each time."""
    logs = np.random.default_rng([seed, m]).standard_exponential((resamples, m))
    shape = (m - 1) / logs.sum(axis=1, keepdims=True)
    share = np.sort(np.exp(-shape * logs), axis=1)
    middle = (2 * np.arange(m) + 1) / (2 * m)
    return np.asarray(((share - middle) ** 2).sum(axis=1) + 1 / (12 * m))
