"""Between which bounds does a sum of lives stay?

In: a cumulative failure rate, a step of time. Out: lives rounded to steps. Next:
`seallife.spares.renewal`.

Lives cut down to whole steps come no later than they do, lives cut up no earlier: what is counted
with either bounds what is counted with the lives themselves. The life cut up is the life cut down
and one step.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from seallife.life.groups import Floats, Ints

__all__ = ["MOST_STEPS", "convolve", "due", "life_steps", "refine", "steps_before"]

MOST_STEPS = 2**21
"""Steps beyond which the bounds are left as they are."""

_FIRST_STEPS = 2_000


def life_steps(
    cumulative: Callable[[Floats], Floats], step: float, n: int, age: float = 0.0
) -> Floats:
    """Chance that a life from an age on ends within each of n steps."""
    total = np.asarray(cumulative(age + step * np.arange(n + 1.0)), dtype=np.float64)
    failed = -np.expm1((total[0] if age > 0 else 0.0) - total)
    ends = np.diff(failed)
    ends[0] += failed[0]  # a new seal may fail at once
    return ends


def steps_before(times: Floats, step: float) -> tuple[Ints, Ints]:
    """Last whole step of lives cut up, and of lives cut down, that count by each time."""
    up = np.floor(times / step + 1e-9).astype(np.int64)
    down = np.ceil(times / step - 1e-9).astype(np.int64) - 1
    return up, down


def convolve(first: Floats, second: Floats) -> Floats:
    """Chances of the sum of two lives, as many steps as the first has."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(len(first) + len(second) - 1, real=True)
    return np.asarray(irfft(rfft(first, n) * rfft(second, n), n)[: len(first)])


def due(life: Floats, first: Floats) -> Floats:
    """Failures due in each step: of the first life, and of all that follow it."""
    n, inverse = 1, np.array([1 / (1 - life[0])])
    while n < len(life):
        n = min(2 * n, len(life))
        series = -life[:n]
        series[0] += 1
        wide = np.append(inverse, np.zeros(n - len(inverse)))
        rest = -convolve(series, inverse)
        rest[0] += 2
        inverse = convolve(wide, rest)
    return convolve(first, inverse)


def refine(
    bounds: Callable[[int], tuple[Floats, Floats, Floats]], tolerance: float
) -> tuple[Floats, Floats, Floats, int]:
    """Halve the step until bounds are close enough.

    Parameters
    ----------
    bounds : callable
        Number of steps to (value, low, high); what the value is off by falls as the step squared.
    tolerance : float
        Widest distance between bounds.

    Returns
    -------
    value, low, high : ndarray
        The value is that of the last two rounds, extrapolated, and within the bounds.
    steps : int
    """
    n = _FIRST_STEPS
    before, low, high = bounds(n)
    while True:
        n *= 2
        middle, less, more = bounds(n)
        low, high = np.maximum(low, less), np.minimum(high, more)
        value = np.clip((4 * middle - before) / 3, low, np.maximum(low, high))
        if np.max(high - low, initial=0.0) <= tolerance or 2 * n > MOST_STEPS:
            return value, low, high, n
        before = middle
