"""Invented readings of leakage with a known truth, for tests of trends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Floats = np.ndarray
MONTH = 30.0


@dataclass(frozen=True)
class LeakSet:
    """Flat arrays: time [d], value, nondetect, segment."""

    time: Floats
    value: Floats
    nondetect: Floats
    segment: Floats

    @property
    def log_bounds(self) -> tuple[Floats, Floats]:
        y = np.log(self.value)
        return np.where(self.nondetect, -np.inf, y), y


def leaks(
    segments: int,
    n: int,
    *,
    slope: float = 0.0,
    phi: float = 0.0,
    below: float = 0.0,
    times: tuple[float, ...] = (MONTH,),
    seed: int = 1,
) -> LeakSet:
    """Log readings of unit scatter about a line, AR(1) by time; a share below one limit.

    ``phi`` is the correlation at 30 days; ``times`` the gaps between readings, drawn from.
    """
    rng = np.random.default_rng([seed, n, round(100 * phi), round(100 * below)])
    gaps = rng.choice(times, (segments, n))
    time = np.cumsum(gaps, axis=1) - gaps[:, :1]
    noise = np.empty((segments, n))
    noise[:, 0] = rng.normal(size=segments)
    for k in range(1, n):
        kept = phi ** (gaps[:, k] / MONTH) if phi else 0.0
        noise[:, k] = kept * noise[:, k - 1] + np.sqrt(1 - kept**2) * rng.normal(size=segments)
    y = noise + slope * time
    limit = np.quantile(y, below) if below else -np.inf
    open_ = y < limit
    return LeakSet(
        time.ravel(),
        np.exp(np.where(open_, limit, y)).ravel(),
        open_.ravel(),
        np.repeat(np.arange(segments), n),
    )
