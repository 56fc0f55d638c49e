"""Does the monthly chart show anything beyond chance: a month out of line, or a long run?

In: failures by month with what exposure lets one expect. Out: `ChartSignals`. Next: report.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError
from seallife.life.result import TableResult

__all__ = ["ChartSignals", "chart_signals"]

_LEAST_MONTHS, _LEAST_FAILURES = 12, 10
_SOURCE = "resampling of the months given the total (conditional test, Cox & Lewis 1966, chapter 3)"

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ChartSignals(TableResult):
    """What a chart of monthly counts shows beyond chance.

    Attributes
    ----------
    table : DataFrame
        Per ``signal`` ('one month', 'run above', 'run below'): the strongest of its kind with
        ``first`` and ``last`` month, ``months``, ``failures``, ``expected``, ``p`` (share of charts
        without any change that show as strong a one), ``verdict`` ('more than chance', 'no
        evidence', 'cannot tell yet'), ``message``.
    """


def chart_signals(
    expected: pd.DataFrame, level: float = 0.90, *, resamples: int = 999, seed: int = 1
) -> ChartSignals:
    """Does a chart of monthly counts show more than chance would?

    Parameters
    ----------
    expected : DataFrame
        ``month``, ``failures``, ``expected`` of `seallife.history.expected_counts`, or with any
        other expectation, as of the seals' ages.
    level : float
        At most 1 - level of charts without a change show a signal of any of the three kinds: each
        is called at a third of it.
    resamples, seed : int
        Charts drawn: the same failures dealt over the months in proportion to ``expected``.

    Returns
    -------
    ChartSignals

    Raises
    ------
    InputError
        Fewer than 99 resamples, or a month expects less than nothing.

    Notes
    -----
    A run counts months in a row whose failures lie above (or below) what is expected. Failures that
    come in clumps, as repeats after a bad repair, make single months stand out more often than
    stated.

    Source
    ------
    Cox & Lewis (1966), The Statistical Analysis of Series of Events, chapter 3: given their number,
    events of a constant rate lie over exposure at random.
    """
    if resamples < 99:
        raise InputError(f"is {resamples}", where="resamples", hint="give 99 or more")
    mean = expected["expected"].to_numpy(dtype=float)
    if (mean < 0).any() or not np.isfinite(mean).all():
        raise InputError("holds a value below 0 or none", where="expected")
    rows = expected[mean > 0].sort_values("month").reset_index(drop=True)
    mean = rows["expected"].to_numpy(dtype=float)
    seen = rows["failures"].to_numpy(dtype=np.int64)
    names = ("one month", "run above", "run below")
    if len(rows) < _LEAST_MONTHS or seen.sum() < _LEAST_FAILURES:
        why = (
            f"{len(rows)} months with {int(seen.sum())} failures: fewer than {_LEAST_MONTHS} or "
            f"{_LEAST_FAILURES}."
        )
        table = pd.DataFrame({"signal": names}).reindex(columns=_COLUMNS)
        return _result(table.assign(verdict="cannot tell yet", message=why), level)
    mean = mean * seen.sum() / mean.sum()
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(int(seen.sum()), mean / mean.sum(), size=resamples)
    both = np.concatenate([seen[None, :], drawn])
    out = []
    oddity = _oddity(both, mean)
    longest = {name: _runs(both, mean, name == "run above") for name in names[1:]}
    for name in names:
        strength = oddity if name == "one month" else longest[name].astype(float)
        best = strength.max(axis=1)
        p = float(np.mean(best >= best[0] - 1e-9))
        at = int(np.argmax(strength[0]))
        first = at if name == "one month" else at - int(best[0]) + 1
        if best[0] <= 0:
            first = at
        part = slice(first, at + 1)
        out.append(
            {
                "signal": name,
                "first": rows["month"].iloc[first],
                "last": rows["month"].iloc[at],
                "months": at - first + 1,
                "failures": int(seen[part].sum()),
                "expected": float(mean[part].sum()),
                "p": p,
                "verdict": "more than chance" if p <= (1 - level) / len(names) else "no evidence",
                "message": "",
            }
        )
    return _result(pd.DataFrame(out, columns=_COLUMNS), level)


_COLUMNS = [
    "signal",
    "first",
    "last",
    "months",
    "failures",
    "expected",
    "p",
    "verdict",
    "message",
]


def _result(table: pd.DataFrame, level: float) -> ChartSignals:
    method = "strongest month and longest runs against charts of the same total without a change"
    return ChartSignals(table, level, method, _SOURCE)


def _oddity(counts: Counts, mean: Floats) -> Floats:
    """How odd each month is: minus the log of its smaller Poisson tail."""
    from scipy.special import pdtr, pdtrc

    above = np.where(counts > 0, pdtrc(np.maximum(counts - 1, 0), mean), 1.0)
    below = pdtr(counts, mean)
    return np.asarray(-np.log(np.maximum(np.minimum(above, below), 1e-300)))


def _runs(counts: Counts, mean: Floats, above: bool) -> Counts:
    """Months in a row on one side of what is expected, up to and with each month."""
    on = counts > mean if above else counts < mean
    out = np.zeros(counts.shape, dtype=np.int64)
    run = np.zeros(len(counts), dtype=np.int64)
    for month in range(counts.shape[1]):
        run = np.where(on[:, month], run + 1, 0)
        out[:, month] = run
    return out
