"""What censored readings say about the baseline, at every node of a grid.

In: `RampReadings`, nodes. Out: best baselines and likelihoods. Next: `seallife.leakage.rampgrid`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import erfcx, log_ndtr

from seallife.leakage.rampreadings import RampReadings
from seallife.life.groups import Floats, Ints

__all__ = ["Censored", "interval_terms"]

_STEPS, _LONGEST = 5, 3.0  # of Newton's; longest step in sd of a reading
_BOTTOM, _TOP = -12.0, 9.0  # of the table; beyond the top the terms are nought
_PER_UNIT = 100  # points of the table


@dataclass(frozen=True, eq=False)
class Censored:
    """Censored readings of some segments, laid against nodes.

    Attributes
    ----------
    of : ndarray of int, shape (c,)
        Segment of each row.
    low, high, sigma, count : ndarray, shape (c,)
        Bounds of log level, noise, and how many readings the row stands for.
    lift : ndarray, shape (c, s, r)
        Level above the baseline at the time of the reading.
    """

    of: Ints
    low: Floats
    high: Floats
    sigma: Floats
    count: Floats
    lift: Floats

    @staticmethod
    def of_nodes(
        readings: RampReadings, sigma: Floats, start: Floats, slope: Floats
    ) -> Censored | None:
        """Lay the censored readings against nodes; None where all are exact."""
        rows = np.flatnonzero(~readings.exact)
        if not len(rows):
            return None
        of, time = readings.groups.codes[rows], readings.time[rows]
        low, high = readings.low[rows], readings.high[rows]
        # before the first start they differ by nothing but their bounds: most are alike
        time = np.maximum(time, start.min(axis=1)[of])
        key = np.column_stack([of, time, low, high])
        key, count = np.unique(key, axis=0, return_counts=True)
        of = key[:, 0].astype(np.int64)
        lift = slope[of] * np.maximum(key[:, 1][:, None] - start[of], 0.0)[:, :, None]
        return Censored(of, key[:, 2], key[:, 3], sigma[of], count.astype(np.float64), lift)

    def climb(
        self, base: Floats, linear: Floats, precision: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Best baseline, curvature and height where exact readings give a parabola.

        The log likelihood is ``linear b - precision b^2 / 2`` plus the terms of these rows.
        """
        longest = np.full(base.shape[0], np.inf)
        longest[self.of] = _LONGEST * self.sigma
        limit = longest[:, None, None]
        for _ in range(_STEPS):
            value, slope, bend = self._terms(base)
            curve = precision + bend
            value += linear * base - precision * base**2 / 2
            step = np.clip((linear - precision * base + slope) / curve, -limit, limit)
            base = base + step
        # the last step is next to nothing: its parabola is as good as one more look
        return base, curve, value + curve * step**2 / 2

    def _terms(self, base: Floats) -> tuple[Floats, Floats, Floats]:
        """Log likelihood of these rows, its slope and minus its bend, at each node."""
        level = base[self.of] + self.lift
        first = np.flatnonzero(np.diff(self.of, prepend=-1))
        out = []
        for term in interval_terms(level, self.low, self.high, self.sigma):
            term *= self.count[:, None, None]
            total = np.zeros(base.shape)
            total[self.of[first]] = np.add.reduceat(term, first, axis=0)
            out.append(total)
        return out[0], out[1], out[2]


def interval_terms(
    level: Floats, low: Floats, high: Floats, sigma: Floats
) -> tuple[Floats, Floats, Floats]:
    """Log chance that a reading falls between its bounds, its slope and minus its bend in level.

    ``level`` is (c, ...); bounds and noise are (c,).
    """
    column = (slice(None), *(None,) * (level.ndim - 1))
    both = np.isfinite(low) & np.isfinite(high)
    if not both.any():
        return _one_sided(level, low[column], high[column], sigma[column])
    out = tuple(np.empty_like(level) for _ in range(3))
    for rows, terms in ((~both, _one_sided), (both, _two_sided)):
        if rows.any():
            found = terms(level[rows], *(v[rows][column] for v in (low, high, sigma)))
            for kept, part in zip(out, found, strict=True):
                kept[rows] = part
    return out[0], out[1], out[2]


def _one_sided(
    level: Floats, low: Floats, high: Floats, sigma: Floats
) -> tuple[Floats, Floats, Floats]:
    """Open at one end."""
    sign = np.where(np.isfinite(high), 1.0, -1.0)
    z = np.minimum(sign * (np.where(sign > 0, high, low) - level) / sigma, _TOP)
    value, hazard = _normal_tail(z)
    bend = hazard * (z + hazard) / sigma**2
    hazard *= -sign / sigma
    return value, hazard, bend


def _normal_tail(z: Floats) -> tuple[Floats, Floats]:
    """Log of the standard normal law and its slope, by table: a tenth of the time of erfcx."""
    far = z < _BOTTOM
    place = np.maximum(z, _BOTTOM)
    place -= _BOTTOM
    place *= _PER_UNIT
    at = place.astype(np.int64)
    np.minimum(at, len(_TABLE[0]) - 2, out=at)
    place -= at
    value, hazard = (
        table[at] + place * rise[at] for table, rise in zip(_TABLE, _RISE, strict=True)
    )
    if far.any():
        value[far], hazard[far] = _exact_tail(z[far])
    return value, hazard


def _exact_tail(z: Floats) -> tuple[Floats, Floats]:
    scaled = erfcx(z * -np.sqrt(0.5))
    return np.log(scaled / 2) - z**2 / 2, np.sqrt(2 / np.pi) / scaled


# linear between points: off by a hundred-thousandth at most
_TABLE = _exact_tail(np.arange(int((_TOP - _BOTTOM) * _PER_UNIT) + 1) / _PER_UNIT + _BOTTOM)
_RISE = tuple(np.append(np.diff(t), 0.0) for t in _TABLE)


def _two_sided(
    level: Floats, low: Floats, high: Floats, sigma: Floats
) -> tuple[Floats, Floats, Floats]:
    """Between two bounds."""
    a, b = (low - level) / sigma, (high - level) / sigma
    # seen from the side where the tail is the smaller one, so that nothing cancels
    turn = a + b > 0
    a, b = np.where(turn, -b, a), np.where(turn, -a, b)
    upper, gap = log_ndtr(b), log_ndtr(a) - log_ndtr(b)
    value = upper + np.log(-np.expm1(np.minimum(gap, -1e-12)))
    at_a, at_b = (np.exp(-(x**2) / 2 - value) / np.sqrt(2 * np.pi) for x in (a, b))
    pull = at_a - at_b
    bend = np.clip(b * at_b - a * at_a + pull**2, 0.0, 1.0)
    return value, np.where(turn, -pull, pull) / sigma, bend / sigma**2
