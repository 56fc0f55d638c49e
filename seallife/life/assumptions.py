"""Do the assumptions of a regression hold?

In: lives, the top of their likelihood, scores. Out: the ``checks`` table of `FactorEffects`.

Each row is a finding: a test of what the model takes for granted, or the life that moves a figure
most. Where clusters are given, tests allow for likeness within them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import numpy as np
import pandas as pd

from seallife.life.aft import WeibullLives
from seallife.life.effecttable import CHECK_COLUMNS
from seallife.life.factordata import FactorData
from seallife.life.groups import Floats
from seallife.life.newton import Spread, Top, cluster_sums
from seallife.life.partial import RatedLives

__all__ = ["check_cox", "check_weibull", "trend_test"]

DOUBT = 0.05
"""Probability below which a test becomes a doubt."""
_MOVES = 1.0
"""Standard errors by which leaving out one cluster must move a figure to be named."""
_BANDS = 5

Clock = Literal["log age", "share failed"]


def check_weibull(
    lives: WeibullLives, top: Top, data: FactorData, spread: Spread, scores: Floats
) -> pd.DataFrame:
    """Is one law with a constant time ratio a fair picture of these lives?"""
    q = lives.strata
    _, by_tau, _, tau2, cross, _ = lives.rows(top.place)
    own = np.eye(q)[lives.stratum]

    def same_shape(columns: list[int]) -> tuple[float, int, float]:
        x = lives.x[:, columns]
        extra = x * by_tau[:, None]
        side = np.hstack([own * tau2[:, None], own * cross[:, None], lives.x * cross[:, None]])
        return _score_test(
            extra, -(x * tau2[:, None]).T @ x, -x.T @ side, top.information, scores, data
        )

    rows = _by_factor(
        "same shape",
        data,
        same_shape,
        "the ratio is not the same at all ages: the shape of the law changes with {}",
    )
    rows.append(_cox_snell(lives, top, data, scores))
    rows += _influence(top, data, spread, 2 * q)
    return pd.DataFrame(rows, columns=CHECK_COLUMNS)


def check_cox(
    lives: RatedLives, top: Top, data: FactorData, spread: Spread, scores: Floats
) -> pd.DataFrame:
    """Are the ratios the same at all ages, and do the failures come where they are expected?"""
    rows = _by_factor(
        "proportional hazards",
        data,
        lambda columns: trend_test(lives, top, data, columns, scores),
        "the ratio changes with age for {}: it is an average over the ages seen",
    )
    rows.append(_by_risk(lives, top, data))
    rows += _influence(top, data, spread, 0)
    return pd.DataFrame(rows, columns=CHECK_COLUMNS)


def trend_test(
    lives: RatedLives,
    top: Top,
    data: FactorData,
    columns: list[int],
    scores: Floats,
    clock: Clock = "log age",
) -> tuple[float, int, float]:
    """Does the log ratio of some columns change with age? Score test of a Schoenfeld trend.

    Returns
    -------
    chi2, df, p

    Source
    ------
    Grambsch & Therneau (1994), Biometrika 81, 515-526; with clusters, the sandwich of the scores.
    """
    _, age, where = lives.steps
    died = np.bincount(where, minlength=len(age))
    if clock == "log age":
        g = np.log(age)
    else:
        left = np.cumprod(1 - died / lives.at_risk(np.ones(len(lives.age))))
        g = 1 - np.append(1.0, left[:-1])
    g = g - np.average(g, weights=died)
    extra = lives.scores(top.place, g)[:, columns]
    side, own = lives.trend_information(top.place, g)
    return _score_test(
        extra, own[np.ix_(columns, columns)], side[columns], top.information, scores, data
    )


def _score_test(
    extra: Floats, own: Floats, side: Floats, information: Floats, scores: Floats, data: FactorData
) -> tuple[float, int, float]:
    """Test extra parameters, 0 in the model, from their scores by row at its top."""
    from scipy.special import chdtrc

    lean = np.linalg.solve(information, side.T).T if len(information) else side
    free = extra - scores @ lean.T
    spread = own - lean @ side.T
    if data.cluster is not None:
        sums = cluster_sums(free, data.cluster)
        spread = sums.T @ sums
    rank = int(np.linalg.matrix_rank(spread, hermitian=True)) if spread.any() else 0
    total = free.sum(axis=0)
    chi2 = float(total @ np.linalg.pinv(spread, hermitian=True) @ total) if rank else np.nan
    return chi2, rank, float(chdtrc(rank, chi2)) if rank else np.nan


def _by_factor(
    check: str,
    data: FactorData,
    test: Callable[[list[int]], tuple[float, int, float]],
    doubt: str,
) -> list[dict[str, Any]]:
    """Rows of one test, factor by factor."""
    rows = []
    for factor, columns in data.design.columns.items():
        if data.clusters and data.clusters <= len(columns) + 1:
            rows.append(_row(check, factor, message="too few clusters to tell"))
            continue
        value, df, p = test(columns)
        rows.append(_row(check, factor, value, df, p, doubt.format(factor)))
    return rows


def _row(
    check: str,
    factor: str,
    value: float = np.nan,
    df: float = np.nan,
    p: float = np.nan,
    message: str = "",
) -> dict[str, Any]:
    """One finding of a test: in doubt where p is small."""
    doubt = bool(p < DOUBT)
    told = "doubt" if doubt else "nothing found"
    if not np.isfinite(p):
        return dict(
            zip(CHECK_COLUMNS, (check, factor, value, df, p, "not checked", message), strict=True)
        )
    words = f"{message} (p {p:.2g})" if doubt else ""
    return dict(zip(CHECK_COLUMNS, (check, factor, value, df, p, told, words), strict=True))


def _cox_snell(lives: WeibullLives, top: Top, data: FactorData, scores: Floats) -> dict[str, Any]:
    """Are the cumulative hazards at failure like unit exponential ages?

    Failures against their expectation in bands of the residual. Each life is followed through the
    bands from its entry to its end, so that late entry and censoring are counted as they are.
    """
    high, low = lives.hazards(top.place)
    q = lives.strata
    died = high[lives.failed]
    edges = np.concatenate(
        ([0.0], np.unique(np.quantile(died, np.arange(1, _BANDS) / _BANDS)), [np.inf])
    )
    bands = len(edges) - 1
    if bands < 3 or data.failures < 5 * bands:
        return _row("unit exponential residuals", "", message="too few failures to tell")
    sigma = np.exp(top.place[:q])[lives.stratum][:, None]
    begin = np.maximum(low[:, None], edges[:-1])
    end = np.maximum(np.minimum(high[:, None], edges[1:]), begin)
    lived = end - begin
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = np.nan_to_num(end * np.log(end)) - np.nan_to_num(begin * np.log(begin))
    turned = np.where(lived > 0, turned, 0.0)
    band = np.searchsorted(edges, high, side="left") - 1
    seen = np.eye(bands)[band] * lives.failed[:, None]
    # the first band is what the others leave: their sum is fitted by the scale
    extra = (seen - lived)[:, 1:]
    # expected failures of a band move with the parameters as its hazard does
    by_tau, by_mu = -turned[:, 1:], -lived[:, 1:] / sigma
    own = np.eye(q)[lives.stratum]
    side = np.hstack([by_tau.T @ own, by_mu.T @ own, by_mu.T @ lives.x])
    value, df, p = _score_test(
        extra, np.diag(lived[:, 1:].sum(axis=0)), side, top.information, scores, data
    )
    told = "one law does not hold over all ages: failures by fifth of the residual "
    told += (
        f"{seen.sum(axis=0).astype(int).tolist()}, expected {lived.sum(axis=0).round(1).tolist()}"
    )
    return _row("unit exponential residuals", "", value, df, p, told)


def _by_risk(lives: RatedLives, top: Top, data: FactorData) -> dict[str, Any]:
    """Do seals of high and low predicted rate fail as often as expected of them?

    Source
    ------
    May & Hosmer (1998), Lifetime Data Anal. 4, 109-120: observed and expected by predicted risk.
    """
    name = "failures by predicted rate"
    index = lives.x @ top.place
    edges = np.unique(np.quantile(index[lives.failed], np.arange(1, _BANDS) / _BANDS))
    group = np.searchsorted(edges, index, side="left")
    marks = np.eye(len(edges) + 1)[group]
    marks = marks[:, (marks * lives.failed[:, None]).sum(axis=0) >= 5][:, 1:]
    if not marks.shape[1] or not len(top.place):
        return _row(name, "", message="too few failures to tell")
    wide = RatedLives(
        lives.age, lives.entry, lives.failed, np.hstack([lives.x, marks]), lives.stratum
    )
    p = len(top.place)
    at = np.append(top.place, np.zeros(marks.shape[1]))
    information = -wide(at)[2]
    both = wide.scores(at)
    value, df, prob = _score_test(
        both[:, p:],
        information[p:, p:],
        information[p:, :p],
        information[:p, :p],
        both[:, :p],
        data,
    )
    return _row(name, "", value, df, prob, "failures do not rise with the predicted rate as fitted")


def _influence(top: Top, data: FactorData, spread: Spread, skip: int) -> list[dict[str, Any]]:
    """Name the cluster, or life, without which each figure would move most."""
    rows = []
    moves = spread.moves
    used = np.flatnonzero(data.design.rows)
    what = "life in row" if data.cluster is None else "cluster of row"
    se = np.sqrt(np.diag(spread.used))[skip:]
    told = ~spread.alone[skip:] & (se > 0)
    shift = moves[:, skip:] / np.where(told, se, 1.0)
    for j, term in enumerate(data.design.terms):
        if not told[j]:
            rows.append(_row("influence", term.factor, message="rests on a single cluster"))
            continue
        most = int(np.argmax(np.abs(shift[:, j])))
        row = most if data.cluster is None else int(np.argmax(data.cluster == most))
        size = float(shift[most, j])
        finding = "doubt" if abs(size) > _MOVES else "nothing found"
        says = f"{term.words}: without the {what} {used[row]} the log ratio moves by about "
        says += f"{-size:+.1f} standard errors"
        values = ("influence", term.factor, size, np.nan, np.nan, finding, says)
        rows.append(dict(zip(CHECK_COLUMNS, values, strict=True)))
    return rows
