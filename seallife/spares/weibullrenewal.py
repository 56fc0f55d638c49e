"""How many seals will a position use up to a time, if their lives follow a Weibull law?

In: times, shapes and scales. Out: expected number of renewals. Next: `seallife.spares.renewal`,
which does the same for any law.

The renewal function has no closed form, its Laplace transform nearly has: 1 / (s^2 R(s)) - 1 / s,
R being the transform of the share that runs on. R is one integral along a path turned so that
nothing oscillates; the sum that goes back to time is short, as the straight line that the renewal
function comes to is taken off first.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["renewal_function"]

Complexes = NDArray[np.complexfloating[Any, Any]]

_LEAST_SHAPE, _MOST_SHAPE = 0.2, 30.0
_DAMPING = 25.0
"""Other times mix in by exp(-_DAMPING); rounding grows by exp(_DAMPING / 2)."""

_EULER = 16
"""Partial sums averaged, with binomial weights, to end the alternating series."""

_CELLS = 250_000
"""Numbers worked on at once."""


def renewal_function(t: ArrayLike, shape: ArrayLike, scale: ArrayLike = 1.0) -> Floats:
    """How many seals will a position use up to a time, starting with a new one?

    Parameters
    ----------
    t : array_like
        Times from the fitting of a new seal, in the unit of ``scale``: run hours, or days. For
        calendar time with a law in run hours give days times the hours a day that it runs.
    shape : array_like
        Weibull shapes, 0.2 to 30.
    scale : array_like
        Weibull scales, above 0. The three are broadcast.

    Returns
    -------
    ndarray
        Expected failures up to each time, each made good at once by a new seal; the first seal is
        not counted. Good to 1e-9, or to 1e-12 of the figure where that is more.

    Raises
    ------
    InputError
        A time below 0, a scale not above 0, or a shape outside its range.

    Source
    ------
    Cox (1962), Renewal Theory, ch. 4; Abate & Whitt (1995), ORSA J. Computing 7, 36-43 (from
    Laplace transform to time); Smith & Leadbetter (1963), Technometrics 5, 393-396, for values.

    Examples
    --------
    >>> renewal_function([0.5, 1.0, 2.0], 2.0).round(6).tolist()
    [0.230794, 0.753691, 1.894039]
    """
    from scipy.special import gamma

    times, shapes, scales = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (t, shape, scale))
    )
    if not (np.isfinite(times).all() and np.all(times >= 0)):
        raise InputError("is below 0 or not known", where="t", hint="give times from 0")
    if not (np.isfinite(scales).all() and np.all(scales > 0)):
        raise InputError("is not above 0", where="scale", hint="give scales above 0")
    if not np.all((shapes >= _LEAST_SHAPE) & (shapes <= _MOST_SHAPE)):
        raise InputError(
            "is out of range",
            where="shape",
            hint=f"give shapes from {_LEAST_SHAPE} to {_MOST_SHAPE:g}",
        )
    x, b = (times / scales).ravel(), shapes.ravel()
    mean = gamma(1 + 1 / b)
    variation = gamma(1 + 2 / b) / mean**2 - 1  # squared
    out = x / mean + (variation - 1) / 2
    # far out the straight line is all there is: the rest has died away
    near = (x**b < 60) | (x * variation < 3 * mean)
    rows = np.flatnonzero(near & (x > 0))
    rows = rows[np.argsort(b[rows], kind="stable")]
    out[rows] += _near(x[rows], b[rows], mean[rows], variation[rows])
    # the chance of one failure, and the sum of its powers: what is left where the error would show
    failed = -np.expm1(-(x**b))
    out = np.clip(out, failed, np.expm1(np.minimum(x**b, 700.0)))
    return np.asarray(out.reshape(times.shape))


def _near(x: Floats, shape: Floats, mean: Floats, variation: Floats) -> Floats:
    """What the renewal function has above its straight line, rows in order of shape."""
    from scipy.special import binom

    terms = (30 + 3 * x / (mean * np.sqrt(variation))).astype(np.int64)
    out = np.empty(len(x))
    ends = binom(_EULER, np.arange(_EULER + 1)) / 2.0**_EULER
    first = 0
    while first < len(x):
        last = first + max(1, _CELLS // int((terms[first] + _EULER) * _nodes(shape[first])))
        part = slice(first, min(last, len(x)))
        n = int(terms[part].max())
        sign = (-1.0) ** np.arange(n + _EULER + 1)
        sign[0] /= 2
        at = x[part, None]
        s = _DAMPING / (2 * at) + 1j * (np.pi / at * np.arange(n + _EULER + 1))
        run = _running_transform(s, shape[part, None])
        line = 1 / mean[part, None], (variation[part, None] - 1) / 2
        rest = 1 / (s * s * run) - (1 + line[1]) / s - line[0] / (s * s)
        sums = np.cumsum(sign * rest.real, axis=1)[:, n:]
        out[part] = np.exp(_DAMPING / 2) / x[part] * (sums @ ends)
        first = part.stop
    return out


def _nodes(shape: float) -> int:
    """About how many nodes the transform takes for one shape."""
    return int(60 + 32 * shape * (1 + shape))


def _running_transform(s: Complexes, shape: Floats) -> Complexes:
    """Integral of exp(-s x - x^shape) over all ages.

    Along x = r exp(-i angle) both terms turn by the same angle, so that neither oscillates more
    than it must; with r = exp(v - exp(-v)) equal steps in v converge as fast as anything can.
    """
    size, angle = np.abs(s), np.angle(s) / (1 + shape)
    turned = np.abs(angle) * shape
    room = float(((np.pi / 2 - turned) / np.maximum(shape, 1.0)).min())
    step = 2 * np.pi * min(room, 1.2) / 36
    low = np.minimum(-np.log(size), 0.0)
    reach = np.log(40 / np.cos(turned))
    top = np.minimum(reach - np.log(size), reach / shape)
    v = np.arange(-3.7, float((top - low).max()) + 1.0, step)
    total = np.zeros(s.shape, dtype=np.complex128)
    for some in np.array_split(v, 1 + s.size * len(v) // _CELLS):
        log_r = low[..., None] + some - np.exp(-some)
        r = np.exp(log_r)
        rate, cause = size[..., None] * r, np.exp(shape[..., None] * log_r)
        r *= np.exp(-np.cos(turned)[..., None] * (rate + cause)) * step * (1 + np.exp(-some))
        phase = np.sin(turned)[..., None] * (rate - cause)
        total += (r * np.cos(phase)).sum(axis=-1) - 1j * (r * np.sin(phase)).sum(axis=-1)
    return np.asarray(total * np.exp(-1j * angle))
