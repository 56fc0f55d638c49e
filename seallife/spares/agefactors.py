"""At which ages does a fleet's seals fail more or less often than Weibull laws say?

In: failures counted and due in steps of age, each so many times as old as the one before. Out:
factors, many sets of them. Next: `seallife.spares.lawdraws`.

The log of the factor is a smooth curve over the log of age. A straight one is no news: it turns a
Weibull law into another. It bends where one cause takes over from another.
"""

from __future__ import annotations

import numpy as np

from seallife.life.groups import Floats

__all__ = ["draw_age_factors"]

_BEND = 2.5  # change of slope over an e-fold of age: from fitting faults to ageing it is 2 to 3
_LEVEL, _TILT = 1.0, 0.5  # of the log factor and its slope, prior standard deviations as all here
_TOP = 6.0  # of the log factor
_ROUNDS, _FARTHEST, _CLOSE = 40, 2.0, 1e-6


def draw_age_factors(count: Floats, due: Floats, step: float, rng: np.random.Generator) -> Floats:
    """By which factors may failures at each age differ from those due?

    Parameters
    ----------
    count : ndarray, shape (k,)
        Failures in steps of age; 0 where none could be seen.
    due : ndarray, shape (draws, k)
        Failures expected in each by laws that the records allow.
    step : float
        Width of a step in log age.
    rng : Generator

    Returns
    -------
    ndarray, shape (draws, k)
        One set for each set of laws. Where nothing is due, curves go on as they may bend.

    Notes
    -----
    Second differences of the log factor are normal, counts Poisson. Curves are drawn around the
    most likely one (Laplace).

    Source
    ------
    Fahrmeir & Lang (2001), Applied Statistics 50, 201-220 (second-order random walks; from memory).
    """
    draws, k = due.shape
    prior = _prior(k, step)
    top = np.zeros(due.shape)
    each = np.arange(k)
    narrow = np.empty((draws, k, k))
    for _ in range(_ROUNDS):
        mean = due * np.exp(top)
        narrow[:] = prior
        narrow[:, each, each] += mean
        move = np.linalg.solve(narrow, (count - mean - top @ prior)[..., None])[..., 0]
        size = np.abs(move).max(axis=1, keepdims=True)
        top += move * np.minimum(1.0, _FARTHEST / np.maximum(size, _CLOSE))
        if size.max() < _CLOSE:
            break
    root = np.linalg.cholesky(narrow).transpose(0, 2, 1)
    off = np.linalg.solve(root, rng.standard_normal((draws, k, 1)))[..., 0]
    return np.asarray(np.exp(np.clip(top + off, -_TOP, _TOP)))


def _prior(k: int, step: float) -> Floats:
    """Inverse covariance of the log factors."""
    second = np.diff(np.eye(k), n=2, axis=0)
    bends = second.T @ second / (_BEND**2 * step**3)
    along = step * (np.arange(k) - (k - 1) / 2)
    slope = along / (along**2).sum()
    return np.asarray(bends + 1 / (k * _LEVEL) ** 2 + np.outer(slope, slope) / _TILT**2)
