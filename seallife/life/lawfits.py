"""How is each law fitted to all groups, and how well does it foretell lives it has not seen?

In: `LifeData`. Out: parameters, likelihoods, log scores. Next: `seallife.life.choose`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seallife.life.exponential import fit_exponential
from seallife.life.groups import Floats, Ints
from seallife.life.laws import Law, row_likelihood
from seallife.life.lawslopes import SLOPES
from seallife.life.lawtops import fit_law
from seallife.life.lifedata import LifeData, read_lives, unbounded
from seallife.life.mixture import early_walls
from seallife.life.weibull import fit_weibull

__all__ = ["LawFit", "deal_folds", "fit_one_law", "held_out_scores"]

_LEAST = {1: 1, 2: 3, 3: 10, 4: 10}
"""Failures without which a law of so many parameters is not fitted."""
_IMPOSSIBLE = -1e9  # log score of a life that a law rules out


@dataclass(frozen=True, eq=False)
class LawFit:
    """One law in all groups.

    Attributes
    ----------
    where : ndarray, shape (g, p)
        Parameters; NaN where the law was not fitted.
    loglik : ndarray, shape (g,)
    why : ndarray of str, shape (g,)
        Why it was not fitted; '' where it was.
    on_wall : ndarray of bool, shape (g, p)
        Parameters that lie on the wall of their box: the likelihood rises beyond.
    """

    where: Floats
    loglik: Floats
    why: NDArray[np.object_]
    on_wall: NDArray[np.bool_]

    @classmethod
    def join(cls, parts: Sequence[LawFit]) -> LawFit:
        """Groups of several fits of one law, one after the other."""
        columns = ("where", "loglik", "why", "on_wall")
        return cls(*(np.concatenate([getattr(p, c) for p in parts]) for c in columns))


def fit_one_law(law: Law, data: LifeData, near: Floats | None = None) -> LawFit:
    """Fit a law to all groups.

    Parameters
    ----------
    law : Law
    data : LifeData
    near : ndarray, shape (g, p), optional
        Parameters known to be near the best: the one start of a search.
    """
    g, p = len(data.groups), len(law.parameters)
    failures = data.count(data.failed)
    least = _LEAST[p]
    why = np.full(g, "", dtype=object)
    why[unbounded(data) & (p > 1)] = "all failures came at the oldest age"
    why[failures < least] = f"fewer than {least} failures" if least > 1 else "no failure"
    at, loglik = np.full((g, p), np.nan), np.full(g, np.nan)
    wall = np.zeros((g, p), bool)
    tried = why == ""
    if tried.any():
        start = None if near is None else near[tried]
        at[tried], loglik[tried], wall[tried] = _fit(law, data.take(tried), start)
    lost = tried & ~np.isfinite(loglik)
    why[lost], at[lost] = "the likelihood has no clear top", np.nan
    return LawFit(at, loglik, why, wall)


def _fit(law: Law, data: LifeData, near: Floats | None) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Parameters, log-likelihood and walls, by the fit made for the law where there is one."""
    lives: dict[str, Any] = {
        "group": data.groups.codes,
        "entry_age": data.entry,
        "weight": data.weight,
    }
    if law.name == "exponential":
        table = fit_exponential(data.age, data.failed, **lives).table
        mean = np.log(table[["mean"]].to_numpy(dtype=np.float64))
        return mean, _column(table, "loglik"), np.zeros(mean.shape, bool)
    guess = np.log(data.exposure() / data.count(data.failed))
    log_shape, log_scale = np.zeros(len(guess)), guess
    if near is None or law.name in ("Weibull", "Weibull with early part"):
        table = fit_weibull(data.age, data.failed, intervals=False, fractions=(), **lives).table
        at = np.log(table[["shape", "scale"]].to_numpy(dtype=np.float64))
        if law.name == "Weibull":
            return at, _column(table, "loglik"), np.zeros(at.shape, bool)
        known = np.isfinite(at[:, 0])
        log_shape, log_scale = np.where(known, at[:, 0], 0.0), np.where(known, at[:, 1], guess)
    walls: tuple[Floats | None, Floats | None] = (None, None)
    if law.name == "Weibull with early part":
        walls = early_walls(log_shape, log_scale)
    peak = fit_law(
        law,
        data,
        log_shape,
        log_scale,
        low=walls[0],
        high=walls[1],
        starts=None if near is None else [near],
    )
    value = np.where(peak.settled, peak.value, np.nan)
    return peak.at, value, peak.on_wall


def _column(table: object, name: str) -> Floats:
    """Column of a table as floats."""
    return np.asarray(table[name], dtype=np.float64)  # type: ignore[index]


def deal_folds(data: LifeData, folds: int, seed: int) -> Ints:
    """Fold of each life, shape (n,): failures and others dealt evenly by age, seeded.

    Neighbours in age are dealt to different folds, so that the folds are alike; neither the order
    of rows nor the names of groups change who goes together.
    """
    n, groups = len(data.age), data.groups
    entry = np.zeros(n) if data.entry is None else data.entry
    weight = np.ones(n) if data.weight is None else data.weight
    order = np.lexsort((weight, entry, data.age, ~data.failed, groups.codes))
    place = np.arange(n) - np.repeat(groups.offsets[:-1], groups.sizes)
    rounds = -(-int(groups.sizes.max(initial=1)) // folds)
    hands = np.random.default_rng(seed).random((rounds, folds)).argsort(axis=1)
    out = np.empty(n, dtype=np.int64)
    out[order] = hands[place // folds, place % folds]
    return out


def held_out_scores(law: Law, data: LifeData, fold: Ints, whole: LawFit) -> Floats:
    """Log-likelihood of each life under the law fitted without its fold, shape (n,).

    NaN for all lives of a group in which some fold leaves too little to fit.
    """
    folds, g = int(fold.max(initial=0)) + 1, len(data.groups)
    weight = np.ones(len(data.age)) if data.weight is None else data.weight
    kept = [np.where(fold == f, 0.0, weight) for f in range(folds)]
    entry = np.zeros(len(weight)) if data.entry is None else data.entry
    # every group keeps its place though a fold may hold all its lives
    labels = np.arange(folds * g)
    codes = [data.groups.codes + f * g for f in range(folds)]
    parts = read_lives(
        np.r_[np.tile(data.age, folds), np.ones(len(labels))],
        np.r_[np.tile(data.failed, folds), labels < 0],
        group=np.concatenate([*codes, labels]),
        entry_age=np.r_[np.tile(entry, folds), np.zeros(len(labels))],
        weight=np.concatenate([*kept, np.zeros(len(labels))]),
    )
    near = np.tile(whole.where, (folds, 1))
    near = np.where(np.isfinite(near), near, 0.0)
    fitted = fit_one_law(law, parts, near if law.name in SLOPES else None)
    row = fold * g + data.groups.codes
    score = np.maximum(row_likelihood(law, list(fitted.where[row].T), data), _IMPOSSIBLE)
    bad = data.groups.sum((~np.isfinite(score)).astype(np.float64)) > 0
    return np.where(data.groups.spread(bad), np.nan, score)
