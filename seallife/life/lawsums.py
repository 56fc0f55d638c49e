"""The likelihood of all lives of a group and its slopes, law by law.

In: parameters of each group, log ages gathered by group. Out: sums. Next: `seallife.life.lawtops`.

What holds for a group is computed once a group. Where the log density is a sum of a few functions
of the age, their sums are all that is needed of the failures.

Source
------
Own algebra; tests hold the sums against those of `seallife.life.lawslopes`, row by row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, segment_sum, stable_order
from seallife.life.laws import NEAR_ZERO, log_lower, log_upper
from seallife.life.lawslopes import SLOPES, STEP

__all__ = ["Rows", "law_sums"]

_CLOSED = 0.05  # |q| from which on derivatives by it keep their digits in closed form
_LOG_ROOT_2PI = 0.5 * float(np.log(2 * np.pi))

Sums = list[Floats]
"""Value; slopes by each parameter; second derivatives, row i up to column i; each shape (g,)."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Log ages of one kind, gathered by group, and what each counts; None where each counts 1."""

    x: Floats
    worth: Floats | None
    offsets: Ints

    @classmethod
    def of(cls, x: Floats, worth: Floats | None, group: Ints, groups: int) -> Rows:
        """Gather rows by number of group."""
        order = stable_order(group, groups)
        sizes = np.bincount(group, minlength=groups)
        counts = None if worth is None else worth[order]
        return cls(x[order], counts, np.concatenate(([0], np.cumsum(sizes))))

    def take(self, keep: NDArray[np.bool_]) -> Rows:
        """Only the rows of some groups."""
        sizes = np.diff(self.offsets)
        rows = np.flatnonzero(np.repeat(keep, sizes))
        offsets = np.concatenate(([0], np.cumsum(sizes[keep])))
        return Rows(self.x[rows], None if self.worth is None else self.worth[rows], offsets)

    def repeat(self, times: int) -> Rows:
        """All groups again and again, one after the other."""
        shift = np.repeat(np.arange(times) * len(self.x), len(self.offsets) - 1)
        offsets = np.append(np.tile(self.offsets[:-1], times) + shift, times * len(self.x))
        worth = None if self.worth is None else np.tile(self.worth, times)
        return Rows(np.tile(self.x, times), worth, offsets)

    def spread(self, per_group: Floats) -> Floats:
        """Value of its group on each row."""
        return np.repeat(per_group, self._sizes)

    def sum(self, values: Floats) -> Floats:
        """Sum over each group of what each row counts."""
        counted = values if self.worth is None else values * self.worth
        if self._sizes.all():
            return np.add.reduceat(counted, self.offsets[:-1])
        return segment_sum(counted, self.offsets)

    @cached_property
    def _sizes(self) -> Ints:
        """Rows of each group."""
        return np.diff(self.offsets)

    @cached_property
    def count(self) -> Floats:
        """What the rows of each group count."""
        if self.worth is None:
            return np.diff(self.offsets).astype(np.float64)
        return segment_sum(self.worth, self.offsets)

    @cached_property
    def x_sum(self) -> Floats:
        """Sum of the log ages of each group."""
        return self.sum(self.x)


def law_sums(name: str, at: Floats, died: Rows, watched: Rows) -> Sums:
    """Log-likelihood of each group, with its slopes, at parameters of shape (g, p)."""
    p = list(at.T)
    of_died, of_watched = _LAWS[name]
    return [a + b for a, b in zip(of_died(p, died), of_watched(p, watched), strict=True)]


def _by_rows(name: str, kind: int, p: list[Floats], rows: Rows) -> Sums:
    """Sums of a law's slopes, taken row by row."""
    value, slope, bend = SLOPES[name][kind]([rows.spread(c) for c in p], rows.x)
    columns = [value, *slope, *(bend[i][j] for i in range(len(p)) for j in range(i + 1))]
    return [rows.sum(np.broadcast_to(column, rows.x.shape)) for column in columns]


def _lognormal_died(p: list[Floats], rows: Rows) -> Sums:
    n, per_sigma = rows.count, np.exp(-p[0])
    z = (rows.x - rows.spread(p[1])) * rows.spread(per_sigma)
    one, two = rows.sum(z), rows.sum(z**2)
    value = -0.5 * two - n * (p[0] + _LOG_ROOT_2PI) - rows.x_sum
    return [value, two - n, one * per_sigma, -2 * two, -2 * one * per_sigma, -n * per_sigma**2]


def _lognormal_watched(p: list[Floats], rows: Rows) -> Sums:
    from scipy.special import log_ndtr

    per_sigma = np.exp(-p[0])
    z = (rows.x - rows.spread(p[1])) * rows.spread(per_sigma)
    value = log_ndtr(-z)
    rate = np.exp(-0.5 * z**2 - _LOG_ROOT_2PI - value)
    by_zz = rate * (z - rate)
    moved = by_zz * z - rate
    return [
        rows.sum(value),
        rows.sum(z * rate),
        per_sigma * rows.sum(rate),
        rows.sum(moved * z),
        per_sigma * rows.sum(moved),
        per_sigma**2 * rows.sum(by_zz),
    ]


def _gamma_died(p: list[Floats], rows: Rows) -> Sums:
    from scipy.special import gammaln, psi, zeta

    n, shape = rows.count, np.exp(p[0])
    one = rows.x_sum - n * p[1]
    e = rows.sum(np.exp(rows.x - rows.spread(p[1])))
    by_shape = shape * (one - n * psi(shape))
    value = shape * one - e - n * gammaln(shape) - rows.x_sum
    bend = by_shape - n * shape**2 * zeta(2.0, shape)
    return [value, by_shape, e - n * shape, bend, -n * shape, -e]


def _gamma_watched(p: list[Floats], rows: Rows) -> Sums:
    from scipy.special import gammaln

    y = rows.x - rows.spread(p[1])
    e = np.exp(y)

    def at(log_shape: Floats) -> tuple[Floats, Floats]:
        shape = np.exp(log_shape)
        each = rows.spread(shape)
        value = log_upper(each, e)
        return value, np.exp(each * y - e - rows.spread(gammaln(shape)) - value)

    (value, rate), low, high = at(p[0]), at(p[0] - STEP), at(p[0] + STEP)
    middle, below, above = (rows.sum(v) for v in (value, low[0], high[0]))
    return [
        middle,
        (above - below) / (2 * STEP),
        rows.sum(rate),
        rows.sum(high[0] - 2 * value + low[0]) / STEP**2,
        rows.sum(high[1] - low[1]) / (2 * STEP),
        rows.sum(rate * (e - rows.spread(np.exp(p[0])) - rate)),
    ]


def _parted(
    p: list[Floats],
    rows: Rows,
    far: NDArray[np.bool_],
    closed: Callable[[list[Floats], Rows], Sums],
    kind: int,
) -> Sums:
    """Sums of the generalised gamma, of groups near q = 0 row by row."""
    if far.all():
        return closed(p, rows)
    out = np.empty((10, len(far)))
    if far.any():
        out[:, far] = closed([c[far] for c in p], rows.take(far))
    out[:, ~far] = _by_rows("generalised gamma", kind, [c[~far] for c in p], rows.take(~far))
    return list(out)


def _generalised_died(p: list[Floats], rows: Rows) -> Sums:
    return _parted(p, rows, np.abs(p[2]) >= _CLOSED, _generalised_density, 0)


def _generalised_density(p: list[Floats], rows: Rows) -> Sums:
    from scipy.special import gammaln, psi, zeta

    n, per_sigma, q = rows.count, np.exp(-p[0]), p[2]
    z = (rows.x - rows.spread(p[1])) * rows.spread(per_sigma)
    e = np.expm1(z * rows.spread(q))
    # sums of z, e - 1, z e and z^2 e
    one, grown = rows.sum(z), rows.sum(e)
    ze = z * e
    first = rows.sum(ze) + one
    second = rows.sum(ze * z) + rows.sum(z * z)
    k = q**-2.0
    k1, k2 = -2 * k / q, 6 * k**2
    gap, log_k = q * one - grown, np.log(k)
    value = n * (np.log(np.abs(q)) + k * (log_k - 1) - gammaln(k)) + k * gap
    by_q = n / q + k1 * (n * (log_k - psi(k)) + gap) + k * (one - first)
    by_qq = -n * k + k2 * (n * (log_k - psi(k)) + gap) + k1**2 * n * (1 / k - zeta(2.0, k))
    by_qq += 2 * k1 * (one - first) - k * second
    # by z; then times z, and both of them by q
    by_z, z_by_z = -grown / q, (one - first) / q
    by_zq, z_by_zq = grown * k - first / q, -(one - first) * k - second / q
    return [
        value - n * p[0] - rows.x_sum,
        -z_by_z - n,
        -per_sigma * by_z,
        by_q,
        z_by_z - second,
        per_sigma * (by_z - first),
        -(per_sigma**2) * (grown + n),
        -z_by_zq,
        -per_sigma * by_zq,
        by_qq,
    ]


def _generalised_watched(p: list[Floats], rows: Rows) -> Sums:
    return _parted(p, rows, np.abs(p[2]) >= NEAR_ZERO, _generalised_survival, 1)


def _generalised_survival(p: list[Floats], rows: Rows) -> Sums:
    from scipy.special import gammaln

    per_sigma, above = np.exp(-p[0]), rows.spread(p[2]) > 0
    z = (rows.x - rows.spread(p[1])) * rows.spread(per_sigma)
    upper, lower = np.flatnonzero(above), np.flatnonzero(~above)

    def at(q: Floats) -> tuple[Floats, Floats, Floats]:
        """Log survival, failure rate by z, and e^(q z)."""
        k = q**-2.0
        shape, y = rows.spread(k), z * rows.spread(q)
        e = np.exp(y)
        x = shape * e
        if not len(lower):
            value = log_upper(shape, x)
        else:
            value = np.empty_like(x)
            value[upper] = log_upper(shape[upper], x[upper])
            value[lower] = log_lower(shape[lower], x[lower])
        top = rows.spread(np.log(np.abs(q)) + k * np.log(k) - gammaln(k))
        return value, np.exp(top + shape * y - x - value), e

    (value, rate, e), low, high = at(p[2]), at(p[2] - STEP), at(p[2] + STEP)
    by_zz = -rate * ((1 - e) / rows.spread(p[2]) + rate)
    moved = by_zz * z - rate
    by_zq = (low[1] - high[1]) / (2 * STEP)
    return [
        rows.sum(value),
        rows.sum(z * rate),
        per_sigma * rows.sum(rate),
        rows.sum(high[0] - low[0]) / (2 * STEP),
        rows.sum(moved * z),
        per_sigma * rows.sum(moved),
        per_sigma**2 * rows.sum(by_zz),
        -rows.sum(z * by_zq),
        -per_sigma * rows.sum(by_zq),
        rows.sum(high[0] - 2 * value + low[0]) / STEP**2,
    ]


def _early_died(p: list[Floats], rows: Rows) -> Sums:
    e, y, h, shape = _parts(p, rows)
    first, second = y * h, shape - shape * h
    rest = (y - h, 1 + y - first, -second, y - first - y * first)
    bends = (*rest[3:], second * -1 + shape * first, -(shape**2) * h)
    value = rows.spread(p[2]) - rows.x
    return _mixed(
        p, rows, (-rows.spread(p[1]) - e, e - 1, -e), (value + rest[0], *rest[1:3]), bends
    )


def _early_watched(p: list[Floats], rows: Rows) -> Sums:
    e, y, h, shape = _parts(p, rows)
    first, steep = y * h, shape * h
    bends = (-first - y * first, steep + shape * first, -shape * steep)
    return _mixed(p, rows, (-e, e, -e), (-h, -first, steep), bends)


def _parts(p: list[Floats], rows: Rows) -> tuple[Floats, Floats, Floats, Floats]:
    """Hazards of both parts, with that of the rest as an exponent, and its shape."""
    shape = rows.spread(np.exp(p[2]))
    # so far out a life is ruled out by any figure: the cap keeps products of it numbers
    y = np.minimum(shape * (rows.x - rows.spread(p[3])), 250.0)
    return np.exp(np.minimum(rows.x - rows.spread(p[1]), 250.0)), y, np.exp(y), shape


def _mixed(
    p: list[Floats],
    rows: Rows,
    early: tuple[Floats, Floats, Floats],
    rest: tuple[Floats, Floats, Floats],
    rest_bends: tuple[Floats, Floats, Floats],
) -> Sums:
    """Two laws mixed: each life belongs to either with its posterior probability.

    Of the early law the value and two derivatives by its log mean; of the rest the value and its
    derivatives by log shape and log scale, and the second ones.
    """
    log_share, log_rest = -np.logaddexp(0.0, -p[0]), -np.logaddexp(0.0, p[0])
    first, second = rows.spread(log_share) + early[0], rows.spread(log_rest) + rest[0]
    away = first - second
    small = np.exp(-np.abs(away))
    value = np.maximum(first, second) + np.log1p(small)
    less = small / (1 + small)
    belongs = np.where(away > 0, 1 - less, less)
    other = np.where(away > 0, less, 1 - less)
    both = belongs * other
    own, shape, scale = both * early[1], both * rest[1], both * rest[2]
    share, n = np.exp(log_share), rows.count
    return [
        rows.sum(value),
        rows.sum(belongs) - n * share,
        rows.sum(belongs * early[1]),
        rows.sum(other * rest[1]),
        rows.sum(other * rest[2]),
        rows.sum(both) - n * share * np.exp(log_rest),
        rows.sum(own),
        rows.sum(own * early[1] + belongs * early[2]),
        -rows.sum(shape),
        -rows.sum(shape * early[1]),
        rows.sum(shape * rest[1] + other * rest_bends[0]),
        -rows.sum(scale),
        -rows.sum(scale * early[1]),
        rows.sum(scale * rest[1] + other * rest_bends[1]),
        rows.sum(scale * rest[2] + other * rest_bends[2]),
    ]


_Part = Callable[[list[Floats], Rows], Sums]

_LAWS: dict[str, tuple[_Part, _Part]] = {
    "lognormal": (_lognormal_died, _lognormal_watched),
    "gamma": (_gamma_died, _gamma_watched),
    "generalised gamma": (_generalised_died, _generalised_watched),
    "Weibull with early part": (_early_died, _early_watched),
}
"""Of the failures and of the lives withdrawn, by the name of the law."""
