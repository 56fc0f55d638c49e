"""Does the rate of events change with exposure? Four tests, each with the world it holds in.

In: events on exposure. Out: `TrendTests`. Next: `seallife.history.growth`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from zlib import crc32

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.history.systems import Systems, Truncation, read_systems
from seallife.life.groups import Floats, Ints, segment_sum
from seallife.life.result import TableResult, worded_status

__all__ = ["TrendTests", "gap_tests", "trend_tests"]

_METHOD = "Laplace, MIL-HDBK-189, reverse arrangement and Lewis-Robinson tests, two-sided"
_SOURCE = (
    "Ascher & Feingold (1984), Repairable Systems Reliability; NIST/SEMATECH e-Handbook of "
    "Statistical Methods, sec. 8.2.3.4"
)
_FEW = 4
_EXACT_PAIRS = 600  # of reverse arrangements; beyond them the normal law is good to 0.001
_RESAMPLES = 1_999
_MOST_GAPS = 2_000  # dealt anew; beyond them the normal law serves
_AT_ONCE = 4_000_000  # random numbers held in memory
_ROWS = 1_000


@dataclass(frozen=True, eq=False)
class TrendTests(TableResult):
    """Trend tests of all groups.

    Attributes
    ----------
    table : DataFrame
        Per group: ``systems``, ``events``, ``exposure``; ``laplace`` with ``laplace_p``;
        ``mil_hdbk`` with ``mil_hdbk_df`` and ``mil_hdbk_p``; ``reversals`` (pairs of gaps of which
        the later is longer), ``pairs`` and ``reversals_p``; ``lewis_robinson`` with
        ``lewis_robinson_p``; ``status``, ``message``. All p are two-sided. Negative ``laplace``
        and ``lewis_robinson``, ``mil_hdbk`` above its degrees of freedom and more than half of
        ``pairs`` reversed mean that events become fewer.
    starts_new : bool
        Whether time 0 counts as the begin of a gap.
    resamples, seed : int
        Of ``lewis_robinson_p``.
    """

    starts_new: bool
    resamples: int
    seed: int


def trend_tests(
    times: ArrayLike,
    end: ArrayLike | None,
    *,
    unit: ArrayLike | None = None,
    end_unit: ArrayLike | None = None,
    group: ArrayLike | None = None,
    truncated_by: Truncation = "time",
    starts_new: bool = True,
    resamples: int = _RESAMPLES,
    seed: int = 1,
) -> TrendTests:
    """Do events become fewer or more with exposure, beyond chance?

    Parameters
    ----------
    times : array_like, shape (n,)
        Exposure at each event, counted from where its system began to be watched: run hours of
        one machine, or position-years that a fleet had gathered
        (`seallife.history.watch.fleet_exposure`); not calendar time where exposure grew or shrank.
    end : float or array_like, shape (k,), or None
        Exposure at which watching ended, for all systems or for each; None for the last event of
        each where ``truncated_by`` is 'failure'.
    unit, end_unit : array_like, shape (n,) and (k,), optional
        System of each event and of each end.
    group : array_like, shape (k,), optional
        Group of each system; the systems of a group are tested together, each against itself.
    truncated_by : {'time', 'failure'}
        Whether watching ended by itself or with the last event.
    starts_new : bool
        Whether a gap begins at time 0: the systems were renewed there. If not, gaps count from
        the first event.
    resamples, seed : int
        Dealings of gaps for the Lewis-Robinson test.

    Returns
    -------
    TrendTests

    Raises
    ------
    InputError
        If the data or the number of resamples cannot be used.

    Notes
    -----
    Null hypotheses, and where each test does not hold. Share of false alarms at a nominal 5 % in
    simulated fleets (`tests/history_coverage.csv`):

    - **Laplace** and **MIL-HDBK-189** ask against a constant rate with events at random (Poisson);
      systems may differ in rate (4 to 6 %). They do not hold for renewal: with gaps of Weibull
      shape 1.5 they ring 0 to 3 %, with shape 0.8 6 to 12 %. On the pooled exposure of a fleet
      whose positions differ and enter or leave at different times they ring 5 to 9 % even at
      random events, since the mix changes; give each position as a system of its own, or use
      `seallife.history.positiontrend.trend_by_position`.
    - **Reverse arrangement** and **Lewis-Robinson** ask against gaps of one law each (renewal,
      which includes Poisson), any law, another for each system. Both hold system by system (1 to
      6 % and 4 to 6 %: the first counts in whole steps), not on pooled exposure, whose gaps are
      those of no single position. A break in watching ends a sequence of gaps: give what comes
      after it as another system. Both hold too where all systems are new at time 0; the first two
      then take the ageing of the first lives for a trend (up to 66 % at shape 1.5).

    All are conditional on the counts. The p of Lewis-Robinson is that of dealing each system's
    complete gaps in another order, which is exact in a renewal process; its statistic is in exact
    standard units and smaller than the textbook form by sqrt(n / (n + 1)) for n gaps. With several
    systems numerators and variances are summed.

    Examples
    --------
    >>> got = trend_tests([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500)["all"]
    >>> f"{got['laplace']:.3f} {got['mil_hdbk']:.2f} {got['reversals']} of {got['pairs']}"
    '-1.327 37.23 33 of 45'

    Source
    ------
    Ascher & Feingold (1984), sec. 5; NIST/SEMATECH e-Handbook, sec. 8.2.3.4; MIL-HDBK-189 (1981),
    appendix C; Lewis & Robinson (1974), in Reliability and Biometry, SIAM, 545-562; Lawless,
    Cigsar & Cook (2012), Technometrics 54, 147-158 (several systems).
    """
    from scipy.special import chdtr, chdtrc, ndtr

    if resamples < 99:
        raise InputError(f"is {resamples}", where="resamples", hint="give 99 or more")
    data = read_systems(
        times, end, unit=unit, end_unit=end_unit, group=group, truncated_by=truncated_by
    )
    free = data.free
    length = data.end[data.unit_of_event]
    top = data.by_group(np.where(free, data.time - length / 2, 0.0))
    spread = np.sqrt(data.by_group(np.where(free, length**2 / 12, 0.0)))
    known = spread > 0
    laplace = np.where(known, top / np.where(known, spread, 1.0), np.nan)
    chi2 = 2 * data.by_group(np.where(free, -np.log(data.relative()), 0.0))
    df = 2 * data.by_group(free)
    both = np.minimum(chdtr(df, chi2), chdtrc(df, chi2))
    gaps, offsets = _gaps(data, starts_new)
    gap_columns = gap_tests(gaps, offsets, data.units, resamples=resamples, seed=seed)
    events = np.diff(data.group_events)
    status, message = worded_status(
        len(data),
        [
            (df == 0, "no events", "No event to test."),
            (
                events < _FEW,
                "few events",
                f"Fewer than {_FEW} events: no trend would show, whatever it is.",
            ),
        ],
    )
    table = pd.DataFrame(
        {
            "group": data.group.tolist(),
            "systems": np.diff(data.units),
            "events": events,
            "exposure": data.by_system(data.end),
            "laplace": laplace,
            "laplace_p": np.where(known, 2 * ndtr(-np.abs(laplace)), np.nan),
            "mil_hdbk": np.where(df > 0, chi2, np.nan),
            "mil_hdbk_df": df.astype(np.int64),
            "mil_hdbk_p": np.where(df > 0, np.minimum(2 * both, 1.0), np.nan),
            **gap_columns,
            "status": status,
            "message": message,
        }
    )
    return TrendTests(table, np.nan, _METHOD, _SOURCE, starts_new, resamples, seed)


def _gaps(data: Systems, starts_new: bool) -> tuple[Floats, Ints]:
    """Complete gaps of each system in order, and the offsets of its gaps."""
    before = np.append(0.0, data.time[:-1]) if len(data.time) else data.time
    first = data.events[:-1][data.counts > 0]
    before[first] = 0.0
    keep = np.ones(len(data.time), bool)
    if not starts_new:
        keep[first] = False
    kept = np.concatenate([[0], np.cumsum(keep)])
    return (data.time - before)[keep], kept[data.events]


def gap_tests(
    gaps: Floats, offsets: Ints, sequences: Ints, *, resamples: int = _RESAMPLES, seed: int = 1
) -> dict[str, Floats | Ints]:
    """Do gaps grow or shrink along their sequences? Reverse arrangement and Lewis-Robinson.

    Parameters
    ----------
    gaps : ndarray, shape (n,)
        Complete gaps between events, in order.
    offsets : ndarray of int, shape (s + 1,)
        Gaps of sequence j are ``offsets[j]:offsets[j + 1]``: one watched without a break.
    sequences : ndarray of int, shape (g + 1,)
        Sequences of group i are ``sequences[i]:sequences[i + 1]``.

    Returns
    -------
    dict
        Columns ``reversals``, ``pairs``, ``reversals_p``, ``lewis_robinson``,
        ``lewis_robinson_p``, one value a group; NaN where no sequence has two gaps.
    """
    from scipy.special import ndtr

    n = np.diff(offsets)
    place = np.arange(len(gaps)) - np.repeat(offsets[:-1], n)
    weight = np.repeat((n - 1) / 2, n) - place  # early gaps push later events back
    mean = np.repeat(segment_sum(gaps, offsets) / np.maximum(n, 1), n)
    scatter = segment_sum((gaps - mean) ** 2, offsets) / np.maximum(n - 1, 1)
    variance = segment_sum(scatter * n * (n**2 - 1) / 12, sequences)
    bounds = offsets[sequences]
    top = segment_sum(weight * gaps, bounds)
    known = variance > 0
    z = np.where(known, top / np.sqrt(np.where(known, variance, 1.0)), np.nan)
    p = np.where(known, 2 * ndtr(-np.abs(z)), np.nan)
    for g in np.flatnonzero(known & (np.diff(bounds) <= _MOST_GAPS)):
        run = slice(bounds[g], bounds[g + 1])
        own = np.repeat(
            np.arange(sequences[g], sequences[g + 1]), n[sequences[g] : sequences[g + 1]]
        )
        p[g] = _dealt(gaps[run], weight[run], own, resamples, seed)
    return {**_reversals(gaps, offsets, sequences), "lewis_robinson": z, "lewis_robinson_p": p}


def _dealt(gaps: Floats, weight: Floats, own: Ints, resamples: int, seed: int) -> float:
    """How often do gaps dealt in another order inside each sequence lean as much?"""
    # a stream of its own for these very gaps: neighbours in the table change nothing
    rng = np.random.default_rng([seed, len(gaps), crc32(np.ascontiguousarray(gaps).tobytes())])
    top = abs(weight @ gaps) * (1 - 1e-12)
    as_much, rows = 0, max(_AT_ONCE // max(len(gaps), 1), 1)
    for at in range(0, resamples, rows):
        draws = rng.random((min(rows, resamples - at), len(gaps))) + own
        as_much += int((np.abs(gaps[np.argsort(draws, axis=1)] @ weight) >= top).sum())
    return (1 + as_much) / (1 + resamples)


def _reversals(gaps: Floats, offsets: Ints, sequences: Ints) -> dict[str, Floats | Ints]:
    """Pairs of gaps of one sequence of which the later is longer."""
    from scipy.special import ndtr

    n = np.diff(offsets)
    longer, equal, spread = np.zeros((3, len(n)))
    for j in np.flatnonzero(n > 1):
        x = gaps[offsets[j] : offsets[j + 1]]
        rank = np.unique(x, return_counts=True)[1].astype(float)
        longer[j] = _rises(x)
        equal[j] = (rank * (rank - 1) / 2).sum()
        ties = (rank * (rank - 1) * (2 * rank + 5)).sum()
        spread[j] = (n[j] * (n[j] - 1) * (2 * n[j] + 5) - ties) / 72
    pairs = segment_sum(n * (n - 1) // 2, sequences)
    count, tied, variance = (segment_sum(v, sequences) for v in (longer, equal, spread))
    known = variance > 0
    off = np.abs(count + tied / 2 - pairs / 2)
    # half a pair off: the count moves by whole ones
    p = 2 * ndtr(-np.maximum(off - 0.5, 0) / np.sqrt(np.where(known, variance, 1.0)))
    for g in np.flatnonzero(known & (tied == 0) & (pairs <= _EXACT_PAIRS)):
        sizes = tuple(sorted(n[sequences[g] : sequences[g + 1]].tolist()))
        law = _law(tuple(s for s in sizes if s > 1))
        at = np.arange(len(law))
        p[g] = law[np.abs(at - pairs[g] / 2) >= off[g] - 1e-9].sum()
    return {
        "reversals": count.astype(np.int64),
        "pairs": pairs.astype(np.int64),
        "reversals_p": np.where(known, np.minimum(p, 1.0), np.nan),
    }


def _rises(x: Floats) -> int:
    """Pairs of which the later is larger, a block of rows at a time to bound memory."""
    total = 0
    for at in range(0, len(x), _ROWS):
        part = x[at : at + _ROWS]
        total += int(np.triu(part[None, :] > part[:, None], 1).sum())
        total += int((x[None, at + _ROWS :] > part[:, None]).sum())
    return total


@lru_cache(maxsize=512)
def _law(sizes: tuple[int, ...]) -> Floats:
    """Law of the number of reversals over sequences of so many gaps in random order."""
    law = np.ones(1)
    for size in sizes:
        for k in range(2, size + 1):
            law = np.convolve(law, np.full(k, 1.0 / k))
    return law
