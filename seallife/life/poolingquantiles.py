"""What do the classes' posteriors say of shape, scale, quantiles and survival?

In: `ClassLikelihoods`, `Laws`. Out: quantiles of each quantity, shares borrowed. Next:
`seallife.life.pooling`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints
from seallife.life.poolinggrid import ClassLikelihoods, Nodes
from seallife.life.poolinglaw import Laws

__all__ = ["law_quantiles", "posterior_quantiles", "quantities_of"]

_BINS = 400  # of each posterior, over 16 standard deviations
_MANY = 100  # equally weighted laws

Quantity = Callable[[Floats, Floats], Floats]


def quantities_of(shares: Floats, log_ages: Floats) -> list[Quantity]:
    """What is wanted, as functions of log shape and log scale: logs, and log of log survival."""

    def log_age(k: float) -> Quantity:
        return lambda a, m: m + k * np.exp(-a)

    def standard(x: float) -> Quantity:
        return lambda a, m: np.exp(a) * (x - m)

    noise = np.log(-np.log1p(-shares)).tolist()
    return [
        lambda a, m: np.broadcast_to(a, m.shape),
        log_age(0.0),
        *(log_age(k) for k in noise),
        *(standard(x) for x in log_ages.tolist()),
    ]


def posterior_quantiles(
    classes: ClassLikelihoods, laws: Laws, quantities: list[Quantity], probabilities: Floats
) -> tuple[Floats, Floats]:
    """Quantiles of each quantity, (q, probabilities, g), and shares borrowed, (2, g).

    First the middle and width of each quantity, then its distribution in bins that fit.
    """
    g, q = len(classes.failures), len(quantities)
    moments, borrowed = np.zeros((q, 2, g)), np.zeros((2, g))
    variance = np.exp(2 * laws.law[:, 2:4])

    def add(out: Floats, group: NDArray[np.int64], values: Floats) -> None:
        out += np.bincount(group, values, minlength=g)

    def values(nodes: Nodes, k: int) -> Floats:
        return quantities[k](nodes.log_shape, nodes.log_scale)

    # a quarter of the laws is enough to say where the bins must lie
    some = laws.every(4 if laws.effective >= _MANY else 1)

    def powers(group: Ints, which: Ints, nodes: Nodes) -> tuple[Ints, list[tuple[Floats, Floats]]]:
        share, found = some.weight[which], []
        for k in range(q):
            x = values(nodes, k)
            mean = np.einsum("pij,pij->p", nodes.weight, x)
            found.append((share * mean, share * np.einsum("pij,pij,pij->p", nodes.weight, x, x)))
        return group, found

    for group, found in some.over_blocks(classes, powers):
        for k, (mean, square) in enumerate(found):
            add(moments[k, 0], group, mean)
            add(moments[k, 1], group, square)
    middle = moments[:, 0]
    sd = np.sqrt(np.maximum(moments[:, 1] - middle**2, 0.0) + 1e-18)
    low, width = middle - 8 * sd, 16 * sd / _BINS
    counts = np.zeros((q, g * _BINS))

    def binned(group: Ints, which: Ints, nodes: Nodes) -> tuple[Ints, list[Floats], list[Floats]]:
        share = laws.weight[which]
        w = (nodes.weight * share[:, None, None]).ravel()
        start, first = group.min(), group[:, None, None]
        bins: list[Floats] = []
        lent: list[Floats] = []
        for k in range(q):
            x = values(nodes, k)
            at = (x - low[k][first]) / width[k][first]
            at = np.clip(at, 0, _BINS - 1).astype(np.int64) + (first - start) * _BINS
            bins.append(np.bincount(at.ravel(), w).astype(np.float64))
            if k < 2:
                mean = np.einsum("pij,pij->p", nodes.weight, x)
                spread = np.einsum("pij,pij->p", nodes.weight, (x - mean[:, None, None]) ** 2)
                lent.append(share * np.minimum(spread / variance[which, k], 1.0))
        return group, bins, lent

    for group, bins, lent in laws.over_blocks(classes, binned):
        start = int(group.min()) * _BINS
        for k, one in enumerate(bins):
            counts[k, start : start + len(one)] += one
        for k, part in enumerate(lent):
            add(borrowed[k], group, part)
    out = np.empty((q, len(probabilities), g))
    reached = np.cumsum(counts.reshape(q, g, _BINS), axis=2)
    reached /= reached[..., -1:]
    for j, p in enumerate(probabilities.tolist()):
        bin_ = (reached >= p).argmax(axis=2)[..., None]
        above = np.take_along_axis(reached, bin_, 2)[..., 0]
        below = np.take_along_axis(reached, np.maximum(bin_ - 1, 0), 2)[..., 0]
        below = np.where(bin_[..., 0] == 0, 0.0, below)
        out[:, j] = low + width * (bin_[..., 0] + (p - below) / (above - below))
    return out, borrowed


def law_quantiles(laws: Laws, probabilities: Floats) -> Floats:
    """Quantiles of the five numbers of the law of the classes, (5, probabilities)."""
    out = np.empty((5, len(probabilities)))
    for k in range(5):
        order = np.argsort(laws.law[:, k], kind="stable")
        weight = laws.weight[order]
        out[k] = np.interp(probabilities, np.cumsum(weight) - weight / 2, laws.law[order, k])
    return np.vstack((np.exp(out[:4]), np.tanh(out[4:])))
