"""Is one forecast better than another, by more than the luck of a few years?

In: scores of both for the same forecasts. Out: `Skill`. Next: `seallife.scorecard`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints

__all__ = ["Skill", "skill_over"]


@dataclass(frozen=True, eq=False)
class Skill:
    """By how much a forecast's scores are smaller than those of another, a forecast.

    Attributes
    ----------
    gain : float
        Mean of the other's score less the forecast's own: above 0 it is the better one.
    low, high : float
        Limits; NaN where there is only one block.
    blocks : int
        Blocks of forecasts that were drawn.
    level : float
    resamples, seed : int
    """

    gain: float
    low: float
    high: float
    blocks: int
    level: float
    resamples: int
    seed: int


def skill_over(
    scores: npt.ArrayLike,
    others: npt.ArrayLike,
    block: npt.ArrayLike,
    *,
    level: float = 0.90,
    resamples: int = 4_000,
    seed: int = 1,
) -> Skill:
    """By how much is a forecast better than another, as far as these years can tell?

    Parameters
    ----------
    scores, others : array_like, shape (n,)
        Scores of both for the same forecasts, smaller being better.
    block : array_like, shape (n,)
        Forecasts made at one time share its luck and stand or fall together.
    level : float
    resamples, seed : int

    Returns
    -------
    Skill

    Notes
    -----
    Blocks are drawn with replacement. Percentiles of so few are too tight; they are taken further
    out, where those of a normal sample would give the limits of Student.

    Source
    ------
    Hesterberg (2015), American Statistician 69, 371-386, sec. 4.4: the expanded percentile
    interval (from memory).
    """
    from scipy.special import ndtr, stdtrit

    ours, theirs = (np.atleast_1d(np.asarray(v, float)) for v in (scores, others))
    names = np.atleast_1d(np.asarray(block))
    if not len(ours) == len(theirs) == len(names) or not len(ours):
        raise InputError(
            f"{len(ours)} scores, {len(theirs)} of the other forecast and {len(names)} blocks",
            where="scores",
            hint="give one of each a forecast",
        )
    if not (np.isfinite(ours).all() and np.isfinite(theirs).all()):
        raise InputError("are not all finite", where="scores", hint="leave such forecasts out")
    if not 0 < level < 1:
        raise InputError(f"is {level}, not between 0 and 1", where="level")
    _, code = np.unique(names, return_inverse=True)
    sums = np.asarray(np.bincount(code, theirs - ours), dtype=float)
    sizes = np.bincount(code)
    blocks = len(sizes)
    gain, low, high = float(sums.sum() / sizes.sum()), np.nan, np.nan
    if blocks > 1:
        student = stdtrit(blocks - 1, (1 + level) / 2)
        outside = float(ndtr(-student * np.sqrt(blocks / (blocks - 1))))
        drawn = _drawn_means(sums, sizes, resamples, seed)
        low, high = np.quantile(drawn, [outside, 1 - outside]).tolist()
    return Skill(gain, low, high, blocks, level, resamples, seed)


def _drawn_means(sums: Floats, sizes: Ints, resamples: int, seed: int) -> Floats:
    """Mean gain a forecast of each drawing of whole blocks."""
    rng = np.random.default_rng(seed)
    times = rng.multinomial(len(sums), np.full(len(sums), 1 / len(sums)), size=resamples)
    return np.asarray((times @ sums) / (times @ sizes))
