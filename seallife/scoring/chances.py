"""Were chances right: of those given 30 %, did three in ten happen?

In: what happened, chances, as plain arrays. Out: `ChanceScores`. Next: `seallife.scorecard`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.history.rates import share_limits
from seallife.life.result import TableResult

__all__ = ["BANDS", "ChanceScores", "score_chances"]

BANDS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0)
"""Edges of the bands of chances, where none are given."""

_METHOD = "chances by bands against shares that happened, exact binomial limits"
_SOURCE = (
    "Brier (1950), Monthly Weather Review 78, 1-3; Spiegelhalter (1986), Stat. Med. 5, 421-433"
)


@dataclass(frozen=True, eq=False)
class ChanceScores(TableResult):
    """How well chances agree with what happened.

    Attributes
    ----------
    table : DataFrame
        One row a band of chances that holds any: ``band``, ``low`` and ``high`` edge; ``asked``,
        ``happened``, ``expected`` numbers; ``chance`` (mean given), ``share`` (that happened) with
        ``share_low``, ``share_high``; ``status`` ('ok', 'too low', 'too high': of the chances
        given), ``message``.
    asked, happened : int
    expected : float
        Sum of the chances.
    brier, log_score : float
        Mean scores, smaller being better; the log score in nats.
    brier_of_share : float
        Brier score of giving all the share that happened.
    lean : float
        Number that happened less those foretold, in standard deviations: above 0 too few were.
    z, p : float
        Spiegelhalter's statistic, standard normal where chances are right, and its two-sided
        probability; NaN where all chances are 0, a half or 1.
    """

    asked: int
    happened: int
    expected: float
    brier: float
    log_score: float
    brier_of_share: float
    lean: float
    z: float
    p: float


def score_chances(
    happened: npt.ArrayLike,
    chance: npt.ArrayLike,
    *,
    bands: Sequence[float] = BANDS,
    level: float = 0.90,
) -> ChanceScores:
    """Did things given a chance happen about that often?

    Parameters
    ----------
    happened : array_like of bool or 0 and 1, shape (n,)
    chance : array_like, shape (n,)
    bands : sequence of float
        Rising edges from 0 to 1; a chance on an edge belongs to the band above it.
    level : float
        Of the limits of each share.

    Returns
    -------
    ChanceScores

    Raises
    ------
    InputError
        No chances, chances outside 0 to 1, outcomes that are neither yes nor no, edges that do not
        rise from 0 to 1.

    Examples
    --------
    >>> round(score_chances([1, 0], [0.7, 0.3]).brier, 2)
    0.09
    """
    from scipy.special import ndtr

    came, p = (np.atleast_1d(np.asarray(v, float)) for v in (happened, chance))
    if not len(p) or came.shape != p.shape or p.ndim != 1:
        raise InputError(
            f"{came.size} outcomes for {p.size} chances", where="happened", hint="give one of each"
        )
    if not np.isin(came, (0.0, 1.0)).all():
        raise InputError("must be yes or no", where="happened")
    if not ((p >= 0) & (p <= 1)).all():
        raise InputError("must lie between 0 and 1", where="chance")
    edges = np.asarray(bands, float)
    if len(edges) < 2 or edges[0] != 0 or edges[-1] != 1 or (np.diff(edges) <= 0).any():
        raise InputError("must rise from 0 to 1", where="bands")
    if not 0 < level < 1:
        raise InputError(f"is {level}, not between 0 and 1", where="level")
    given = np.where(came == 1, p, 1 - p)
    with np.errstate(divide="ignore"):
        log_score = float(-np.log(given).mean())
    off, spread = came - p, p * (1 - p)
    lean, z = (
        float(np.sum(off * weight) / np.sqrt(np.sum(weight**2 * spread)))
        if np.sum(weight**2 * spread) > 0
        else np.nan
        for weight in (np.ones_like(p), 1 - 2 * p)
    )
    share = came.mean()
    return ChanceScores(
        _bands(came, p, edges, level),
        level,
        _METHOD,
        _SOURCE,
        len(p),
        int(came.sum()),
        float(p.sum()),
        float((off**2).mean()),
        log_score,
        float(share * (1 - share)),
        lean,
        z,
        float(2 * ndtr(-abs(z))),
    )


def _bands(
    came: npt.NDArray[np.float64],
    p: npt.NDArray[np.float64],
    edges: npt.NDArray[np.float64],
    level: float,
) -> pd.DataFrame:
    """One row a band."""
    code = np.clip(np.searchsorted(edges, p, side="right") - 1, 0, len(edges) - 2)
    asked, some = np.bincount(code, minlength=len(edges) - 1), np.unique(code)
    n = asked[some]
    k, due = (np.bincount(code, v, len(edges) - 1)[some] for v in (came, p))
    low, high = share_limits(k, n, level)
    mean = due / n
    status = np.where(mean < low, "too low", np.where(mean > high, "too high", "ok"))
    return pd.DataFrame(
        {
            "band": [
                f"{a:.0%} to {b:.0%}" for a, b in zip(edges[some], edges[some + 1], strict=True)
            ],
            "low": edges[some],
            "high": edges[some + 1],
            "asked": n,
            "happened": k.astype(int),
            "expected": due,
            "chance": mean,
            "share": k / n,
            "share_low": low,
            "share_high": high,
            "status": status,
            "message": np.where(
                status == "ok",
                "",
                [
                    f"{i:.0f} of {j} happened, {d:.1f} were foretold"
                    for i, j, d in zip(k, n, due, strict=True)
                ],
            ),
        }
    )
