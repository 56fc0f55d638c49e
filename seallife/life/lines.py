"""The lines on which a quantity of a Weibull life is what it is said to be.

In: a quantity, its value, a tabulated likelihood. Out: the likeliest law with that value. Next:
`seallife.life.calibration`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.quantities import log_weibull_mean
from seallife.life.surface import WeibullSurface

__all__ = ["Lines", "best_on"]

_STEPS = 12
_PARABOLA = 0.2  # in log sigma
_NEAR = 1e-4  # steps in log sigma, which leave their square of the place and their cube of height


@dataclass(frozen=True, eq=False)
class Lines:
    """Quantities that fix log scale once the shape is given.

    Attributes
    ----------
    noise : ndarray, shape (g, k)
        Log ages mu + noise sigma, one a column.
    mean : bool
        Whether the log mean goes before them as a column of its own.
    log_ages : ndarray, shape (g, h), optional
        Log ages whose log hazards, times the age, go behind them.
    """

    noise: Floats
    mean: bool = False
    log_ages: Floats | None = None

    @property
    def width(self) -> int:
        """Number of quantities."""
        hazards = 0 if self.log_ages is None else self.log_ages.shape[1]
        return int(int(self.mean) + self.noise.shape[1] + hazards)

    def take(self, rows: NDArray[np.intp]) -> Lines:
        """Only some groups, or the same one many times."""
        log_ages = None if self.log_ages is None else self.log_ages[rows]
        return Lines(self.noise[rows], self.mean, log_ages)

    @classmethod
    def stack(cls, parts: Sequence[Lines]) -> Lines:
        """Groups of several lines of the same quantities, one after the other."""
        ages = [part.log_ages for part in parts if part.log_ages is not None]
        noise = np.concatenate([part.noise for part in parts])
        return cls(noise, parts[0].mean, np.concatenate(ages) if ages else None)

    def about(self, centre: Floats) -> Lines:
        """Count log ages from the centre of each group, shape (g,)."""
        log_ages = None if self.log_ages is None else self.log_ages - centre[:, None]
        return Lines(self.noise, self.mean, log_ages)

    def values(self, tau: Floats, mu: Floats) -> Floats:
        """What the quantities are at parameters of shape (g,)."""
        from scipy.special import gammaln

        sigma = np.exp(tau)[:, None]
        columns = [mu[:, None] + gammaln(1 + sigma)] if self.mean else []
        columns.append(mu[:, None] + self.noise * sigma)
        if self.log_ages is not None:
            columns.append((self.log_ages - mu[:, None]) / sigma - tau[:, None])
        return np.hstack(columns)

    def scale(self, target: Floats, tau: Floats) -> tuple[Floats, Floats, Floats]:
        """Log scale at which each quantity has its target, and two derivatives in log sigma."""
        skip, end = int(self.mean), int(self.mean) + self.noise.shape[1]
        bend = -self.noise * np.exp(tau[:, skip:end])
        parts = [(target[:, skip:end] + bend, bend, bend)]
        if self.mean:
            # the log mean of a law of log scale 0 is what it lies above its log scale
            lift, first, _, second, _, _ = log_weibull_mean(tau[:, :1], np.zeros_like(tau[:, :1]))
            parts.insert(0, (target[:, :1] - lift, -first, -second))
        if self.log_ages is not None:
            sigma, z = np.exp(tau[:, end:]), target[:, end:] + tau[:, end:]
            parts.append((self.log_ages - sigma * z, -sigma * (z + 1), -sigma * (z + 2)))
        above, first, second = (np.hstack(column) for column in zip(*parts, strict=True))
        return above, first, second


def best_on(
    surface: WeibullSurface,
    lines: Lines,
    target: Floats,
    start: Floats,
    span: tuple[Floats, Floats],
) -> tuple[Floats, Floats, Floats]:
    """Where on the line on which a quantity has its target is the likelihood highest?

    Parameters
    ----------
    target : ndarray, shape (g, q)
        On log ages from the centre of the surface.
    start : ndarray, shape (g,)
        Log sigma.
    span : tuple of ndarray, shape (g,)
        Log sigmas between which the surface is known.

    Returns
    -------
    log_sigma, log_scale, height : ndarray, shape (g, q)
    """
    low, high = (edge[:, None] for edge in span)
    x = np.clip(_guess(surface, lines, target, start), low, high)
    found, height = x.copy(), np.full(x.shape, -np.inf)
    part, some, goal, rows = surface, lines, target, np.arange(len(x))
    with np.errstate(all="ignore"):
        for _ in range(_STEPS):
            m, d1, d2 = some.scale(goal, x)
            here, lt, lm, ltt, ltm, lmm = part(x, m)
            slope = lt + lm * d1
            curve = ltt + 2 * ltm * d1 + lmm * d1**2 + lm * d2
            down = curve < 0
            step = np.where(down, -slope / curve, np.sign(slope) * 0.3)
            new = x + np.where(np.isfinite(step), np.clip(step, -0.5, 0.5), 0.0)
            new = np.clip(new, low, high)
            near = np.abs(new - x) < _NEAR
            # so near the top the parabola through it is exact
            inside = near & down & (new == x + step)
            here = np.where(inside, here + slope * step / 2, here)
            better = here >= height[rows]
            found[rows] = np.where(better, np.where(inside, new, x), found[rows])
            height[rows] = np.where(better, here, height[rows])
            left = ~near.all(axis=1)
            if not left.any():
                break
            x = new
            # copying pays where it spares most of the rows
            if left.mean() < 0.6:
                x, low, high, goal = (v[left] for v in (x, low, high, goal))
                rows, keep = rows[left], np.flatnonzero(left)
                part, some = part.take(keep), some.take(keep)
    return found, lines.scale(target, found)[0], height


def _guess(surface: WeibullSurface, lines: Lines, target: Floats, start: Floats) -> Floats:
    """Log sigma of the best place on each line, were the likelihood a parabola about its top."""
    x = start[:, None]
    above, lean, _ = lines.scale(target, np.repeat(x, target.shape[1], axis=1))
    with np.errstate(all="ignore"):
        centre = surface.best_scale(start)[:, None]
        _, _, _, ltt, ltm, lmm = surface(x, centre)
        step = -(above - centre) * (ltm + lmm * lean) / (ltt + (2 * ltm + lmm * lean) * lean)
    # further out it is none, and the way up from the top itself is safer
    return x + np.where(np.abs(step) < _PARABOLA, step, 0.0)
