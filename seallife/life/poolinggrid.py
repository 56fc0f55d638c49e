"""How well does a law of the classes explain each class? The integrals behind partial pooling.

In: `PowerSums`, laws of the classes. Out: nodes and weights over the shapes and scales of a class.
Next: `seallife.life.poolinglaw`, `seallife.life.pooling`.

With a = log shape, b = exp(a) and m = log scale, a class with r failures has the log likelihood

    r a + b (sum of log failure ages - r m) - S(b) exp(-b m)

The law of the classes makes m, for a given a, normal with mean u and variance v. The top over m is
then known, b (m - u + r b v) = omega(log(v b^2 S) - b u + r b^2 v) with Wright's omega, and the
fall from that top depends on two numbers only. What is left is one dimension, whose window is
found by zooming in. All classes under all laws are integrated side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.powersums import PowerSums

__all__ = ["SHAPES", "ClassLikelihoods", "Nodes", "class_likelihoods", "posterior_nodes"]

SHAPES = (0.05, 50.0)
"""Shapes outside have no weight: no data of lives can show them."""

NODES = 16  # in each direction; they span 11 to 18 standard deviations
_FALL = 16.0  # log density below the top at which a tail is cut: one part in ten million
_STEP = 0.2  # of log shape between tabulated sums
_GOLD = 0.6180339887498949


@dataclass(frozen=True, eq=False)
class ClassLikelihoods:
    """The exact likelihood of each class at any shape and scale, without its lives.

    Attributes
    ----------
    failures, log_age_sum, centre : ndarray, shape (g,)
        As in `PowerSums`.
    cells : ndarray, shape (g, cells, 6)
        log S as a polynomial of fifth degree in each cell of log shape; it meets value, slope
        and bend at both ends of the cell and is within 1e-8 of the sum between them.
    """

    failures: Floats
    log_age_sum: Floats
    centre: Floats
    cells: Floats

    def log_sum(self, group: NDArray[np.int64], log_shape: Floats) -> Floats:
        """Log S of each row's class, shape (p, n), at log shapes of that shape."""
        at = (log_shape - np.log(SHAPES[0])) / _STEP
        cell = np.clip(at.astype(np.int64), 0, self.cells.shape[1] - 1)
        at -= cell
        c = self.cells[group[:, None], cell]
        out = c[..., 5] * at
        for k in (4, 3, 2, 1):
            out += c[..., k]
            out *= at
        return np.asarray(out + c[..., 0])


def class_likelihoods(sums: PowerSums, lives: NDArray[np.bool_]) -> ClassLikelihoods:
    """Tabulate log S of each class over all credible shapes; the only passes over the lives."""
    low, high = np.log(SHAPES)
    theta = low + _STEP * np.arange(int(np.ceil((high - low) / _STEP)) + 1)
    table = np.zeros((3, len(theta), len(lives)))
    for j, a in enumerate(theta):
        b = np.exp(a)
        s = sums.sums(np.full(len(lives), b), 2)
        good = lives & (s[0] > 0)
        s0 = np.where(good, s[0], 1.0)
        s1, s2 = s[1] / s0, s[2] / s0
        table[0, j] = np.where(good, np.log(s0), -1e4)  # a class without lives adds nothing
        table[1, j] = np.where(good, _STEP * b * s1, 0.0)
        table[2, j] = np.where(good, _STEP**2 * (b * s1 + b**2 * (s2 - s1**2)), 0.0)
    (f0, f1), (d0, d1), (c0, c1) = ((t[:-1], t[1:]) for t in table)
    rise = f1 - f0
    terms = (
        f0,
        d0,
        c0 / 2,
        10 * rise - 6 * d0 - 4 * d1 - 1.5 * c0 + 0.5 * c1,
        -15 * rise + 8 * d0 + 7 * d1 + 1.5 * c0 - c1,
        6 * rise - 3 * d0 - 3 * d1 - 0.5 * c0 + 0.5 * c1,
    )
    cells = np.ascontiguousarray(np.stack(terms, axis=-1).transpose(1, 0, 2))
    return ClassLikelihoods(sums.failures, sums.log_age_sum, sums.centre, cells)


@dataclass(frozen=True, eq=False)
class Nodes:
    """Posterior of classes under given laws, as weighted points.

    Attributes
    ----------
    log_shape : ndarray, shape (p, k, 1)
    log_scale : ndarray, shape (p, k, k)
    weight : ndarray, shape (p, k, k)
        They sum to 1 in each row.
    log_marginal : ndarray, shape (p,)
        Log of the likelihood of the class, integrated over the law.
    window : ndarray, shape (p, 2)
        Lower end and width of the log shapes that carry the weight.
    """

    log_shape: Floats
    log_scale: Floats
    weight: Floats
    log_marginal: Floats
    window: Floats


def posterior_nodes(
    classes: ClassLikelihoods,
    group: NDArray[np.int64],
    law: Floats,
    shift: Floats,
    *,
    nodes: int = NODES,
    window: Floats | None = None,
) -> Nodes:
    """Integrate classes over the laws given: row i is class ``group[i]`` under ``law[i]``.

    Parameters
    ----------
    classes : ClassLikelihoods
    group : ndarray of int, shape (p,)
    law : ndarray, shape (p, 5)
        Mean of log shape and of log scale, logs of their standard deviations, and the inverse
        hyperbolic tangent of their correlation.
    shift : ndarray, shape (p,)
        Place of the nodes inside their steps, 0 to 1: the sums do not depend on it, and with
        many laws the nodes of a class lie dense.
    nodes : int
        In each direction: 16 are right to 2e-5 of a likelihood at worst, 12 to 6e-4 (3e-5 by root
        mean square).
    window : ndarray, shape (p, 2), optional
        Of the same classes under the same laws, where it was found before.
    """
    row = _Rows(classes, group, law)
    low, width = (_window(row) if window is None else window).T
    place = (np.arange(nodes) + shift[:, None]) / nodes
    a = low[:, None] + width[:, None] * place
    ridge = row.ridge(a)
    tau, omega = row.tau[:, None], ridge.omega
    c = np.exp(a) * tau
    pull = np.maximum(omega / c**2, 1e-300)
    # log density falls by pull (exp(-c x) - 1 + c x) + x^2 / 2 at x standard deviations tau
    # both ends are first set outside: by the parabolas alone, and by the exponential alone
    steep = np.maximum(2.0, np.log(2 * _FALL / pull)) / c
    left = -np.minimum(np.sqrt(2 * _FALL / (1 + omega)), steep)
    right = np.full(a.shape, np.sqrt(2 * _FALL))
    for end in (left, right):
        for _ in range(4):  # convex: Newton from outside never falls short
            e = np.expm1(-c * end)
            end -= (pull * (e + c * end) + end**2 / 2 - _FALL) / (end - pull * c * e)
    span = right - left
    inner = np.mod(shift[:, None] + _GOLD * np.arange(nodes), 1.0)
    x = left[..., None] + span[..., None] * ((np.arange(nodes) + inner[..., None]) / nodes)
    y = c[..., None] * x
    fall = pull[..., None] * (np.expm1(-y) + y) + x**2 / 2
    top = ridge.value.max(axis=1)
    weight = np.exp((ridge.value - top[:, None])[..., None] - fall)
    weight *= (span * tau)[..., None]
    total = weight.sum(axis=(1, 2))
    weight /= total[:, None, None]
    return Nodes(
        a[..., None],
        ridge.log_scale[..., None] + tau[..., None] * x + classes.centre[group, None, None],
        weight,
        top + np.log(total * width / nodes**2),
        np.stack((low, width), axis=1),
    )


@dataclass(frozen=True, eq=False)
class _Ridge:
    """Best log scale (from the centre) at given log shapes, and the log density there."""

    log_scale: Floats
    omega: Floats
    value: Floats


class _Rows:
    """Classes under laws, with what the inner integral needs; scales from the class's centre."""

    def __init__(self, classes: ClassLikelihoods, group: NDArray[np.int64], law: Floats) -> None:
        self.classes, self.group = classes, group
        self.r, self.x = classes.failures[group], classes.log_age_sum[group]
        self.mean_a, self.mean_m = law[:, 0], law[:, 1] - classes.centre[group]
        self.log_sd, sd_m = law[:, 2], np.exp(law[:, 3])
        self.lean = np.tanh(law[:, 4]) * sd_m / np.exp(self.log_sd)
        self.tau = sd_m / np.cosh(law[:, 4])

    def take(self, rows: NDArray[np.intp]) -> _Rows:
        """Only some rows."""
        out = object.__new__(_Rows)
        out.classes = self.classes
        for name in ("group", "r", "x", "mean_a", "mean_m", "log_sd", "lean", "tau"):
            setattr(out, name, getattr(self, name)[rows])
        return out

    def ridge(self, a: Floats) -> _Ridge:
        """Top over log scale at log shapes of shape (p, n)."""
        from scipy.special import wrightomega

        b, r, tau = np.exp(a), self.r[:, None], self.tau[:, None]
        away = a - self.mean_a[:, None]
        mean = self.mean_m[:, None] + self.lean[:, None] * away
        log_sum = self.classes.log_sum(self.group, a)
        c = b * tau
        omega = wrightomega(2 * np.log(c) + log_sum - b * mean + r * c**2)
        m = mean - r * b * tau**2 + omega / b
        value = r * a + b * (self.x[:, None] - r * m) - omega / c**2
        value -= ((m - mean) / tau) ** 2 / 2 + (away * np.exp(-self.log_sd)[:, None]) ** 2 / 2
        return _Ridge(
            m, omega, value - (np.log(self.tau) + self.log_sd)[:, None] - np.log(2 * np.pi)
        )


def _window(rows: _Rows) -> Floats:
    """Lower end and width of the log shapes that carry the weight of each row, shape (p, 2)."""
    p = len(rows.r)
    low, high = np.full(p, np.log(SHAPES[0])), np.full(p, np.log(SHAPES[1]))
    grid = np.linspace(0, 1, NODES)
    active, part = np.arange(p), rows
    for _ in range(20):
        step = high[active] - low[active]
        a = low[active, None] + step[:, None] * grid
        ridge = part.ridge(a)
        value = ridge.value - np.log1p(ridge.omega) / 2
        near = value > value.max(axis=1, keepdims=True) - _FALL
        first = np.maximum(near.argmax(axis=1) - 1, 0)
        last = np.minimum(NODES - near[:, ::-1].argmax(axis=1), NODES - 1)
        start = low[active]
        low[active] = start + step * grid[first]
        high[active] = start + step * grid[last]
        again = np.flatnonzero(last - first < 0.6 * (NODES - 1))
        if not len(again):
            break
        active, part = active[again], part.take(again)
    return np.stack((low, high - low), axis=1)
