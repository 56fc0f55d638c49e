"""The median of values of which some are known as bounds only.

In: bounds. Out: medians. Next: `seallife.leakage.slopes`.
"""

from __future__ import annotations

import numpy as np

from seallife.leakage.segments import Bools
from seallife.life.groups import Floats

__all__ = ["middle"]

_ROUNDS = 300
_SAME = 1e-9


def middle(low: Floats, high: Floats) -> Floats:
    """Where does half of the values lie below, as far as can be told?

    Parameters
    ----------
    low, high : ndarray, shape (g, n)
        Bounds of each value: equal, or open downwards (below detection), or open upwards.

    Returns
    -------
    ndarray, shape (g,)
        Median by Kaplan & Meier, turned round for values open downwards; by Turnbull where some
        are open on either side; NaN where it lies beyond what is known. Where exactly half of the
        values lie below a stretch without any, its middle, or its known end.

    Source
    ------
    Helsel (2005), Nondetects and Data Analysis, ch. 6; Turnbull (1974), J. Am. Stat. Assoc. 69,
    169-173.
    """
    exact = low == high
    # an interval with two ends is known no worse than its middle here
    inside = ~exact & np.isfinite(low) & np.isfinite(high)
    centre = np.where(inside, (np.where(inside, low, 0) + np.where(inside, high, 0)) / 2, low)
    exact = exact | inside
    upward = np.isposinf(high)
    downward = ~exact & ~upward
    value = np.where(downward, high, centre)
    out = np.full(len(low), np.nan)
    both = downward.any(axis=1) & upward.any(axis=1)
    right = upward.any(axis=1) & ~both
    left = ~both & ~right
    out[left] = _one_sided(value[left], exact[left])
    out[right] = -_one_sided(-value[right], exact[right])
    if both.any():
        out[both] = _two_sided(value[both], exact[both], upward[both])
    return out


def _one_sided(value: Floats, exact: Bools) -> Floats:
    """Median where values that are not exact are open downwards."""
    n = value.shape[1]
    # of equal numbers the limit first: what is below it is among those at or below the value
    order = np.lexsort((exact, value), axis=1)
    value, exact = np.take_along_axis(value, order, 1), np.take_along_axis(exact, order, 1)
    step = np.where(exact, 1 - 1 / np.arange(1.0, n + 1), 1.0)
    under: Floats = np.asarray(np.cumprod(step[:, ::-1], axis=1)[:, ::-1], dtype=np.float64)
    upto = np.concatenate([under[:, 1:], np.ones((len(value), 1))], axis=1)
    return _median(value, exact, upto, under)


def _median(value: Floats, exact: Bools, upto: Floats, under: Floats) -> Floats:
    """Median from the share at or below each value and the share below it."""
    n = value.shape[1]
    first = np.argmax(exact & (upto >= 0.5 - _SAME), axis=1)
    second = np.argmax(exact & (upto > 0.5 + _SAME), axis=1)
    rows = np.arange(len(value))
    lowest = np.argmax(exact, axis=1)
    known = exact.any(axis=1) & (under[rows, lowest] <= 0.5 + _SAME)
    highest = n - 1 - np.argmax(exact[:, ::-1], axis=1)
    known &= upto[rows, highest] >= 0.5 - _SAME
    ends = (exact & (upto > 0.5 + _SAME)).any(axis=1)
    second = np.where(ends, second, first)
    return np.where(known, (value[rows, first] + value[rows, second]) / 2, np.nan)


def _two_sided(value: Floats, exact: Bools, upward: Bools) -> Floats:
    """Median where some values are open downwards and some upwards: Turnbull's rounds."""
    g, n = value.shape
    # limits from above stand before equal values, scale ends after them
    kind = np.where(exact, 1, np.where(upward, 2, 0))
    order = np.lexsort((kind, value), axis=1)
    value, kind = np.take_along_axis(value, order, 1), np.take_along_axis(kind, order, 1)
    known, down, up = kind == 1, kind == 0, kind == 2
    share = known / n
    bottom = top = np.full(g, 0.5 / n)
    for _ in range(_ROUNDS):
        total = (bottom + top + share.sum(axis=1))[:, None]
        share, bottom, top = share / total, bottom / total[:, 0], top / total[:, 0]
        upto = bottom[:, None] + np.cumsum(share, axis=1)
        # a value below its limit is shared out over what lies there, and the same above
        below = np.where(down, 1 / upto, 0.0)
        above = np.where(up, 1 / np.maximum(1 - upto, 1e-300), 0.0)
        gain = np.cumsum(below[:, ::-1], axis=1)[:, ::-1] + np.cumsum(above, axis=1)
        share = known / n + share * gain / n
        bottom, top = bottom * below.sum(axis=1) / n, top * above.sum(axis=1) / n
    upto = bottom[:, None] + np.cumsum(share, axis=1)
    return _median(value, known, upto, upto - share)
