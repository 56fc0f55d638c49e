"""How likely is a lognormal law, for readings of which some are known as bounds only?

In: bounds, coefficients. Out: log-likelihood with its derivatives. Next: `seallife.leakage.tobit`.
"""

from __future__ import annotations

import numpy as np

from seallife.leakage.segments import Bools
from seallife.life.groups import Floats, Ints, segment_sum

__all__ = ["censored_likelihood"]


def censored_likelihood(
    at: Floats, low: Floats, high: Floats, exact: Bools, x: Floats, offsets: Ints
) -> tuple[Floats, Floats, Floats]:
    """How likely is a law for each segment?

    Parameters
    ----------
    at : ndarray, shape (g, k)
        Coefficients over sigma, then 1 / sigma.
    low, high : ndarray, shape (n,)
        Logs of the bounds, -inf and inf where open.
    exact : ndarray of bool, shape (n,)
    x : ndarray, shape (n, k - 1)
    offsets : ndarray of int, shape (g + 1,)
        Rows of segment i are ``offsets[i]:offsets[i + 1]``.

    Returns
    -------
    tuple of ndarray
        Log-likelihood (g,), gradient (g, k) and Hessian (g, k, k) in ``at``.
    """
    from scipy.special import log_ndtr

    full = np.repeat(at, np.diff(offsets), axis=0)
    line = (full[:, :-1] * x).sum(axis=1)
    upper, lower = full[:, -1] * high - line, full[:, -1] * low - line
    # of each row: value, its slope along both ends and the second derivatives of the two
    value = np.zeros(len(low))
    first, second = np.zeros((2, len(low))), np.zeros((3, len(low)))
    below, above = ~exact & np.isneginf(low), ~exact & np.isposinf(high)
    inside = ~(exact | below | above)
    value[exact] = np.log(full[exact, -1]) - lower[exact] ** 2 / 2 - np.log(2 * np.pi) / 2
    first[0, exact], second[0, exact] = -lower[exact], -1.0
    for rows, z, sign, k in ((below, upper, 1.0, 0), (above, lower, -1.0, 1)):
        tail = log_ndtr(sign * z[rows])
        mills = np.exp(-(z[rows] ** 2) / 2 - np.log(2 * np.pi) / 2 - tail)
        value[rows], first[k, rows] = tail, sign * mills
        second[k, rows] = -mills * (mills + sign * z[rows])
    if inside.any():
        a, b = lower[inside], upper[inside]
        flip = a > 0
        a, b = np.where(flip, -b, a), np.where(flip, -a, b)
        tail = log_ndtr(b) + np.log(-np.expm1(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-300)))
        pa, pb = (np.exp(-(v**2) / 2 - np.log(2 * np.pi) / 2 - tail) for v in (a, b))
        value[inside] = tail
        one, two = np.where(flip, pa, pb), np.where(flip, pb, pa)
        za, zb = lower[inside], upper[inside]
        first[0, inside], first[1, inside] = one, -two
        second[0, inside] = -one * zb - one**2
        second[1, inside] = two * za - two**2
        second[2, inside] = one * two
    ends = (np.where(below | inside, high, low), low)
    designs = [
        np.concatenate([-x, np.where(np.isfinite(e), e, 0.0)[:, None]], axis=1) for e in ends
    ]
    slope = first[0][:, None] * designs[0] + first[1][:, None] * designs[1]
    slope[exact, -1] += 1 / full[exact, -1]
    k = at.shape[1]
    gradient = np.stack([segment_sum(slope[:, i], offsets) for i in range(k)], axis=1)
    hessian = np.empty((len(at), k, k))
    for i in range(k):
        for j in range(i + 1):
            p, q = designs
            term = second[0] * p[:, i] * p[:, j] + second[1] * q[:, i] * q[:, j]
            term += second[2] * (p[:, i] * q[:, j] + q[:, i] * p[:, j])
            if i == j == k - 1:
                term = term - np.where(exact, 1 / full[:, -1] ** 2, 0.0)
            hessian[:, i, j] = hessian[:, j, i] = segment_sum(term, offsets)
    return segment_sum(value, offsets), gradient, hessian
