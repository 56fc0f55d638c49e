"""How many seals will each stock pool need, month by month?

In: `FleetAhead`. Out: `Demand`. Next: `seallife.spares.stock`, `seallife.scorecard`, report.

Each seal goes on from its age today; what comes out is followed by a new seal of the same class.
For each set of laws that the records allow, mean and variance of the count are exact but for the
month as the step; the counts are then spread over all sets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.sidebyside import side_by_side
from seallife.spares.ahead import FleetAhead
from seallife.spares.countlaws import count_chances, count_quantiles
from seallife.spares.removaltables import PARTS, Timetable, timetable

__all__ = ["GROUPINGS", "Demand", "forecast_demand", "month_edges"]

GROUPINGS = ("all", "site", "service_class", "pool")
HORIZONS = (3, 12, 24, 36)
_BLOCK = 4096  # seals at a time
_SOURCE = (
    "Cox (1962), Renewal Theory, chapters 4 and 8; Meeker & Escobar (1998), Statistical Methods "
    "for Reliability Data, chapter 12 (prediction)"
)


@dataclass(frozen=True, eq=False)
class Demand:
    """Seals that will be needed, by group and month.

    Attributes
    ----------
    groups : DataFrame, g rows
        ``by`` ('all', 'site', 'service_class', 'pool'), ``group``, ``positions``.
    months : DataFrame, k rows
        ``first``, ``last`` day of each month ahead.
    mean : ndarray, shape (3, draws, g, k)
        Expected seals needed in each month, by `PARTS`.
    variance, variance_upto : ndarray, shape (draws, g, k)
        Of the count of each month, and of the count from now to its end.
    table : DataFrame
        Per group and ``months`` ahead (3, 12, 24, 36 and the horizon): ``positions``, ``need``
        (mean), ``low``, ``middle``, ``high`` (counts), ``failed``, ``planned``, ``outage`` (means
        by kind), ``need_low``, ``need_high`` (what the laws leave open of the mean),
        ``constant_rate`` (mean at the steady rate of the classes), ``scatter`` (variance over mean
        of the count: 1 for a Poisson count).
    level : float
    method, source : str
    """

    groups: pd.DataFrame
    months: pd.DataFrame
    mean: Floats
    variance: Floats
    variance_upto: Floats
    table: pd.DataFrame
    level: float
    method: str
    source: str

    def chances(self, months: int, by: str, kind: str = "all") -> tuple[pd.Index, Floats]:
        """How likely is each number of seals needed within so many months?

        Parameters
        ----------
        months : int
        by : {'all', 'site', 'service_class', 'pool'}
        kind : {'all', 'failed'}
            All seals needed, or failures alone (as if they scattered like all).

        Returns
        -------
        groups : Index, length g
        chances : ndarray, shape (g, counts)
        """
        rows = np.flatnonzero(self.groups["by"] == by)
        mean = self.mean[:, :, rows, :months].sum(axis=3)
        variance = self.variance_upto[:, rows, months - 1]
        total = mean.sum(axis=0)
        if kind == "failed":
            # each seal needed is a failure or not: thinning keeps what it scatters beyond Poisson
            with np.errstate(divide="ignore", invalid="ignore"):
                share = np.where(total > 0, mean[0] / total, 0.0)
            variance = mean[0] + share**2 * (variance - total)
            total = mean[0]
        return pd.Index(self.groups["group"].iloc[rows]), count_chances(total, variance)

    def by_month(self, by: str, group: str) -> pd.DataFrame:
        """Seals needed in each month ahead: mean by kind, range of the count."""
        row = int(np.flatnonzero((self.groups["by"] == by) & (self.groups["group"] == group))[0])
        mean = self.mean[:, :, row]
        chances = count_chances(mean.sum(axis=0), self.variance[:, row])
        tail = (1 - self.level) / 2
        return self.months.assign(
            **dict(zip(PARTS, mean.mean(axis=1), strict=True)),
            need=mean.sum(axis=0).mean(axis=0),
            low=count_quantiles(chances, tail),
            high=count_quantiles(chances, 1 - tail),
        )

    def monthly(self, by: str) -> pd.DataFrame:
        """Expected seals needed by group and month ahead, by reason."""
        rows = np.flatnonzero(self.groups["by"] == by)
        mean = self.mean[:, :, rows].mean(axis=1)
        table = pd.DataFrame(
            {
                by: np.repeat(self.groups["group"].to_numpy()[rows], len(self.months)),
                "first": np.tile(self.months["first"], len(rows)),
                **{part: mean[k].ravel() for k, part in enumerate(PARTS)},
            }
        )
        return table.assign(need=table[list(PARTS)].sum(axis=1))


def month_edges(now: pd.Timestamp, months: int) -> Floats:
    """Days from now to the end of each month ahead, the first 0, shape (months + 1,)."""
    ends = [now + pd.DateOffset(months=k) for k in range(months + 1)]
    return np.array([(e - now).days for e in ends], dtype=np.float64)


def forecast_demand(ahead: FleetAhead, *, months: int = 36, level: float = 0.90) -> Demand:
    """How many seals will each pool, class and site need in the months ahead?

    Parameters
    ----------
    ahead : FleetAhead
    months : int
        Horizon, 1 to 120.
    level : float
        Of the range of counts.

    Returns
    -------
    Demand

    Raises
    ------
    InputError
        Horizon or level out of range, or no seal in service.

    Notes
    -----
    Removals in good order go on at their rate of the last years. The laws are those of the whole
    record: the forecast says what happens if nothing is changed. Positions of a class are taken to
    fail independently of each other. Steps are months: means are right to a hundredth where seals
    last two years or more. Chances of counts are those of one or two seals exactly, and within
    0.02 of sums of chances below a half (0.13 where one is near 1 among some near 0); futures, on
    which stock is judged, have none of these limits.
    """
    check_level(level)
    if not 1 <= months <= 120:
        raise InputError(f"is {months}", where="months", hint="give 1 to 120")
    if not len(ahead):
        raise InputError("hold no seal in service", where="lives", hint="check status and dates")
    edges = month_edges(ahead.now, months)
    times = timetable(ahead, edges)
    groups, member = _members(ahead.seals)
    member_sorted = member[:, times.cells.order].tocsc()
    draws = ahead.laws.draws
    mean = np.empty((3, draws, len(groups), months))
    variance, upto = np.empty((2, draws, len(groups), months))

    def one(draw: int) -> None:
        *kinds, variance[draw], upto[draw] = np.split(
            _moments(times, draw, member_sorted), 5, axis=1
        )
        mean[:, draw] = kinds

    side_by_side(one, range(draws))
    table = _table(ahead, groups, member, edges, mean, upto, level)
    ends = [ahead.now + pd.Timedelta(days=float(d)) for d in edges]
    spans = pd.DataFrame({"first": ends[:-1], "last": ends[1:]})
    spans["last"] -= pd.Timedelta(days=1)
    method = f"renewals by months, {draws} sets of laws, counts of their mean and variance"
    return Demand(groups, spans, mean, variance, upto, table, level, method, _SOURCE)


def _moments(times: Timetable, draw: int, member: Any) -> Floats:
    """Failed, planned, outage; variance of each month's count and of all so far: (g, 5 k)."""
    factor = times.ahead.factor(draw)
    follow = times.following(draw, factor)
    last = follow.shape[2]
    eye = np.eye(last)
    every = np.linalg.inv(eye - follow.sum(axis=0))
    # removals in month r of the seals that follow one fitted in month s, that one left out
    after = every - eye
    later = np.cumsum(after, axis=2)
    again = np.diagonal(after, axis1=1, axis2=2)
    # from first removals to all of them, to pairs of them, to those that failed or met an outage
    turn = np.concatenate([every, every @ later, every @ follow[0], every @ follow[2]], axis=2)
    starts = times.cells.starts
    total = np.zeros((member.shape[0], 5 * last))
    for low, high in times.cells.blocks(_BLOCK):
        rows = slice(starts[low], starts[high])
        kinds = times.first(draw, rows, factor)
        first = kinds.sum(axis=0)
        turned = np.empty((len(first), 4 * last))
        for c in range(low, high):
            mine = slice(starts[c] - starts[low], starts[c + 1] - starts[low])
            np.matmul(first[mine], turn[c], out=turned[mine])
        m, pairs, failed, outage = np.split(turned, 4, axis=1)
        twice = np.repeat(again[low:high], np.diff(starts[low : high + 1]), axis=0)
        upto = np.cumsum(m, axis=1)
        out = np.empty((len(first), 5, last))
        out[:, 0] = kinds[0] + failed
        out[:, 2] = kinds[2] + outage
        out[:, 1] = m - out[:, 0] - out[:, 2]
        out[:, 3] = m * (1 + 2 * twice - m)
        out[:, 4] = 2 * pairs + upto * (1 - upto)
        total += member[:, rows] @ out.reshape(len(first), -1)
    return total


def _members(seals: pd.DataFrame) -> tuple[pd.DataFrame, Any]:
    """Groups, and which seals belong to them as a matrix of groups times seals."""
    from scipy.sparse import csr_matrix, vstack

    rows, parts = [], []
    for by in GROUPINGS:
        label = seals[by] if by in seals else pd.Series("all", index=seals.index)
        number, names = pd.factorize(label.astype(str), sort=True)
        size = np.bincount(number, minlength=len(names))
        rows.append(pd.DataFrame({"by": by, "group": names, "positions": size}))
        shape = (len(names), len(seals))
        ones = np.ones(len(seals))
        parts.append(csr_matrix((ones, (number, np.arange(len(seals)))), shape=shape))
    return pd.concat(rows, ignore_index=True), vstack(parts, format="csr")


def _table(
    ahead: FleetAhead,
    groups: pd.DataFrame,
    member: Any,
    edges: Floats,
    mean: Floats,
    upto: Floats,
    level: float,
) -> pd.DataFrame:
    """Counts by group at a few horizons."""
    last = mean.shape[3]
    steady = member @ _steady(ahead)
    tail = (1 - level) / 2
    parts = []
    for months in sorted({h for h in HORIZONS if h < last} | {last}):
        kinds = mean[..., :months].sum(axis=3)
        total, variance = kinds.sum(axis=0), upto[..., months - 1]
        chances = count_chances(total, variance)
        middle = total.mean(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            scatter = np.where(middle > 0, variance.mean(axis=0) + total.var(axis=0), 0) / middle
        part = groups.assign(
            months=months,
            need=middle,
            low=count_quantiles(chances, tail),
            middle=count_quantiles(chances, 0.5),
            high=count_quantiles(chances, 1 - tail),
            **dict(zip(PARTS, kinds.mean(axis=1), strict=True)),
            need_low=np.quantile(total, tail, axis=0),
            need_high=np.quantile(total, 1 - tail, axis=0),
            constant_rate=steady * edges[months],
            scatter=scatter,
        )
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def _steady(ahead: FleetAhead) -> Floats:
    """Seals a day that each position needs in the long run, its laws' mean, planned ones too."""
    laws = ahead.laws
    steps = np.diff(laws.ages)
    with np.errstate(divide="ignore", over="ignore"):
        stay = np.exp(-laws.cumulative)
        fall = np.diff(laws.cumulative, axis=2)
        # exact for constant rates between knots
        held = np.where(fall > 1e-9, (stay[..., :-1] - stay[..., 1:]) / np.maximum(fall, 1e-9), 1.0)
        held = np.where(fall > 1e-9, held, stay[..., :-1])
    life = (held * steps).sum(axis=2) + stay[..., -1] * steps[-1] / np.maximum(fall[..., -1], 1e-12)
    rate = (1 / life).mean(axis=0)[ahead.place] * ahead.pace
    return np.asarray(rate * ahead.seals["factor"] + ahead.planned.mean(axis=0)[ahead.place])
