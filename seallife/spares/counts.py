"""How is the number of seals needed distributed, given its mean and variance?

In: means and variances, one column for each of several equally likely laws. Out: `Counts`. Next:
`seallife.spares.stock`.

The family follows from the two: Poisson where the variance is the mean, negative binomial above
it (the rate itself is uncertain), binomial below it (at most so many seals can be needed).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["MEASURES", "Counts", "counts_of", "shares_of"]

MEASURES = ("no shortage", "fill rate")
"""What a share of service may refer to."""

_AS_POISSON = 1e-9  # of the mean; a variance nearer to it is taken as equal


@dataclass(frozen=True, eq=False)
class Counts:
    """Number of seals needed, by pool: an even mixture over the laws in its columns.

    Attributes
    ----------
    mean, variance : ndarray, shape (p, q)
        Of the number needed in p pools under each of q laws.
    """

    mean: Floats
    variance: Floats

    @property
    def expected(self) -> Floats:
        """Mean number needed over all laws, shape (p,)."""
        return np.asarray(self.mean.mean(axis=1))

    def at_most(self, count: Floats) -> Floats:
        """Probability that no more than so many are needed, shape (p,)."""
        return np.asarray(self.each_at_most(count).mean(axis=1))

    def each_at_most(self, count: Floats) -> Floats:
        """The same under each law, shape (p, q)."""
        return self._cumulative(count, 0)

    def met(self, count: Floats) -> Floats:
        """Of all seals needed, the share needed in times that need no more than so many, (p,).

        For a Poisson number P(D <= count - 1), which is the chance that a seal needed finds one
        on the shelf. 1 where none are needed.
        """
        total = self.mean.sum(axis=1)
        held = (self.mean * self._cumulative(count - 1, 1)).sum(axis=1)
        return np.where(total > 0, held / np.where(total > 0, total, 1.0), 1.0)

    def smallest(self, share: Floats, measure: str) -> Floats:
        """Smallest stock whose service comes up to a share, shape (p,).

        Raises
        ------
        InputError
            The measure is none of `MEASURES`.
        """
        if measure not in MEASURES:
            raise InputError(f"{measure!r} is not known", where="measure", hint=f"use {MEASURES}")
        reached = self.at_most if measure == "no shortage" else self.met
        low, high = np.zeros(len(share)), np.ceil(self.mean.max(axis=1)) + 1
        while np.any(few := reached(high) < share):
            high = np.where(few, 2 * high, high)
        while np.any(low < high):
            middle = np.floor((low + high) / 2)
            enough = reached(middle) >= share
            low, high = np.where(enough, low, middle + 1), np.where(enough, middle, high)
        return low

    def _cumulative(self, count: Floats, more: int) -> Floats:
        """P(number <= count) of each law; ``more`` 1 for the others than one that is needed.

        The number of others, seen from a seal that is needed, is of the same family: as many
        tries less one for a binomial, one failure more for a negative binomial.
        """
        from scipy.special import betainc, gammaincc

        k = np.maximum(np.floor(count), 0.0)[:, None]
        mean, variance = self.mean, self.variance
        wide = variance > mean * (1 + _AS_POISSON)
        narrow = variance < mean * (1 - _AS_POISSON)
        poisson = gammaincc(k + 1, mean)
        size = np.where(wide, mean**2 / np.where(wide, variance - mean, 1.0), 1.0) + more
        negative = betainc(size, k + 1, np.where(wide, mean / np.where(wide, variance, 1.0), 1.0))
        chance = np.where(narrow, 1 - variance / np.where(narrow, mean, 1.0), 1.0)
        left = np.where(narrow, mean / chance, 0.0) - more - k
        some = narrow & (left > 0)
        tail = betainc(np.where(some, left, 1.0), k + 1, 1 - chance)
        binomial = np.where(some, tail, 1.0)
        chosen = np.where(wide, negative, np.where(narrow, binomial, poisson))
        return np.where(np.floor(count)[:, None] < 0, 0.0, chosen)


def counts_of(mean: ArrayLike, variance: ArrayLike | None = None) -> Counts:
    """Which number of seals will be needed?

    Parameters
    ----------
    mean : array_like, shape (p,) or (p, q)
        Mean number needed; columns are equally likely laws.
    variance : array_like of the same shape, optional
        Its variance under each law; the mean (Poisson) where None.

    Returns
    -------
    Counts

    Raises
    ------
    InputError
        Shapes differ, or a value is negative or not a number.

    Notes
    -----
    A binomial's number of tries need not be whole (Ehm 1991, Statistics & Probability Letters 11,
    7-16). A variance of 0 says that the number is certain.
    """
    means = _columns(mean, "mean")
    if variance is None:
        return Counts(means, means)
    variances = _columns(variance, "variance")
    if variances.shape != means.shape:
        raise InputError(
            f"has shape {np.shape(variance)}, the mean {np.shape(mean)}",
            where="variance",
            hint="give one variance for each mean",
        )
    return Counts(means, variances)


def shares_of(share: ArrayLike, p: int) -> Floats:
    """One share of service a pool.

    Raises
    ------
    InputError
        A share lies outside 0 to 1, or there is not one a pool.
    """
    asked = np.asarray(share, dtype=np.float64)
    if not np.all((asked >= 0) & (asked < 1)):
        raise InputError("is not from 0 up to 1", where="share", hint="give 0.95 for 95 %")
    if asked.shape not in ((), (1,), (p,)):
        raise InputError(f"has shape {asked.shape} for {p} pools", where="share")
    return np.broadcast_to(asked, (p,)).copy()


def _columns(values: ArrayLike, where: str) -> Floats:
    """As a matrix of finite numbers of 0 or more."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0:
        array = array[None]
    if array.ndim > 2 or (array.ndim == 2 and not array.shape[1]):
        raise InputError(
            f"has shape {array.shape}",
            where=where,
            hint="give one row a pool, and a column for each law",
        )
    if not np.all(np.isfinite(array) & (array >= 0)):
        raise InputError("has a value below 0 or none", where=where, hint="leave such pools out")
    return array[:, None] if array.ndim == 1 else array
