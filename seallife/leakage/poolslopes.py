"""How do the seals of a class leak on over time, and how much do they differ?

In: slope and standard error of each seal life. Out: `PooledSlopes`. Next: `seallife.leakanswers`.

One seal is read too seldom to tell its slope well. Its neighbours of the class say what slopes are
usual; a seal's own is drawn towards that as far as it is not known better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.result import TableResult, worded_status

__all__ = ["PooledSlopes", "pool_slopes"]

_FEW = 3
_GRID = 80  # spreads between seals that are weighed
_METHOD = (
    "normal random effects of seal lives around their class, the spread between seals weighed over "
    "all that it may be"
)
_SOURCE = (
    "DerSimonian & Laird (1986), Controlled Clinical Trials 7, 177-188 (model); Gelman (2006), "
    "Bayesian Analysis 1, 515-534 (flat prior of the spread); Higgins, Thompson & Spiegelhalter "
    "(2009), JRSS A 172, 137-159 (interval of a new seal)"
)


@dataclass(frozen=True, eq=False)
class PooledSlopes(TableResult):
    """Slopes by class.

    Attributes
    ----------
    table : DataFrame
        Per class: ``group``, ``n`` (seal lives with a slope), ``mean`` with ``mean_low``,
        ``mean_high``, ``spread`` (standard deviation between seals, without that of their
        errors; the middle of what it may be), ``seal_low``, ``seal_high`` (where the slope of
        another seal of the class would lie), ``status``, ``message``.
    each : DataFrame
        Per seal life, in the order given: ``group``, ``slope``, ``slope_se``, ``shrunk`` with
        ``shrunk_se``, ``borrowed`` (share of the class in it, 0 to 1).
    """

    each: pd.DataFrame


def pool_slopes(
    slope: ArrayLike, slope_se: ArrayLike, group: ArrayLike | None = None, *, level: float = 0.90
) -> PooledSlopes:
    """Which slope is usual in each class, and how far do seals differ in it?

    Parameters
    ----------
    slope, slope_se : array_like, shape (n,)
        Slope of each seal life and its standard error, in any one unit; a life of which either is
        not known (NaN) says nothing.
    group : array_like, shape (n,), optional
        Class of each; one class where None.
    level : float

    Returns
    -------
    PooledSlopes

    Raises
    ------
    InputError
        Lengths differ, a standard error is not above 0, or ``level`` is no share.

    Notes
    -----
    Readings end where a seal is taken out, often for its leakage, so steep slopes are cut short
    and the mean of a class is a little too low. Seals under suspicion are read more often, which
    moves no mean here: each seal life counts by what is known of its slope.

    Limits of 90 % hold the mean in 90 to 94 % where 10 seals and more differ as much as their
    errors, and in up to 99 % where few seals are alike: few cannot show that they are.

    Examples
    --------
    >>> got = pool_slopes([0.1, 0.3, 0.2, 0.2], [0.05, 0.05, 0.2, 0.05])["all"]
    >>> f"{got['mean']:.2f} ({got['mean_low']:.2f} to {got['mean_high']:.2f})"
    '0.20 (0.05 to 0.35)'
    """
    y, se = (np.asarray(v, dtype=np.float64) for v in (slope, slope_se))
    label = np.full(y.shape, "all", dtype=object) if group is None else np.asarray(group, object)
    if y.ndim != 1 or y.shape != se.shape or y.shape != label.shape:
        raise InputError(
            f"have shapes {y.shape}, {se.shape} and {label.shape}", where="slope, slope_se, group"
        )
    if not 0 < level < 1:
        raise InputError(f"is {level}", where="level", hint="give a share such as 0.90")
    known = np.isfinite(y) & np.isfinite(se)
    if (se[known] <= 0).any():
        at = int(np.flatnonzero(known)[np.argmax(se[known] <= 0)])
        raise InputError("is not above 0", where=f"slope_se[{at}]")
    codes, names = pd.factorize(pd.Series(label), sort=True)
    if (codes < 0).any():
        raise InputError("is missing", where=f"group[{int(np.argmin(codes))}]")
    return _pooled(y, se, known, codes.astype(np.int64), list(names), level)


def _pooled(
    y: Floats,
    se: Floats,
    known: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    codes: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    names: list[object],
    level: float,
) -> PooledSlopes:
    m = len(names)
    at, own, variance = codes[known], y[known], se[known] ** 2
    n = np.bincount(at, minlength=m)
    enough = n >= _FEW

    def add(values: Floats) -> Floats:
        """Sums by class, shape (classes, spreads)."""
        out = np.zeros((m, values.shape[1]))
        np.add.at(out, at, values)
        return out

    # spreads from none to far more than the slopes show, dense near none
    middle = add(own[:, None])[:, 0] / np.maximum(n, 1)
    shown = np.sqrt(add(((own - middle[at]) ** 2)[:, None])[:, 0] / np.maximum(n - 1, 1))
    step = (np.arange(_GRID) + 0.5) / _GRID
    spread = np.maximum(shown, 1e-300)[:, None] * 6 * step**2
    weight = 1 / (variance[:, None] + spread[at] ** 2)
    whole = np.where(n > 0, 1.0, np.nan)[:, None] * np.maximum(add(weight), 1e-300)
    mean = add(weight * own[:, None]) / whole
    squares = add(weight * (own[:, None] - mean[at]) ** 2)
    likely = 0.5 * (add(np.log(weight)) - np.log(whole) - squares) + np.log(step)[None, :]
    share = np.exp(likely - np.nanmax(likely, axis=1, keepdims=True, initial=-np.inf))
    share /= share.sum(axis=1, keepdims=True)
    share = np.where(enough[:, None], share, 1 / _GRID)
    error = np.sqrt(1 / whole)
    wide = np.sqrt(error**2 + spread**2)
    tails = ((1 - level) / 2, (1 + level) / 2)
    figures = {"mean": (share * mean).sum(axis=1)}
    figures |= dict(
        zip(("mean_low", "mean_high"), _quantiles(share, mean, error, tails), strict=True)
    )
    reached = np.cumsum(share, axis=1) >= 0.5
    figures["spread"] = spread[np.arange(m), reached.argmax(axis=1)]
    figures |= dict(
        zip(("seal_low", "seal_high"), _quantiles(share, mean, wide, tails), strict=True)
    )
    status, message = worded_status(
        m,
        [
            (n == 0, "no slope", "No seal of the class was read often enough for a slope."),
            (
                ~enough & (n > 0),
                "few seals",
                f"Fewer than {_FEW} seals with a slope: nothing can be told of the class.",
            ),
        ],
    )
    table = pd.DataFrame({"group": names, "n": n})
    for name, values in figures.items():
        table[name] = np.where(enough, values, np.nan)
    table = table.assign(status=status, message=message)
    # each seal, drawn towards the mean at each spread, over all spreads
    lean = variance[:, None] * weight
    drawn = lean * mean[at] + (1 - lean) * own[:, None]
    left = (1 - lean) * variance[:, None] + (lean * error[at]) ** 2
    p = share[at]
    centre = (p * drawn).sum(axis=1)
    spared = np.sqrt((p * (left + (drawn - centre[:, None]) ** 2)).sum(axis=1))
    each = pd.DataFrame({"group": [names[c] for c in codes], "slope": y, "slope_se": se})
    for name, values in (
        ("shrunk", centre),
        ("shrunk_se", spared),
        ("borrowed", (p * lean).sum(axis=1)),
    ):
        column = np.full(len(y), np.nan)
        column[known] = np.where(enough[at], values, np.nan)
        each[name] = column
    return PooledSlopes(table, level, _METHOD, _SOURCE, each)


def _quantiles(
    share: Floats, mean: Floats, error: Floats, at: tuple[float, ...]
) -> tuple[Floats, ...]:
    """Quantiles of mixtures of normal laws, one a row."""
    from scipy.special import ndtr

    out = []
    for p in at:
        low, high = (mean - 40 * error).min(axis=1), (mean + 40 * error).max(axis=1)
        for _ in range(60):
            middle = (low + high) / 2
            below = (share * ndtr((middle[:, None] - mean) / error)).sum(axis=1) < p
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        out.append((low + high) / 2)
    return tuple(out)
