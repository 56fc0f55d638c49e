"""Newton's steps to the top of the likelihood of bounded readings, all segments at once.

In: bounds and designs by segment. Out: tops. Next: `seallife.leakage.tobit`.

Segments that have arrived are left behind: a few that climb long do not make all wait.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from seallife.leakage.segments import Bools
from seallife.leakage.tobitlikelihood import censored_likelihood
from seallife.life.groups import Floats, Ints

__all__ = ["Rows", "climb_all"]

_STEPS = 100

Rows = tuple[Floats, Floats, Bools, Floats, Ints]
"""Logs of the bounds, which are exact, design, and offsets of the segments."""


def climb_all(rows: Rows, n: int, k: int, smallest: float) -> tuple[Floats, Floats, Floats, Bools]:
    """Where is the top of each segment?

    Parameters
    ----------
    rows : Rows
    n, k : int
        Segments, and coefficients of each with 1 / sigma.
    smallest : float
        Sigma at which a climb is given up.

    Returns
    -------
    at : ndarray, shape (n, k)
    value : ndarray, shape (n,)
    hessian : ndarray, shape (n, k, k)
    done : ndarray of bool, shape (n,)
    """
    top = walk = _Walk.begin(n, k)
    left = np.arange(n)  # segments that still climb
    value, gradient, hessian = censored_likelihood(walk.at, *rows)
    walk = walk._replace(value=value, gradient=gradient, hessian=hessian)
    for _ in range(_STEPS):
        walk = _step(walk, rows, smallest)
        go = ~walk.done
        if 2 * np.count_nonzero(go) < len(left) or not go.any():
            top = top.put(left, walk)
            if not go.any():
                break
            rows, left, walk = _part(rows, go), left[go], walk.take(go)
    else:
        top = top.put(left, walk)
    return top.at, top.value, top.hessian, top.done


class _Walk(NamedTuple):
    """Where each segment stands on its way to the top."""

    at: Floats
    value: Floats
    gradient: Floats
    hessian: Floats
    damp: Floats
    done: Bools

    @classmethod
    def begin(cls, n: int, k: int) -> _Walk:
        """All at a standard deviation of 1 and no trend."""
        at = np.zeros((n, k))
        at[:, -1] = 1.0
        blank = (np.zeros(n), np.zeros((n, k)), np.zeros((n, k, k)))
        return cls(at, *blank, np.full(n, 1e-3), np.zeros(n, dtype=bool))

    def take(self, which: Bools) -> _Walk:
        """Some of the segments."""
        return self._replace(**{n: v[which] for n, v in self._asdict().items()})

    def put(self, where: Ints, part: _Walk) -> _Walk:
        """Put some of the segments back in their places."""
        out = {n: v.copy() for n, v in self._asdict().items()}
        for name, new in part._asdict().items():
            out[name][where] = new
        return self._replace(**out)


def _part(rows: Rows, which: Bools) -> Rows:
    """Readings of some of the segments."""
    low, high, exact, x, offsets = rows
    sizes = np.diff(offsets)
    kept = np.repeat(which, sizes)
    return low[kept], high[kept], exact[kept], x[kept], np.append(0, np.cumsum(sizes[which]))


def _step(walk: _Walk, rows: Rows, smallest: float) -> _Walk:
    """One damped step of Newton's for each segment that has not arrived."""
    at, value, gradient, hessian, damp, done = walk
    k = at.shape[1]
    raised = -hessian + (damp * np.trace(-hessian, axis1=1, axis2=2) + 1e-12)[:, None, None] * (
        np.eye(k) / k
    )
    step = np.linalg.solve(raised, gradient[..., None])[..., 0]
    # 1 / sigma stays above 0
    room = np.where(step[:, -1] < 0, -0.9 * at[:, -1] / np.minimum(step[:, -1], -1e-300), 1.0)
    step *= np.minimum(1.0, room)[:, None]
    new = censored_likelihood(at + step, *rows)
    better = (new[0] >= value - 1e-12 * np.abs(value)) & ~done
    gain = np.where(better, new[0] - value, np.inf)
    at = np.where(better[:, None], at + step, at)
    small = (np.abs(step) <= 1e-9 * (1 + np.abs(at))).all(axis=1)
    damp = np.where(better, damp / 10, np.minimum(damp * 10, 1e6))
    return _Walk(
        at,
        np.where(better, new[0], value),
        np.where(better[:, None], new[1], gradient),
        np.where(better[:, None, None], new[2], hessian),
        np.where(damp < 1e-9, 0.0, np.maximum(damp, np.where(better, 0.0, 1e-6))),
        done | (better & small & (gain < 1e-9)) | (at[:, -1] > 1 / smallest),
    )
