"""How good were forecasts of whole numbers, each a chance for every count?

In: what happened, chances of counts, as plain arrays. Out: `CountScores`. Next:
`seallife.scorecard`.

A forecast is right when it is neither too low nor too high on the whole, when its ranges hold what
they say, and when what happened was given much chance. No single figure says all three.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.history.rates import mtbr, share_limits
from seallife.life.groups import Floats, Ints
from seallife.life.result import TableResult

__all__ = ["CountScores", "chances_of_draws", "score_counts"]

_METHOD = "scores of count forecasts; exact Poisson limits of the ratio"
_SOURCE = "Czado, Gneiting & Held (2009), Biometrics 65, 1254-1261; Gneiting & Raftery (2007)"
_WHOLE = 1e-6  # chances of one forecast may miss a sum of 1 by this


@dataclass(frozen=True, eq=False)
class CountScores(TableResult):
    """How good forecasts of counts were, smaller scores being better.

    Attributes
    ----------
    table : DataFrame
        One row a ``group``: ``forecasts``; ``observed``, ``expected`` sums; ``ratio`` of the two
        (NaN where nothing was expected) with ``ratio_low``, ``ratio_high`` (exact Poisson limits)
        and ``lean``, how far they differ in standard deviations, above 0 where too few were
        foretold; ``inside``, forecasts whose range held what happened, and ``inside_due``, how many
        should (whole numbers make ranges hold more than their level); ``coverage``, ``below``,
        ``above``, shares inside, under and over a range that holds exactly its level, with
        ``coverage_low``, ``coverage_high``; ``log_score`` [nats] and ``ranked_score`` a forecast;
        ``status``, ``message``.
    each : DataFrame
        One row a forecast, in order: ``group``, ``observed``, ``expected``, ``variance``, ``low``,
        ``high``, ``log_score``, ``ranked_score``, ``under`` and ``upto``: chances given to fewer
        than what happened, and to no more than it.
    pit : ndarray, shape (groups, bins)
        Histogram of the probability integral transform, not randomised; of height 1 throughout
        where forecasts are right, a U where their ranges are too tight.
    """

    each: pd.DataFrame
    pit: Floats


def score_counts(
    observed: npt.ArrayLike,
    chance: npt.ArrayLike,
    group: npt.ArrayLike | None = None,
    *,
    repeats: npt.ArrayLike = 1.0,
    level: float = 0.90,
    bins: int = 10,
) -> CountScores:
    """Were forecasts of counts right, and how much did they say?

    Parameters
    ----------
    observed : array_like of int, shape (n,)
        What happened.
    chance : array_like, shape (n, k)
        Chance of 0, 1, ... events; the last stands for k - 1 or more.
    group : array_like, shape (n,), optional
        Name of the group each forecast is judged in; all in one, 'all', where left out.
    repeats : array_like, scalar or shape (groups,)
        In how many forecasts of a group the same event is counted, where their times overlap: by so
        much less is known, and limits are wider. Groups in the order in which they first stand.
    level : float
        Of the ranges that are judged, and of all limits.
    bins : int
        Of ``pit``.

    Returns
    -------
    CountScores

    Raises
    ------
    InputError
        Counts that are no counts, chances that are no chances, or too few forecasts for them.

    Notes
    -----
    Ranges run from the smallest count reached with a chance of (1 - level) / 2 to that reached with
    (1 + level) / 2. ``coverage`` shares the counts at their ends between inside and outside, as a
    randomised range would on average: right forecasts come to the level itself. Its limits, and
    those of the ratio, take forecasts as independent and sure of their rates. ``lean`` does not: it
    takes what a forecast spreads beyond the Poisson law as doubt that all of a group share. A count
    that was given no chance has an infinite log score.

    Source
    ------
    Czado, Gneiting & Held (2009), Biometrics 65, 1254-1261, eq. 2 and sec. 3 (from memory): the
    histogram and both scores, here all negatively oriented.

    Examples
    --------
    >>> scores = score_counts([0, 1], [[0.5, 0.5], [0.25, 0.75]])
    >>> scores.each["log_score"].round(3).tolist()
    [0.693, 0.288]
    """
    y, p = _checked(observed, chance)
    names = np.full(len(y), "all") if group is None else np.asarray(group)
    if len(names) != len(y):
        raise InputError(f"has {len(names)} values for {len(y)} forecasts", where="group")
    if not 0 < level < 1:
        raise InputError(f"is {level}, not between 0 and 1", where="level")
    if bins < 1:
        raise InputError(f"is {bins}", where="bins", hint="give 1 or more")
    code, groups = pd.factorize(names)
    times = np.broadcast_to(np.asarray(repeats, dtype=float), (len(groups),))
    if not (times >= 1).all():
        raise InputError("must be 1 or more", where="repeats")
    each, summed = _each(y, p, level)
    each.insert(0, "group", names)
    tails = np.array([(1 - level) / 2, (1 + level) / 2])
    under, upto = each["under"].to_numpy(), each["upto"].to_numpy()
    spread = _means(_transform(under, upto, np.linspace(0, 1, bins + 1)), code, len(groups))
    table = _table(groups, code, each, _inside_due(summed, each), times, level)
    at_tails = _means(_transform(under, upto, tails), code, len(groups))
    below, within = at_tails[:, 0], at_tails[:, 1]
    told = table["forecasts"].to_numpy() / times
    limits = share_limits((within - below) * told, told, level)
    table = table.assign(
        coverage=within - below,
        coverage_low=limits[0],
        coverage_high=limits[1],
        below=below,
        above=1 - within,
    )
    return CountScores(
        table[[*_COLUMNS]], level, _METHOD, _SOURCE, each, np.diff(spread, axis=1) * bins
    )


def chances_of_draws(draws: npt.ArrayLike, cells: int | None = None) -> Floats:
    """Which chance does each count have, given equally likely draws of it?

    Parameters
    ----------
    draws : array_like of int, shape (n, m)
        Draws of each of n forecasts.
    cells : int, optional
        Counts 0 to cells - 1 are told apart, the last standing for more as well; up to one more
        than the largest draw where left out.

    Returns
    -------
    ndarray, shape (n, cells)
        One draw more than there are is shared by all counts alike: what was not drawn is rare, not
        impossible.
    """
    drawn = np.asarray(draws)
    if drawn.ndim != 2 or not drawn.size:
        raise InputError("must be one row of draws a forecast", where="draws")
    counts = _whole(drawn.ravel().astype(float), "draws").reshape(drawn.shape)
    n, m = len(drawn), drawn.shape[1]
    k = int(counts.max()) + 2 if cells is None else cells
    if k < 1:
        raise InputError(f"is {k}", where="cells", hint="give 1 or more")
    flat = np.minimum(counts, k - 1) + k * np.arange(n)[:, None]
    met = np.bincount(flat.ravel(), minlength=n * k).reshape(n, k)
    return np.asarray((met + 1 / k) / (m + 1))


_COLUMNS = (
    *("group", "forecasts", "observed", "expected", "ratio", "ratio_low"),
    *("ratio_high", "lean", "inside", "inside_due"),
    *("coverage", "coverage_low", "coverage_high", "below", "above"),
    *("log_score", "ranked_score", "status", "message"),
)


def _whole(values: Floats, where: str) -> Ints:
    """Refuse what is no count."""
    bad = ~np.isfinite(values) | (values < 0) | (values != np.floor(values))
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise InputError(f"value {i} is {values[i]:g}, no count", where=where)
    return values.astype(np.int64)


def _checked(observed: npt.ArrayLike, chance: npt.ArrayLike) -> tuple[Ints, Floats]:
    y = _whole(np.atleast_1d(np.asarray(observed, dtype=float)), "observed")
    p: Floats = np.asarray(chance, dtype=float)
    if p.ndim != 2 or p.shape[0] != len(y) or not p.size:
        raise InputError(
            f"has shape {p.shape} for {len(y)} counts",
            where="chance",
            hint="give one row a forecast, one column a count",
        )
    bad = ~np.isfinite(p).all(axis=1) | (p < 0).any(axis=1) | (np.abs(p.sum(axis=1) - 1) > _WHOLE)
    if bad.any():
        raise InputError(
            f"row {int(np.flatnonzero(bad)[0])} is not a set of chances that sum to 1",
            where="chance",
        )
    return y, p


def _each(y: Ints, p: Floats, level: float) -> tuple[pd.DataFrame, Floats]:
    """Range and scores of each forecast, and its cumulative chances."""
    rows, cell = np.arange(len(y)), np.minimum(y, p.shape[1] - 1)
    summed = np.minimum(np.cumsum(p, axis=1), 1.0)
    summed[:, -1] = 1.0
    reached = (np.arange(p.shape[1]) >= cell[:, None]).astype(float)
    low, high = (
        np.argmax(summed >= share - 1e-12, axis=1) for share in ((1 - level) / 2, (1 + level) / 2)
    )
    with np.errstate(divide="ignore"):
        log_score = -np.log(p[rows, cell])
    count = np.arange(p.shape[1], dtype=float)
    mean = p @ count
    return pd.DataFrame(
        {
            "observed": y,
            "expected": mean,
            "variance": p @ count**2 - mean**2,
            "low": low,
            "high": high,
            "log_score": log_score,
            "ranked_score": ((summed - reached) ** 2).sum(axis=1),
            "under": np.where(cell > 0, summed[rows, cell - 1], 0.0),
            "upto": summed[rows, cell],
        }
    ), summed


def _inside_due(summed: Floats, each: pd.DataFrame) -> Floats:
    """Chance that each forecast gives to its own range."""
    rows, low = np.arange(len(summed)), each["low"].to_numpy()
    below = np.where(low > 0, summed[rows, low - 1], 0.0)
    return np.asarray(summed[rows, each["high"].to_numpy()] - below)


def _transform(under: Floats, upto: Floats, at: Floats) -> Floats:
    """Conditional distribution of the transform of each count at some values, shape (n, values)."""
    width = np.maximum(upto - under, np.finfo(float).tiny)
    return np.clip((at - under[:, None]) / width[:, None], 0.0, 1.0)


def _means(values: Floats, code: Ints, groups: int) -> Floats:
    """Mean of each column of ``values`` by group."""
    sums = np.zeros((groups, values.shape[1]))
    np.add.at(sums, code, values)
    return np.asarray(sums / np.bincount(code, minlength=groups)[:, None])


def _table(
    groups: npt.NDArray[np.object_],
    code: Ints,
    each: pd.DataFrame,
    due: Floats,
    times: Floats,
    level: float,
) -> pd.DataFrame:
    """Sums and means by group."""
    rows = each.assign(
        inside=each["observed"].between(each["low"], each["high"]), inside_due=due
    ).groupby(code)
    sums = rows[["observed", "expected", "inside", "inside_due"]].sum()
    means = rows[["log_score", "ranked_score"]].mean()
    # events over those expected: the reciprocal of the mean "time" in units of expected events
    ratio = mtbr(sums["expected"], sums["observed"], level=level, dispersion=times)
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = 1 / ratio["high"], 1 / ratio["low"]
    nothing = sums["expected"].to_numpy() <= 0
    doubt = (each["variance"] - each["expected"]).clip(lower=0) ** 0.5
    shared = doubt.groupby(code).sum().to_numpy()
    spread = np.sqrt(times * sums["expected"].to_numpy() + shared**2)
    off = (sums["observed"] - sums["expected"]).to_numpy()
    infinite = ~np.isfinite(means["log_score"].to_numpy())
    return pd.DataFrame(
        {
            "group": groups,
            "forecasts": rows.size().to_numpy(),
            **{c: sums[c].to_numpy() for c in sums},
            "ratio": np.divide(
                sums["observed"], sums["expected"], where=~nothing, out=np.full(len(sums), np.nan)
            ),
            "lean": np.divide(off, spread, where=spread > 0, out=np.full(len(off), np.nan)),
            "ratio_low": low.to_numpy(),
            "ratio_high": high.to_numpy(),
            **{c: means[c].to_numpy() for c in means},
            "status": np.where(infinite, "held impossible", "ok"),
            "message": np.where(
                infinite, "something happened that a forecast had given no chance", ""
            ),
        }
    )
