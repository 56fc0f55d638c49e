"""How much do the units of a class differ, and what does that leave of each unit's ratio?

In: `Compared`. Out: `Spread`. Next: `seallife.history.standouts`.

Each unit has a rate of its own: that of its class times a ratio. Most ratios come from a gamma law
of mean 1 whose spread is found from the data; a small share may stand apart, with ratios anywhere
from half to ten. How much units differ and how many stand apart are integrated over, so that a few
very bad ones neither drag the others along nor are dragged to the middle themselves. Counts that
come more regularly than at random are weighed up, clumped ones down, by their dispersion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.history.reference import Compared
from seallife.life.groups import Floats

__all__ = ["PRIOR_WORDS", "Spread", "find_spread"]

_COARSE = np.concatenate(([0.02], 0.1 * np.arange(1, 21)))
"""Standard deviations looked at first; about those that fit, a finer set is laid."""
_FINE = 14
_SCALE = 0.7
_APART = np.array([0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16])
_APART_PRIOR = np.array([0.30, 0.10, 0.12, 0.14, 0.14, 0.12, 0.08])
_APART_SHAPE, _APART_MEAN = 2.0, 4.0
PRIOR_WORDS = (
    "standard deviation of the ratios half-normal with scale 0.7; share that stands apart 0 with "
    "probability 0.3, else 0.5 to 16 %, with ratios from a gamma law of shape 2 and mean 4"
)
_NODES = 7  # for the rate of the class
_LEAST = 1e-6  # weight below which a spread is not carried on


@dataclass(frozen=True, eq=False)
class Spread:
    """Ratios of units as mixtures of gamma laws, and how much units differ.

    Attributes
    ----------
    weight, shape, rate : ndarray, shape (n, k)
        Posterior of the ratio of each unit; weights sum to 1. Rows not compared are NaN.
    scale : ndarray, shape (n, k)
        Expected failures at ratio 1 in each part, in units of the dispersion.
    mean : ndarray, shape (n,)
        Posterior mean of the ratio; 1 where not compared.
    apart : ndarray, shape (n,)
        Probability that the unit stands apart from the spread of the others.
    table : DataFrame
        Per class, or for all: ``group``, ``sd`` of the ratios that do not stand apart, ``apart``
        (share that does), each with ``_low``, ``_high``.
    variance : float
        Posterior mean of the variance of all ratios.
    """

    weight: Floats
    shape: Floats
    rate: Floats
    scale: Floats
    mean: Floats
    apart: Floats
    table: pd.DataFrame
    variance: float

    def reached(self, ratio: Floats) -> Floats:
        """Probability that the ratio of each unit is at most so much."""
        from scipy.special import gammainc

        part = gammainc(self.shape, self.rate * ratio[:, None])
        return np.asarray(np.minimum((self.weight * part).sum(axis=1), 1.0))

    def density(self, ratio: Floats) -> Floats:
        """Density of the log of the ratio."""
        from scipy.special import gammaln

        x = self.rate * ratio[:, None]
        log_part = self.shape * np.log(x) - x - gammaln(self.shape)
        return np.asarray((self.weight * np.exp(log_part)).sum(axis=1))

    def quantile(self, share: float) -> Floats:
        """Ratio below which so much of the probability lies: Newton's steps inside a bracket."""
        n = len(self.mean)
        out = np.full(n, np.nan)
        rows = np.flatnonzero(np.isfinite(self.weight).all(axis=1))
        low, high = np.full(n, -14.0), np.full(n, 9.0)
        at = np.log(np.maximum(self.mean, 1e-3))
        for _ in range(60):
            if not len(rows):
                break
            part = self.rows(rows)
            x = np.exp(at[rows])
            gap = part.reached(x) - share
            low[rows] = np.where(gap < 0, at[rows], low[rows])
            high[rows] = np.where(gap < 0, high[rows], at[rows])
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                step = at[rows] - gap / part.density(x)
            inside = (step > low[rows]) & (step < high[rows])
            step = np.where(inside, step, (low[rows] + high[rows]) / 2)
            settled = (np.abs(step - at[rows]) < 1e-7) | (high[rows] - low[rows] < 1e-7)
            at[rows] = step
            out[rows[settled]] = np.exp(step[settled])
            rows = rows[~settled]
        out[rows] = np.exp(at[rows])
        return out

    def rows(self, rows: NDArray[np.intp]) -> Spread:
        """Only some units."""
        w, a, r, s = (v[rows] for v in (self.weight, self.shape, self.rate, self.scale))
        return Spread(w, a, r, s, self.mean[rows], self.apart[rows], self.table, self.variance)


def find_spread(compared: Compared, group: NDArray[np.int64], names: list[str]) -> Spread:
    """Integrate over the spread of the units and the rate of each class.

    Parameters
    ----------
    compared : Compared
    group : ndarray of int, shape (n,)
        Which spread each unit shares.
    names : list of str
        Name of each spread.

    Notes
    -----
    The rate of the rest of a class is known up to a gamma law with as many failures as stand
    behind it, widened by how much the others differ. Each unit is compared with the others, so the
    n comparisons of a class are worth n - 1: they weigh 1 less their share of the class.
    """
    used = np.flatnonzero(compared.usable)
    parts = _Parts.of(compared, used, _COARSE)
    total = parts.likelihood(group[used], len(names))
    parts = _Parts.of(compared, used, _finer(total))
    total = parts.likelihood(group[used], len(names))
    weight = np.exp(total - total.max(axis=(1, 2), keepdims=True))
    weight /= weight.sum(axis=(1, 2), keepdims=True)
    own = weight[group[used]] / parts.mixed
    by_core = (own * (1 - _APART)).sum(axis=2)
    factor = np.concatenate((by_core, (own * _APART).sum(axis=(1, 2))[:, None]), axis=1)
    share = factor * parts.each
    factor = np.where(share > _LEAST * share.sum(axis=1, keepdims=True), factor, 0.0)
    kept = np.asarray((factor > 0).any(axis=0))
    kept[0] = True  # without a unit to compare, something of no weight is carried on
    width = _NODES * int(kept.sum())
    weights = (factor[..., None] * parts.part)[:, kept].reshape(len(used), width)
    weights = weights / weights.sum(axis=1, keepdims=True)
    shapes = (parts.shape + parts.count + 0 * parts.part)[:, kept].reshape(len(used), width)
    rates = (parts.rate + parts.scale)[:, kept].reshape(len(used), width)
    scales = parts.scale[:, kept].reshape(len(used), width)
    n = len(compared.observed)
    full = [_filled(v, used, n) for v in (weights, shapes, rates, scales)]
    ratio, apart = np.ones(n), np.full(n, np.nan)
    ratio[used] = (weights * shapes / rates).sum(axis=1)
    apart[used] = share[:, -1] / share.sum(axis=1)
    table = _described(weight, parts.sd, names)
    variance = _variance(weight.mean(axis=0), parts.sd)
    return Spread(full[0], full[1], full[2], full[3], ratio, apart, table, variance)


@dataclass(frozen=True, eq=False)
class _Parts:
    """Units under each spread and, last, apart: what is seen of each, and how probable it is.

    ``part`` (n, k, nodes) are probabilities with the rate of the class at each node, to a factor of
    each unit; ``each`` their sum over the nodes, ``mixed`` (n, spreads, shares) with a share apart;
    ``shape``, ``rate`` (1, k, 1) are of the law of the ratios, ``count`` (n, 1, 1) what was seen,
    ``scale`` what is expected; ``portion`` is the share of each unit in its class.
    """

    sd: Floats
    part: Floats
    each: Floats
    mixed: Floats
    shape: Floats
    rate: Floats
    count: Floats
    scale: Floats
    portion: Floats

    @classmethod
    def of(cls, compared: Compared, used: NDArray[np.intp], sd: Floats) -> _Parts:
        from scipy.special import digamma, gammaln, polygamma

        y = (compared.observed / compared.dispersion)[used]
        behind = compared.behind[used] + 0.5
        others = np.maximum(compared.others[used], 1.0)
        worth = 1 / (1 / behind[:, None] + sd**2 / others[:, None])
        nodes, share = np.polynomial.hermite_e.hermegauss(_NODES)
        log_rate = (digamma(worth) - np.log(worth))[..., None]
        log_rate = log_rate + np.sqrt(polygamma(1, worth))[..., None] * nodes
        scale = (behind * compared.odds[used])[:, None, None] * np.exp(log_rate)
        # the rate of a unit apart is as well known as that of the others were all alike
        scale = np.concatenate((scale, scale[:, :1]), axis=1)
        shape = np.concatenate((1 / sd**2, [_APART_SHAPE]))
        mean = np.concatenate((np.ones(len(sd)), [_APART_MEAN]))
        rate = (shape / mean)[None, :, None]
        constant = gammaln(shape + y[:, None]) - gammaln(shape)
        part = np.log(share / share.sum()) + constant[..., None]
        part = part + y[:, None, None] * np.log(scale / (rate + scale))
        part += shape[:, None] * np.log(rate / (rate + scale))
        part = np.exp(part - part.max(axis=(1, 2), keepdims=True))
        each = part.sum(axis=2)
        core, lone = each[:, :-1, None], each[:, -1][:, None, None]
        mixed = (1 - _APART) * core + _APART * lone + 1e-300
        odds = compared.odds[used]
        count = y[:, None, None]
        out = (sd, part, each, mixed, shape[None, :, None], rate, count, scale, odds / (1 + odds))
        return cls(*out)

    def likelihood(self, group: NDArray[np.int64], groups: int) -> Floats:
        """Log of prior and likelihood of each spread and share apart, by group."""
        log_like = (1 - self.portion)[:, None, None] * np.log(self.mixed)
        total = np.zeros((groups, *self.mixed.shape[1:]))
        np.add.at(total, group, log_like)
        width = np.gradient(self.sd)
        width[[0, -1]] /= 2
        prior = width * np.exp(-((self.sd / _SCALE) ** 2) / 2)
        return np.asarray(total + np.log(prior)[:, None] + np.log(_APART_PRIOR))


def _finer(total: Floats) -> Floats:
    """Standard deviations between which the weight lies in any group."""
    weight = np.exp(total - total.max(axis=(1, 2), keepdims=True)).sum(axis=2)
    near = np.flatnonzero((weight > 1e-4 * weight.max(axis=1, keepdims=True)).any(axis=0))
    low, high = max(near[0] - 1, 0), min(near[-1] + 1, len(_COARSE) - 1)
    return np.linspace(_COARSE[low], _COARSE[high], _FINE)


def _filled(values: Floats, rows: NDArray[np.intp], n: int) -> Floats:
    out = np.full((n, values.shape[1]), np.nan)
    out[rows] = values
    return out


def _variance(weight: Floats, sd: Floats) -> float:
    """Variance of the ratios about 1 under both parts."""
    apart = _APART_MEAN**2 / _APART_SHAPE + (_APART_MEAN - 1) ** 2
    each = (1 - _APART) * (sd**2)[:, None] + _APART * apart
    return float((weight * each).sum())


def _described(weight: Floats, sd: Floats, names: list[str]) -> pd.DataFrame:
    """Middle and limits at 90 % of the spread and of the share apart."""
    columns: dict[str, object] = {"group": names}
    for name, nodes, axis in (("sd", sd, 2), ("apart", _APART, 1)):
        mass = weight.sum(axis=axis)
        reached = np.cumsum(mass, axis=1) - mass / 2
        found = np.array([np.interp([0.05, 0.5, 0.95], r, nodes) for r in reached])
        columns |= {f"{name}_low": found[:, 0], name: found[:, 1], f"{name}_high": found[:, 2]}
    return pd.DataFrame(columns)
