"""What would a simple rule have foretold? Forecasts that a better one must beat.

In: counts and exposure so far. Out: chances of counts. Next: `seallife.scoring.counts`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["constant_rate", "last_years_usage"]

_NONE_SEEN = 0.5  # events taken for none: half of the first


def last_years_usage(counts: npt.ArrayLike, months: npt.ArrayLike, cells: int) -> Floats:
    """What if the twelve months past come again, and chance alone moves the count?

    Parameters
    ----------
    counts : array_like, shape (n,)
        Events of the last twelve months; where none was seen half a one is taken, as none would
        make the next impossible.
    months : array_like, shape (n,) or scalar
        How far ahead.
    cells : int
        Counts 0 to cells - 1 are told apart; the last stands for more as well.

    Returns
    -------
    ndarray, shape (n, cells)
        Poisson chances of mean counts × months / 12.

    Examples
    --------
    >>> last_years_usage([2], 6, 3).round(3).tolist()
    [[0.368, 0.368, 0.264]]
    """
    from scipy.special import gammainc, gammaln

    seen, ahead = _amounts(counts=counts, months=months)
    mean = np.maximum(seen, _NONE_SEEN)[:, None] * ahead[:, None] / 12
    k = _cells(cells)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_chance = k * np.log(mean) - mean - gammaln(k + 1)
    chance = np.where(mean > 0, np.exp(log_chance), k == 0)
    return _last_open(chance, gammainc(np.maximum(cells - 1, 1), mean[:, 0]))


def constant_rate(
    events: npt.ArrayLike, exposure: npt.ArrayLike, ahead: npt.ArrayLike, cells: int
) -> Floats:
    """What if events go on at the rate of the whole record, whatever the seals' ages?

    Parameters
    ----------
    events, exposure : array_like, shape (n,)
        All events on record and the time at risk they came from.
    ahead : array_like, shape (n,)
        Time at risk of the forecast, in the same unit.
    cells : int
        As for `last_years_usage`.

    Returns
    -------
    ndarray, shape (n, cells)
        Negative binomial chances: a Poisson count whose rate is known as well as the record tells.

    Source
    ------
    Gamma rate of shape events + 1/2 (Jeffreys) and scale 1 / exposure; Gelman et al. (2013),
    Bayesian Data Analysis, 3rd ed., sec. 2.6.

    Examples
    --------
    >>> constant_rate([0], [1.0], [1.0], 2).round(3).tolist()
    [[0.707, 0.293]]
    """
    from scipy.special import betainc, gammaln

    n, past, more = _amounts(events=events, exposure=exposure, ahead=ahead)
    if (past <= 0).any():
        raise InputError(
            f"value {int(np.argmax(past <= 0))} is not above 0",
            where="exposure",
            hint="without time at risk there is no rate",
        )
    k, shape = _cells(cells), (n + 0.5)[:, None]
    share = (more / (past + more))[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.where(k == 0, 0.0, k * np.log(share))
    log_chance = gammaln(k + shape) - gammaln(shape) - gammaln(k + 1)
    chance = np.exp(log_chance + shape * np.log1p(-share) + power)
    return _last_open(chance, betainc(np.maximum(cells - 1, 1), shape[:, 0], share[:, 0]))


def _cells(cells: int) -> Floats:
    if cells < 1:
        raise InputError(f"is {cells}", where="cells", hint="give 1 or more")
    return np.arange(cells, dtype=float)[None, :]


def _amounts(**given: npt.ArrayLike) -> list[Floats]:
    """Amounts of one length, none below 0."""
    arrays = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, float)) for v in given.values()))
    for name, values in zip(given, arrays, strict=True):
        bad = ~np.isfinite(values) | (values < 0)
        if bad.any():
            i = int(np.flatnonzero(bad)[0])
            raise InputError(f"value {i} is {values[i]}, not zero or more", where=name)
    return [np.array(a) for a in arrays]


def _last_open(chance: Floats, tail: Floats) -> Floats:
    """Let the last cell stand for its count and all above."""
    return np.column_stack([chance[:, :-1], tail if chance.shape[1] > 1 else np.ones(len(chance))])
