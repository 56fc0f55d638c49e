"""Which laws of the classes do the data allow? Their posterior, as weighted laws.

In: `ClassLikelihoods`. Out: `Laws`. Next: `seallife.life.poolingquantiles`.

A law of the classes has five numbers: the means of log shape and log scale, the logs of their
standard deviations and their correlation, as its inverse hyperbolic tangent. The top of their
posterior is climbed with its exact slope (the mean of the slope of the log law over the posterior
of each class); then laws are spread around it on a fixed quasi-random net with tails of Student's
t and weighted by posterior over density. Nothing is drawn at random.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.poolinggrid import ClassLikelihoods, Nodes, posterior_nodes
from seallife.life.sidebyside import side_by_side

__all__ = ["PRIOR_WORDS", "Laws", "find_laws"]

Result = TypeVar("Result")

_MEAN_SHAPE, _MEAN_SPREAD = np.log(1.5), np.array([0.6, 1.5])
_SPREAD = np.array([0.5, 1.0])
PRIOR_WORDS = (
    "typical shape 1.5 within a factor 1.8 (one standard deviation), typical scale the pooled "
    "exposure per failure within a factor 4.5; standard deviation between classes half-normal, "
    "0.5 for log shape and 1 for log scale; correlation r with density 1 - r^2"
)

_DEGREES = 5.0
_FOLDS = np.array([[1, 1, a, b, 1] for a in (1, -1) for b in (1, -1)])
_BLOCK = 1024  # classes times laws integrated at once
_NODES = 12  # enough to weigh laws: 3e-5 of a likelihood by root mean square
_LIMITS = ((-3.0, 3.0), (-60.0, 60.0), (-5.0, 1.0), (-5.0, 1.5), (-2.5, 2.5))


@dataclass(frozen=True, eq=False)
class Laws:
    """Weighted laws of the classes.

    Attributes
    ----------
    law : ndarray, shape (h, 5)
    weight : ndarray, shape (h,)
        Sum 1.
    shift : ndarray, shape (h,)
        For `posterior_nodes`.
    window : ndarray, shape (g, h, 2)
        Of each class under each law, for `posterior_nodes`.
    effective : float
        Number of equally weighted laws that would be worth as much.
    """

    law: Floats
    weight: Floats
    shift: Floats
    window: Floats
    effective: float

    def every(self, step: int) -> Laws:
        """Each so-manieth law: the net is even, so that they stand for all."""
        some = slice(None, None, step)
        weight = self.weight[some] / self.weight[some].sum()
        effective = float(1 / (weight**2).sum())
        return Laws(self.law[some], weight, self.shift[some], self.window[:, some], effective)

    def over_blocks(
        self,
        classes: ClassLikelihoods,
        work: Callable[[NDArray[np.int64], NDArray[np.int64], Nodes], Result],
    ) -> list[Result]:
        """Work on the posterior of each class under each law, so many rows at a time.

        ``work`` is given class, law and nodes of each row, and must change nothing.
        """

        def of(block: tuple[NDArray[np.int64], NDArray[np.int64]]) -> Result:
            group, which = block
            law, shift, window = self.law[which], self.shift[which], self.window[group, which]
            return work(group, which, posterior_nodes(classes, group, law, shift, window=window))

        return side_by_side(of, list(_blocks(self.window.shape[:2])))


def _blocks(size: tuple[int, ...]) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Class and law of so many rows at a time."""
    rows = np.arange(size[0] * size[1])
    for start in range(0, len(rows), _BLOCK):
        group, which = np.divmod(rows[start : start + _BLOCK], size[1])
        yield group, which


def find_laws(classes: ClassLikelihoods, log_scale: float, count: int) -> Laws:
    """Spread ``count`` laws over the posterior of the law of the classes.

    Parameters
    ----------
    classes : ClassLikelihoods
    log_scale : float
        Prior mean of the mean log scale.
    count : int
        Number of laws.
    """
    from scipy.optimize import minimize

    scale = max(len(classes.failures), 1)

    def climb(at: Floats) -> tuple[float, Floats]:
        value, slope = _value_and_slope(classes, at, log_scale)
        return -value / scale, -slope / scale

    start = np.array([_MEAN_SHAPE, log_scale, np.log(0.3), np.log(0.6), 0.0])
    limits = [(low, high) for low, high in _LIMITS]
    limits[1] = (log_scale - 12, log_scale + 12)
    options = {"maxiter": 60, "ftol": 1e-9, "gtol": 1e-5}
    top = minimize(climb, start, jac=True, method="L-BFGS-B", bounds=limits, options=options).x
    step = 0.01
    bend = np.zeros((5, 5))
    for k in range(5):
        move = step * np.eye(5)[k]
        rise = climb(top + move)[1] - climb(top - move)[1]
        bend[k] = scale * rise / (2 * step)
    size, turn = np.linalg.eigh((bend + bend.T) / 2)
    spread = turn * np.sqrt(1 / np.maximum(size, 0.2))
    few = min(count, 256)
    found = _weighted(classes, top, spread, log_scale, few, logs=True)
    if found.effective > 0.6 * few:
        more = count > few
        return _weighted(classes, top, spread, log_scale, count, logs=True) if more else found
    # few classes: the spread of the classes may be next to nothing, where its log has a long tail
    for k in range(3):
        at = found.law.copy()
        at[:, 2:4] = np.exp(at[:, 2:4])
        middle = found.weight @ at
        away = at - middle
        size, turn = np.linalg.eigh((found.weight[:, None] * away).T @ away)
        spread = turn * np.sqrt(1.2 * np.maximum(size, 1e-8))
        last = k == 2
        found = _weighted(classes, middle, spread, log_scale, count if last else few, logs=False)
    return found


def _weighted(
    classes: ClassLikelihoods,
    middle: Floats,
    spread: Floats,
    log_scale: float,
    count: int,
    *,
    logs: bool,
) -> Laws:
    """Laws on a net around the middle, weighted by posterior over density.

    Without ``logs`` the net lies in the standard deviations themselves, folded at 0.
    """
    from scipy.special import gammaincinv, ndtri

    net = _net(count, 6)
    radius = np.sqrt(_DEGREES / (2 * gammaincinv(_DEGREES / 2, net[:, 5])))
    law = middle + (ndtri(net[:, :5]) * radius[:, None]) @ spread.T
    back = np.linalg.inv(spread).T
    folds = np.ones((1, 5)) if logs else _FOLDS
    density = np.zeros(count)
    for fold in folds:
        x = (law * fold - middle) @ back
        density += (1 + (x**2).sum(axis=1) / _DEGREES) ** (-(_DEGREES + 5) / 2)
    if not logs:
        law[:, 2:4] = np.log(np.maximum(np.abs(law[:, 2:4]), 1e-9))
    shift = np.mod(np.arange(count) * 0.6180339887498949, 1.0)
    log_z = np.zeros((len(classes.failures), count))
    window = np.zeros((*log_z.shape, 2))

    def weigh(block: tuple[NDArray[np.int64], NDArray[np.int64]]) -> None:
        group, which = block
        nodes = posterior_nodes(classes, group, law[which], shift[which], nodes=_NODES)
        log_z[group, which], window[group, which] = nodes.log_marginal, nodes.window

    side_by_side(weigh, list(_blocks(log_z.shape)))
    height = log_z.sum(axis=0) + _log_prior(law, log_scale)[0] - np.log(density)
    if not logs:
        height -= law[:, 2:4].sum(axis=1)
    weight = np.exp(height - height.max())
    weight /= weight.sum()
    return Laws(law, weight, shift, window, float(1 / (weight**2).sum()))


def _net(count: int, dimensions: int) -> Floats:
    """Points that fill a cube evenly, from the powers of a generalised golden ratio."""
    ratio = 2.0
    for _ in range(60):
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    steps = ratio ** -np.arange(1.0, dimensions + 1)
    return np.mod(0.5 + np.arange(1, count + 1)[:, None] * steps, 1.0)


def _log_prior(law: Floats, log_scale: float) -> tuple[Floats, Floats]:
    """Log prior density of laws (h, 5) in their own coordinates, and its slope."""
    away = (law[:, :2] - [_MEAN_SHAPE, log_scale]) / _MEAN_SPREAD
    square = np.exp(2 * law[:, 2:4]) / _SPREAD**2
    # half-normal in the standard deviation, 1 - r^2 in the correlation, with their Jacobians
    value = (law[:, 2:4] - square / 2).sum(axis=1) - (away**2).sum(axis=1) / 2
    value -= 4 * np.log(np.cosh(law[:, 4]))
    slope = np.column_stack((-away / _MEAN_SPREAD, 1 - square, -4 * np.tanh(law[:, 4])))
    return value, slope


def _value_and_slope(
    classes: ClassLikelihoods, law: Floats, log_scale: float
) -> tuple[float, Floats]:
    """Log posterior of one law and its slope."""
    value, slope = (x[0] for x in _log_prior(law[None], log_scale))
    sd_a, sd_m, r = np.exp(law[2]), np.exp(law[3]), np.tanh(law[4])
    rest = 1 - r**2
    total = float(value)
    for group, which in _blocks((len(classes.failures), 1)):
        half = np.full(len(group), 0.5)
        nodes = posterior_nodes(classes, group, law[None][which], half)
        w = nodes.weight
        u = (nodes.log_shape - law[0]) / sd_a
        v = (nodes.log_scale - law[1]) / sd_m
        wv = w * v
        by_shape = w.sum(axis=2, keepdims=True)
        n = len(w)
        e_u, e_uu = (by_shape * u).sum(), (by_shape * u**2).sum()
        e_v, e_vv = wv.sum(), (wv * v).sum()
        e_uv = (wv.sum(axis=2, keepdims=True) * u).sum()
        total += float(nodes.log_marginal.sum())
        slope = slope + np.array(
            [
                (e_u - r * e_v) / (rest * sd_a),
                (e_v - r * e_u) / (rest * sd_m),
                (e_uu - r * e_uv) / rest - n,
                (e_vv - r * e_uv) / rest - n,
                n * r + e_uv - r * (e_uu - 2 * r * e_uv + e_vv) / rest,
            ]
        )
    return total, slope
