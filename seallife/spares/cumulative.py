"""How is a law of life written down here?

In: shapes and scales, a function of age, or a table of knots. Out: the cumulative failure rate as
a function of age. Next: `seallife.spares.renewal`, `seallife.spares.replacement`.

All the rest of a law follows from its cumulative rate H: a share exp(-H(x)) of the seals runs past
the age x, and causes that work side by side simply add theirs. The unit is the caller's: run hours
or days. The one is the other times a factor, the hours a day that a position runs.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["FAR", "Law", "cumulative_rate", "law_of_causes", "running_time"]

Law = Callable[[Floats], Floats] | tuple[ArrayLike, ArrayLike]
"""Cumulative failure rate: a function of an array of ages, or (ages, cumulative) at knots."""

FAR = 1e6
"""Last age looked at, over the last knot: nothing runs so long, or nothing ever fails."""


def cumulative_rate(law: Law) -> Callable[[Floats], Floats]:
    """What is the cumulative failure rate of a law at any age?

    Parameters
    ----------
    law : callable or (ages, cumulative)
        A function of ages; or knots, ages from 0 rising and cumulative rates that never fall, taken
        as straight between knots and on at the last slope beyond.

    Returns
    -------
    callable

    Raises
    ------
    InputError
        Knots that do not make a law.
    """
    if callable(law):
        return law
    ages, total = (np.asarray(part, dtype=np.float64) for part in law)
    if ages.ndim != 1 or ages.shape != total.shape or len(ages) < 2:
        raise InputError(
            f"have shapes {ages.shape} and {total.shape}",
            where="law",
            hint="give as many cumulative rates as ages, two or more",
        )
    rises = bool(ages[0] == 0 and np.all(np.diff(ages) > 0) and np.all(np.diff(total) >= 0))
    if not (rises and total[0] >= 0 and np.isfinite(total).all()):
        raise InputError(
            "are not those of a law of life",
            where="law",
            hint="give ages from 0 that rise, and cumulative rates that never fall",
        )
    slope = (total[-1] - total[-2]) / (ages[-1] - ages[-2])

    def at(age: Floats) -> Floats:
        beyond = np.maximum(np.asarray(age, dtype=np.float64) - ages[-1], 0.0)
        return np.asarray(np.interp(age, ages, total) + slope * beyond)

    return at


def law_of_causes(
    shape: ArrayLike,
    scale: ArrayLike,
    *,
    early_share: float = 0.0,
    early_shape: float = 1.0,
    early_scale: float = np.inf,
) -> Callable[[Floats], Floats]:
    """Which law do seals follow that fail from whichever of several causes comes first?

    Parameters
    ----------
    shape, scale : array_like, shape (k,) or scalar
        Weibull law of each cause.
    early_share : float
        Share of seals fitted with a fault; only these have one cause more.
    early_shape, early_scale : float
        Weibull law of that cause.

    Returns
    -------
    callable
        Cumulative failure rate as a function of age.

    Raises
    ------
    InputError
        A shape or scale is not above 0, or the share not from 0 to below 1.

    Examples
    --------
    >>> law = law_of_causes([1.0, 2.2], [90_000, 34_000], early_share=0.05, early_shape=0.8,
    ...                     early_scale=1_200)
    >>> round(float(np.exp(-law(np.array([8_760.0])))[0]), 3)
    0.82
    """
    shapes, scales = np.broadcast_arrays(
        np.atleast_1d(np.asarray(shape, dtype=np.float64)),
        np.atleast_1d(np.asarray(scale, dtype=np.float64)),
    )
    for name, values in (
        ("shape", np.append(shapes, early_shape)),
        ("scale", np.append(scales, early_scale)),
    ):
        if not np.all(values > 0):
            raise InputError("is not above 0", where=name, hint="give figures above 0")
    if not 0 <= early_share < 1:
        raise InputError(f"is {early_share!r}", where="early_share", hint="give a share below 1")

    def at(age: Floats) -> Floats:
        x = np.asarray(age, dtype=np.float64)
        total: Floats = np.asarray(((x[..., None] / scales) ** shapes).sum(axis=-1))
        fault = np.expm1(-((x / early_scale) ** early_shape))
        return np.asarray(total - np.log1p(early_share * fault))

    return at


def running_time(ages: Floats, cumulative: Floats) -> Floats:
    """How long does a seal run on average between a first age and later ones?

    Parameters
    ----------
    ages : ndarray, shape (..., k)
        From the first age on, never falling.
    cumulative : ndarray, shape (..., k)
        Cumulative failure rate at those ages, straight between them.

    Returns
    -------
    ndarray, shape (..., k)
        Mean time until failure or that age, whichever comes first, of a seal that runs at the first
        age: the integral of exp(-(H(x) - H(first))), exact for such a rate.
    """
    length, rise = np.diff(ages), np.diff(cumulative)
    alive = np.exp(cumulative[..., :1] - cumulative[..., :-1])
    flat = rise < 1e-12
    mean = -np.expm1(-rise) / np.where(flat, 1.0, rise)
    pieces = alive * length * np.where(flat, 1.0, mean)
    return np.concatenate((np.zeros_like(pieces[..., :1]), np.cumsum(pieces, axis=-1)), axis=-1)
