"""The top of a likelihood of a few parameters, and how sure its place is.

In: a function with value, gradient and Hessian; scores of the rows. Out: `Top`, `Spread`. Next:
`seallife.life.regression`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Ints, binned

__all__ = ["Likelihood", "Spread", "Top", "climb", "cluster_sums", "numbered", "spread_of"]

Likelihood: TypeAlias = Callable[[Floats], tuple[float, Floats, Floats]]
"""Parameters -> log-likelihood, gradient, Hessian."""

_STEPS = 200
_PIECES = 4_000_000  # numbers of the information of single rows held at once
_NOTHING = 1e-6  # of what is known in some direction, when that counts as nothing
_SHARE = 1e-3  # of a standard error, from which on a direction moves a figure
_NEAR = 1e-13  # what is left of the log-likelihood where a climb ends


@dataclass(frozen=True, eq=False)
class Top:
    """Where a likelihood is highest.

    Attributes
    ----------
    place : ndarray, shape (k,)
        Parameters.
    value : float
        Log-likelihood there.
    information : ndarray, shape (k, k)
        Negative Hessian there.
    found : bool
        Whether the climb ended at a top.
    """

    place: Floats
    value: float
    information: Floats
    found: bool


def climb(likelihood: Likelihood, start: Floats) -> Top:
    """Where is the likelihood highest? Newton steps, shortened where they lead down.

    Parameters
    ----------
    likelihood : callable
    start : ndarray, shape (k,)
    """
    at = start.copy()
    if not len(at):
        return Top(at, likelihood(at)[0], np.zeros((0, 0)), True)
    value, gradient, hessian = likelihood(at)
    damp, found = 1e-3, False
    for _ in range(_STEPS):
        size = np.maximum(np.abs(np.diag(hessian)), 1e-12)
        raised = -hessian + damp * np.diag(size)
        if np.linalg.eigvalsh(raised)[0] <= 0:
            damp = max(10 * damp, 1e-3)
            if damp > 1e10:
                break
            continue
        step = np.linalg.solve(raised, gradient)
        step *= min(1.0, 3.0 / np.abs(step).max()) if step.any() else 1.0
        gain = float(gradient @ step)
        # far out a sum over those at risk may round to nothing: no finite value, and no step there
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            new = likelihood(at + step)
        if np.isfinite(new[0]) and new[0] >= value - 1e-12 * abs(value):
            at, (value, gradient, hessian) = at + step, new
            found = gain < _NEAR * max(abs(value), 1.0) and damp < 1e-6
            damp = damp / 10 if damp > 1e-8 else 0.0
            if found:
                break
        else:
            damp = max(10 * damp, 1e-6)
            if damp > 1e10:
                break
    information = -hessian
    found = found and bool(np.linalg.eigvalsh(information)[0] > 0)
    return Top(at, value, information, found)


@dataclass(frozen=True, eq=False)
class Spread:
    """Covariance of estimates.

    Attributes
    ----------
    model : ndarray, shape (k, k)
        If the model is true and lives are independent: inverse information.
    robust : ndarray, shape (k, k), or None
        Lives of one cluster may resemble each other: the plain sandwich, which is too small where
        few clusters, or one far from all others, carry a figure.
    moves : ndarray, shape (g, k)
        By how much each parameter falls if one cluster, or one life where no clusters were given,
        is left out, in one Newton step.
    alone : ndarray of bool, shape (k,)
        Parameters that rest on a single cluster, of which clusters can tell no interval.
    clusters : int
    """

    model: Floats
    robust: Floats | None
    moves: Floats
    alone: NDArray[np.bool_]
    clusters: int

    def leaning(self, last: NDArray[np.bool_]) -> Spread:
        """Same spread, of whose last parameters some are known to rest on a single cluster."""
        alone = self.alone.copy()
        alone[len(alone) - len(last) :] |= last
        return replace(self, alone=alone)

    @cached_property
    def used(self) -> Floats:
        """Covariance behind the intervals: with clusters, by leaving out one at a time."""
        if self.robust is None:
            return self.model
        return np.asarray((self.moves.T @ self.moves) * (1 - 1 / max(self.clusters, 2)))

    @property
    def freedom(self) -> float:
        """Degrees of freedom of the intervals; infinite without clusters."""
        return np.inf if self.robust is None else float(max(self.clusters - 1, 1))

    def wide(self, level: float) -> Floats:
        """Half-width of each two-sided interval in standard errors, shape (k,); NaN for none."""
        from scipy.special import ndtri, stdtrit

        share = (1 + level) / 2
        wide = ndtri(share) if np.isinf(self.freedom) else stdtrit(self.freedom, share)
        return np.where(self.alone, np.nan, float(wide))

    def wald(self, estimate: Floats, columns: list[int]) -> tuple[float, float]:
        """Statistic and p of 'these estimates are all 0'; NaN where one rests on one cluster."""
        from scipy.special import chdtrc, fdtrc

        if self.alone[columns].any():
            return np.nan, np.nan
        part = estimate[columns]
        within = self.used[np.ix_(columns, columns)]
        value = float(part @ np.linalg.pinv(within, hermitian=True) @ part)
        k = len(columns)
        if np.isinf(self.freedom):
            return value, float(chdtrc(k, value))
        return value, float(fdtrc(k, self.freedom, value / k))


def spread_of(
    information: Floats, scores: Floats, cluster: Ints | None, pieces: Callable[[Ints], Floats]
) -> Spread:
    """How sure are estimates, from the information and the score of each row?

    Parameters
    ----------
    information : ndarray, shape (k, k)
    scores : ndarray, shape (n, k)
    cluster : ndarray of int, shape (n,), or None
        Number of the cluster of each row.
    pieces : callable
        From rows to what each adds to the information, shape (rows, k, k).

    Source
    ------
    Lin & Wei (1989), JASA 84, 1074-1078: sandwich of the partial likelihood, by cluster. Bell &
    McCaffrey (2002), Survey Methodology 28, 169-181: the jackknife by cluster, for few of them.
    """
    model: Floats = np.asarray(np.linalg.inv(information), dtype=np.float64)
    code = np.arange(len(scores)) if cluster is None else cluster
    sums = scores if cluster is None else cluster_sums(scores, cluster)
    order = np.argsort(code, kind="stable")
    first = np.searchsorted(code[order], np.arange(len(sums) + 1))
    root: Floats = np.asarray(np.linalg.cholesky(model), dtype=np.float64)
    moves, alone = np.zeros_like(sums), np.zeros(len(model), bool)
    # so many rows at a time that their pieces stay small
    room = max(1, _PIECES // max(information.size, 1))
    edges = np.unique(np.append(np.searchsorted(first, np.arange(0, len(code), room)), len(sums)))
    for start, stop in pairwise(edges.tolist()):
        rows = order[first[start] : first[stop]]
        own = np.add.reduceat(pieces(rows), first[start:stop] - first[start], axis=0)
        # in units of the whole, so that all of it is 1
        moves[start:stop], carried = _moved(root, root.T @ own @ root, sums[start:stop])
        alone |= carried
    robust = None
    if cluster is not None:
        robust = np.asarray(model @ (sums.T @ sums) @ model, dtype=np.float64)
    return Spread(model, robust, moves, alone & (cluster is not None), len(sums))


def _moved(root: Floats, own: Floats, sums: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """By how much the top moves in one step without each of some clusters, shape (g, k).

    And which parameters cannot be told without one of them, shape (k,).
    """
    out, alone = np.empty_like(sums), np.zeros(len(root), bool)
    left, pull = np.eye(len(root)) - own, sums @ root
    sound = (own**2).sum(axis=(1, 2)) < 0.8
    out[sound] = np.linalg.solve(left[sound], pull[sound][..., None])[..., 0]
    size, axes = np.linalg.eigh(left[~sound])
    none = np.abs(size) < _NOTHING
    along = np.einsum("gji,gj->gi", axes, pull[~sound]) / np.where(none, np.inf, size)
    out[~sound] = np.einsum("gij,gj->gi", axes, along)
    # a direction of which nothing is left without a cluster: whatever it moves rests on that alone
    lost = np.abs(np.einsum("kj,gji->gki", root, axes)) * none[:, None, :]
    alone |= (lost > _SHARE * np.sqrt((root**2).sum(axis=1))[:, None]).any(axis=(0, 2))
    return out @ root.T, alone


def cluster_sums(scores: Floats, cluster: Ints) -> Floats:
    """Scores summed over each cluster, shape (g, k)."""
    return binned(scores, cluster, int(cluster.max()) + 1)


def numbered(labels: NDArray[np.object_]) -> Ints:
    """Number of each label, in the order of the labels."""
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)
