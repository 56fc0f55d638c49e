"""Is a renewed seal as good as new?

In: ages, ends, the position of each life and its place in the position's row of lives. Out:
`RenewalEffect`. Next: figures, report.

Three comparisons within classes: a rebuilt cartridge against a new one, a later life of a position
against its first, and each further renewal on record. A bad position shows many short lives in the
same years in which a good one shows one long life, so that later lives look short though nothing
became worse. The ratios here allow for it: each position has a hidden rate of its own
(`seallife.life.frailty`). What stays is that later lives ran in later years.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.aft import WeibullLives
from seallife.life.factordata import FactorData, read_factors
from seallife.life.frailty import SharedTop, fit_shared
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.newton import numbered
from seallife.life.regression import fit_cox_factors, fit_weibull_factors
from seallife.life.result import TableResult

__all__ = ["RenewalEffect", "renewal_effect"]

_FEW = 5
"""Failures on one side below which no ratio is given."""
_SCARCE = 10
"""Failures on one side below which a row is marked."""
_MANY = 3
"""Renewals on record that count as this many: a position with a dozen would outweigh the rest."""
_SOURCE = "Klein & Moeschberger (1997), Survival Analysis, section 13.3; Lin & Wei (1989)"


@dataclass(frozen=True, eq=False)
class RenewalEffect(TableResult):
    """Life of renewed seals over that of new ones.

    Attributes
    ----------
    table : DataFrame
        Per comparison: ``comparison``, ``n``, ``failures`` (all), ``failures_renewed``,
        ``positions``; ``ratio`` of lives with ``low`` and ``high``, positions allowed to differ;
        ``pooled``, ``pooled_low``, ``pooled_high``, the same with one rate for all positions of a
        class and robust limits; ``rate``, ``rate_low``, ``rate_high``, the ratio of failure rates
        at equal age, without a law; ``theta``, how much positions differ (variance of their rate);
        ``verdict`` ('shorter than new', 'longer than new', 'no evidence against as good as new',
        'cannot tell yet'), ``more_failures`` it would take to tell, ``status``, ``message``.
    margin : float
        Ratios between this and its inverse count as as good as new.
    """

    margin: float


def renewal_effect(
    age: ArrayLike,
    failed: ArrayLike,
    position: ArrayLike,
    *,
    entry_age: ArrayLike | None = None,
    stratum: ArrayLike | None = None,
    rebuilt: ArrayLike | None = None,
    order: ArrayLike | None = None,
    renewals: ArrayLike | None = None,
    level: float = 0.90,
    margin: float = 0.80,
) -> RenewalEffect:
    """Does a renewed seal live as long as a new one?

    Parameters
    ----------
    age : array_like, shape (n,)
        Age since the renewal, at failure or at the end of observation, any one unit.
    failed : array_like of bool, shape (n,)
    position : array_like, shape (n,)
        Seal position of each life.
    entry_age : array_like, shape (n,), optional
        Age at which watching began.
    stratum : array_like, shape (n,), optional
        Class of each life; lives are compared within classes.
    rebuilt : array_like, shape (n,), optional
        1 for a rebuilt cartridge, 0 for a new one, NaN where nobody knows.
    order : array_like, shape (n,), optional
        1 for the first life of a position since it was commissioned, 2 for the second, ...; NaN
        where earlier lives are not on record.
    renewals : array_like, shape (n,), optional
        Renewals of the position on record before this life: 0, 1, ... Only lives watched from new
        are compared by it.
    level : float
        Two-sided confidence level.
    margin : float
        Ratio below which a renewed seal would matter as worse.

    Returns
    -------
    RenewalEffect
        One row per comparison asked for. A difference is called one only where lives and failure
        rates both show it: one law over mixed causes can turn late entry into a difference. That a
        renewed seal is as good as new is never proven:
        the most that can be said is that nothing speaks against it.

    Raises
    ------
    InputError
        If the data cannot be used or no comparison is asked for.

    Source
    ------
    Klein & Moeschberger (1997), Survival Analysis, section 13.3 (positions that differ).
    """
    check_level(level)
    if not 0 < margin < 1:
        raise InputError(f"is {margin!r}", where="margin", hint="give a ratio such as 0.80")
    n = len(np.asarray(age))
    asked: list[tuple[str, Floats]] = []
    if rebuilt is not None:
        asked.append(("rebuilt against new", _column(rebuilt, "rebuilt", n, 0, 1)))
    if order is not None:
        place = _column(order, "order", n, 1, np.inf)
        second, later = (
            np.where(place > 2, np.nan, place == 2),
            np.where(place == 2, np.nan, place > 2),
        )
        unknown = np.isnan(place)
        asked.append(("second life against first", np.where(unknown, np.nan, second)))
        asked.append(("third or later life against first", np.where(unknown, np.nan, later)))
    if renewals is not None:
        count = np.minimum(_column(renewals, "renewals", n, 0, np.inf), _MANY)
        # a seal that ran before the records is seen at other ages than those after it, and one law
        # over mixed causes would take that for an effect of order
        late = np.zeros(n) if entry_age is None else np.asarray(entry_age, dtype=np.float64)
        count = np.where(late > 0, np.nan, count)
        asked.append((f"each further renewal on record, up to {_MANY}", count))
    if not asked:
        raise InputError(
            "nothing to compare", where="rebuilt, order, renewals", hint="give one of them"
        )
    arrays = {
        "age": age,
        "failed": failed,
        "entry_age": np.zeros(n) if entry_age is None else entry_age,
        "cluster": position,
        "stratum": np.full(n, "all") if stratum is None else stratum,
    }
    lives = {name: np.asarray(v) for name, v in arrays.items()}
    rows = [_compare(name, mark, lives, level, margin) for name, mark in asked]
    method = "Weibull lives within classes, positions that differ, observed information"
    return RenewalEffect(pd.DataFrame(rows), level, method, _SOURCE, margin)


def _column(values: ArrayLike, name: str, n: int, low: float, high: float) -> Floats:
    """Numbers with NaN for what is not known, refused outside their range."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(
            "holds something that is not a number", where=name, hint="NaN where not known"
        ) from None
    if array.shape != (n,):
        raise InputError(f"has shape {array.shape} where age has ({n},)", where=name)
    bad = (array < low) | (array > high) | (np.isfinite(array) & (array != np.rint(array)))
    if bad.any():
        first = int(np.argmax(bad))
        raise InputError(
            f"{array[first]!r} is no count that can be",
            where=f"{name}[{first}]",
            hint="see its docs",
        )
    return array


def _compare(
    name: str, mark: Floats, lives: dict[str, NDArray[Any]], level: float, margin: float
) -> dict[str, Any]:
    """One row: the ratio of lives by a mark, in both ways, and the verdict."""
    known = np.isfinite(mark)
    given: dict[str, Any] = {k: v[known] for k, v in lives.items()}
    factor = pd.DataFrame({"mark": mark[known]})
    row: dict[str, Any] = {"comparison": name}
    if not known.any():
        return row | _nothing(0, 0, 0, 0, _FEW, "Nothing is known of this.")
    data = read_factors(
        given["age"],
        given["failed"],
        factor,
        given["entry_age"],
        given["cluster"],
        given["stratum"],
        None,
        level,
        own_law=True,
    )
    mark = mark[known][data.design.rows]
    if not len(mark):
        return row | _nothing(0, 0, 0, 0, _FEW, data.refused)
    renewed = int((data.failed & (mark > mark.min())).sum())
    died = np.sort(mark[data.failed])
    # of all ways to part the failures by their mark, the one with the most on the smaller side
    cuts = np.flatnonzero(np.diff(died) > 0) + 1
    least = int(np.minimum(cuts, len(died) - cuts).max()) if len(cuts) else 0
    counts = (len(data.age), data.failures, renewed, data.clusters)
    if data.refused or not data.design.terms or least < _FEW:
        why = f"{least} failures on one side, fewer than {_FEW}: no ratio is told."
        return row | _nothing(*counts, _FEW - least, why)
    given["factors"] = factor
    fits = (fit_weibull_factors(**given, level=level), fit_cox_factors(**given, level=level))
    top = _shared(data)
    if not top.found or any(f.spread is None for f in fits):
        return row | _nothing(*counts, 0, "The likelihood has no clear top.")
    from scipy.special import ndtri

    pooled, rate = (f.table.iloc[0] for f in fits)
    scale = data.design.terms[0].scale
    coef, se = top.place[-1] / scale, float(np.sqrt(top.covariance[-1, -1])) / scale
    reach = float(ndtri((1 + level) / 2)) * se
    rates = (float(rate["low"]), float(rate["high"]))
    verdict, wanted, message = _verdict(coef - reach, coef + reach, rates, data.failures, margin)
    if least < _SCARCE:
        message = f"{message} {least} failures on one side, fewer than {_SCARCE}: a rough guess."
    return row | {
        **dict(zip(_COUNTS, counts, strict=True)),
        "ratio": np.exp(coef),
        "low": np.exp(coef - reach),
        "high": np.exp(coef + reach),
        "pooled": pooled["ratio"],
        "pooled_low": pooled["low"],
        "pooled_high": pooled["high"],
        "rate": rate["ratio"],
        "rate_low": rates[0],
        "rate_high": rates[1],
        "theta": top.theta,
        "verdict": verdict,
        "more_failures": wanted,
        "status": "few failures" if least < _SCARCE else "ok",
        "message": message.strip(),
    }


_COUNTS = ("n", "failures", "failures_renewed", "positions")
_PAIRED = [f"{name}{end}" for name in ("pooled", "rate") for end in ("", "_low", "_high")]
_FIGURES = ["ratio", "low", "high", *_PAIRED, "theta"]


def _shared(data: FactorData) -> SharedTop:
    """Fit with positions that differ."""
    lives = WeibullLives.of(data.age, data.failed, data.entry, data.design.x, data.stratum)
    position = data.cluster if data.cluster is not None else np.arange(len(data.age))
    return fit_shared(lives, numbered(position.astype(object)))


def _nothing(
    n: int, failures: int, renewed: int, positions: int, wanted: int, why: str
) -> dict[str, Any]:
    """Row of a comparison that cannot be made."""
    return {
        **dict(zip(_COUNTS, (n, failures, renewed, positions), strict=True)),
        **dict.fromkeys(_FIGURES, np.nan),
        "verdict": "cannot tell yet",
        "more_failures": float(max(wanted, 0)),
        "status": "too few failures",
        "message": why,
    }


def _verdict(
    low: float, high: float, rates: tuple[float, float], failures: int, margin: float
) -> tuple[str, float, str]:
    """Words, failures still wanting, and a sentence; ``low`` and ``high`` are logs of ratios."""
    near = -float(np.log(margin))
    # the width of an interval falls with the root of the failures
    wanted = max(int(np.ceil(failures * ((high - low) / 2 / near) ** 2)) - failures, 0)
    if high < 0 and rates[0] > 1:
        return "shorter than new", 0.0, ""
    if low > 0 and rates[1] < 1:
        return "longer than new", 0.0, ""
    apart = ""
    if high < 0 or low > 0:
        apart = "By failure rates at equal age, without a law, there is no difference. "
    if low > -near and high < near:
        told = f"The interval lies within {margin:.2f} and {1 / margin:.2f}: no proof, but nothing "
        return "no evidence against as good as new", 0.0, apart + told + "that would matter."
    why = f"About {wanted:,} more failures would narrow the interval to {margin:.2f} to "
    return "cannot tell yet", float(wanted), f"{apart}{why}{1 / margin:.2f} about its middle."
