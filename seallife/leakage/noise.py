"""How much do quiet readings scatter, and how far do seals differ? The noise of a whole fleet.

In: `Sequences`. Out: `Noise`, and fleets drawn from it. Next: `seallife.leakage.episodes`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from seallife.errors import InputError
from seallife.leakage.forecasts import Noise, Steps, correlations, follow
from seallife.leakage.sequences import Sequences
from seallife.life.groups import Floats

__all__ = ["draw_quiet", "fit_noise", "reading_limits"]

_BEND = 3.0
"""Forecast errors beyond so many standard deviations count less and less."""
_MOST_READINGS = 20_000
_LEAST_EXACT = 20
_FLOOR, _CEILING = 0.05, 5.0
"""Bounds of the standard deviations, log scale: nobody reads leakage to 5 %."""


def fit_noise(
    data: Sequences, correlation: float | Literal["pooled"] | None, rng: np.random.Generator
) -> Noise | None:
    """Which noise and which spread of levels explain the readings best?

    Returns
    -------
    Noise or None
        None where too few readings are exact to tell.

    Raises
    ------
    InputError
        A correlation outside 0 to 0.95.

    Notes
    -----
    Greatest likelihood of the forecast errors of all seals, with a floor under the likelihood of
    each at that of 3 standard deviations, and the correction that keeps the scale right for
    normal noise. So the few seals that do rise, and readings off the scale, hardly move it. Up to
    20,000 readings are used, those of whole segments drawn at random.
    """
    from scipy.optimize import minimize

    pooled = isinstance(correlation, str)
    if (pooled and correlation != "pooled") or (
        not pooled and not 0 <= float(correlation or 0) <= 0.95
    ):
        raise InputError(
            f"is {correlation!r}", where="correlation", hint="give 0 to 0.95, None or 'pooled'"
        )
    exact = data.low == data.high
    if exact.sum() < _LEAST_EXACT or len(np.unique(data.seal[exact])) < 2:
        return None
    if len(data.row) > _MOST_READINGS:
        drawn = rng.permutation(len(data.order))
        upto = np.searchsorted(np.cumsum(data.sizes[drawn]), _MOST_READINGS)
        chosen = np.zeros(len(data.order), bool)
        chosen[drawn[: upto + 1]] = True
        data = data.part(chosen)
        exact = data.low == data.high
    middle = float(np.median(data.low[exact])) if exact.any() else float(np.median(data.high))
    wide = max(float(np.std(data.low[exact])), 0.2) if exact.any() else 1.0
    grid = np.linspace(-8, 8, 1601)
    weight = grid**2 / (1 + np.exp(0.5 * (grid**2 - _BEND**2)))
    shrink = float((weight * np.exp(-0.5 * grid**2)).sum() / np.exp(-0.5 * grid**2).sum())
    fixed = float(correlation or 0) if not isinstance(correlation, str) else 0.0

    def read(x: Floats) -> Noise:
        phi = fixed if len(x) < 4 else 0.95 / (1 + np.exp(-x[3]))
        return Noise(middle + wide * x[0], float(np.exp(x[1])), float(np.exp(x[2])), float(phi))

    def loss(x: Floats) -> float:
        steps = follow(data, data.low, data.high, read(x))
        # a bounded reading stands as far out as an exact one that is as unlikely
        far = np.where(exact, steps.z**2, 2 * np.maximum(-steps.loglik, 0.0))
        kept = -np.logaddexp(-0.5 * far, -0.5 * _BEND**2).sum()
        # for normal noise this asks for a scale too small by just that factor
        total = kept + shrink * np.log(steps.sd[exact]).sum()
        return float(total / len(exact))

    bound = (np.log(_FLOOR), np.log(_CEILING))
    bounds = [(-8.0, 8.0), bound, bound] + ([(-6.0, 6.0)] if pooled else [])
    start = np.array([0.0, np.log(wide * 0.8), np.log(wide * 0.7), -1.5][: len(bounds)])
    start = np.clip(start, [b[0] for b in bounds], [b[1] for b in bounds])
    found = minimize(
        loss, start, method="L-BFGS-B", bounds=bounds, options={"maxiter": 40, "ftol": 1e-7}
    )
    noise = read(found.x)
    # at the lower edge the readings show no correlation
    return noise._replace(phi=0.0) if pooled and noise.phi < 0.01 else noise


def reading_limits(data: Sequences) -> tuple[Floats, Floats]:
    """Below which log value would each reading not have been detected, above which off the scale?

    Returns
    -------
    floor, ceiling : ndarray, shape (m,)
        The limit stated with the reading; else the middle one of its seal's, else of the fleet's,
        yet never one that contradicts the reading.
    """
    exact = data.low == data.high
    floor = _filled(data, data.high, np.isinf(data.low), -np.inf)
    ceiling = _filled(data, data.low, np.isinf(data.high), np.inf)
    floor[exact] = np.minimum(floor[exact], data.low[exact])
    ceiling[exact] = np.maximum(ceiling[exact], data.low[exact])
    return floor, ceiling


def _filled(data: Sequences, limit: Floats, stated: np.ndarray, absent: float) -> Floats:
    """Limits where stated, else the median of the seal's, else of the fleet's."""
    if not stated.any():
        return np.full(len(limit), absent)
    seal, value = data.seal[stated], limit[stated]
    order = np.lexsort((value, seal))
    seal, value = seal[order], value[order]
    first = np.flatnonzero(np.append(True, seal[1:] != seal[:-1]))
    count = np.diff(np.append(first, len(seal)))
    own = np.full(len(data.order), float(np.median(value)))
    own[seal[first]] = value[first + (count - 1) // 2]
    return np.where(stated, limit, own[data.seal])


def draw_quiet(
    data: Sequences, steps: Steps, noise: Noise, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Readings of the same seals on the same days with the same limits, and nothing rising.

    Parameters
    ----------
    data : Sequences
    steps : Steps
        What the filter made of the readings themselves: levels are drawn from what it knew of
        each seal at the end.

    Returns
    -------
    low, high : ndarray, shape (m,)
    """
    sizes = data.sizes[data.sizes > 0]  # seals without a reading stand last
    last = data.steps[sizes - 1] + np.arange(len(sizes))
    doubt = np.sqrt(np.maximum(steps.variance[last], 0.0))
    level = steps.level[last] + doubt * rng.standard_normal(len(sizes))
    phi, fresh = correlations(data, noise), rng.standard_normal(len(data.row))
    value, error = np.empty(len(data.row)), np.zeros(len(sizes))
    for number, at in enumerate(data.slices()):
        f = phi[at] if number else 0.0
        error = f * error[: at.stop - at.start] + np.sqrt(1 - np.square(f)) * fresh[at]
        value[at] = level[: at.stop - at.start] + noise.sigma * error
    floor, ceiling = reading_limits(data)
    low = np.where(value < floor, -np.inf, np.minimum(value, ceiling))
    high = np.where(value > ceiling, np.inf, np.maximum(value, floor))
    return low, high
