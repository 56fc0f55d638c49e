"""Ratios of lives, or of failure rates, as a table that can be read.

In: the top of a likelihood and the spread of its place. Out: `FactorEffects`. Next:
`seallife.life.regression`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from seallife.life.design import Design, Term
from seallife.life.effects import FactorEffects
from seallife.life.factordata import ENOUGH, FactorData
from seallife.life.groups import Floats
from seallife.life.newton import Spread, Top

__all__ = [
    "CHECK_COLUMNS",
    "Method",
    "effects",
    "factor_tests",
    "ratio_of",
    "refused",
    "with_gone",
]

_FEW_CLUSTERS = 10
"""Seal positions on one side of a comparison below which its interval is in doubt."""
_OPEN = 30.0
"""Log ratio that no ratio of lives or rates has: a limit as far out is none."""


class Method(NamedTuple):
    """What kind of ratio a fit gives, how, and where that is described."""

    kind: str
    method: str
    source: str


def effects(
    data: FactorData,
    method: Method,
    level: float,
    top: Top,
    skip: int,
    spread: Spread,
    tests: pd.DataFrame,
    checks: pd.DataFrame,
    baseline: pd.DataFrame,
) -> FactorEffects:
    """Make the result of a fit; the first ``skip`` parameters are no factors."""
    terms = data.design.terms
    wide = spread.wide(level)[skip:]
    used, model = (np.sqrt(np.diag(v))[skip:] for v in (spread.used, spread.model))
    robust = np.full(len(terms), np.nan)
    if spread.robust is not None:
        robust = np.sqrt(np.diag(spread.robust))[skip:]
    rows: list[dict[str, Any]] = []
    for j, term in enumerate(terms):
        coef, counts = top.place[skip + j] / term.scale, _counts(data, j)
        alone = bool(spread.alone[skip + j])
        se = np.nan if alone else used[j] / term.scale
        middle, reach = coef * term.step, wide[j] * se * term.step
        figures = tuple(ratio_of(x) for x in (middle, middle - reach, middle + reach))
        # a ratio whose limits cannot be told says nothing either
        ratio, low, high = figures if np.isfinite(figures).all() else (np.nan,) * 3
        rows.append(
            _named(term)
            | counts
            | {"coef": coef, "se": se, "se_model": model[j] / term.scale}
            | {"se_robust": robust[j] / term.scale, "ratio": ratio, "low": low, "high": high}
            | {"p": spread.wald(top.place, [skip + j])[1]}
            | {"says": _says(term, method.kind, ratio, low, high)}
            | _status(counts, data, figures, alone)
        )
    none = float(tests["loglik"].iloc[0]) if len(tests) else top.value
    few = bool(terms) and data.failures < ENOUGH * len(terms)
    return FactorEffects(
        _table(rows + _silent(data)),
        level,
        f"{method.method}, intervals robust to likeness within clusters"
        if data.clusters
        else method.method,
        method.source,
        method.kind,
        tests,
        checks,
        data.left_out,
        baseline,
        top.value,
        none,
        len(data.age),
        data.failures,
        data.clusters,
        data.design.missing,
        "few failures" if few else "ok",
        " ".join(_notes(data)),
        data.design,
        top.place[skip:],
        spread,
    )


def ratio_of(log_ratio: float) -> float:
    """Ratio, or NaN where it is so far out that it is none."""
    return float(np.exp(log_ratio)) if abs(log_ratio) < _OPEN else float("nan")


def refused(
    data: FactorData, method: Method, level: float, status: str, message: str
) -> FactorEffects:
    """Make a result without figures that says why."""
    rows = [
        _named(t) | _counts(data, j) | {"status": status, "message": message}
        for j, t in enumerate(data.design.terms)
    ]
    checks = pd.DataFrame(
        {"check": ["fit"], "factor": [""], "finding": ["not checked"], "message": [message]}
    )
    return FactorEffects(
        _table(rows + _silent(data)),
        level,
        method.method,
        method.source,
        method.kind,
        pd.DataFrame(columns=TEST_COLUMNS),
        checks.reindex(columns=CHECK_COLUMNS),
        data.left_out,
        pd.DataFrame(),
        np.nan,
        np.nan,
        len(data.age),
        data.failures,
        data.clusters,
        data.design.missing,
        status,
        " ".join([message, *_notes(data)]),
        data.design,
        np.full(len(data.design.terms), np.nan),
        None,
    )


def factor_tests(
    top: Top, design: Design, spread: Spread, skip: int, without: Callable[[list[int]], float]
) -> pd.DataFrame:
    """Test all factors together, and each one.

    Parameters
    ----------
    without : callable
        Log-likelihood with some columns of the design left out.
    """
    from scipy.special import chdtrc

    every = {"all together": list(range(len(design.terms))), **design.columns}
    rows = []
    for factor, columns in every.items() if design.terms else ():
        less = without(columns)
        chi2 = max(2 * (top.value - less), 0.0)
        robust = np.nan
        if spread.robust is not None:
            robust = spread.wald(top.place, [skip + j for j in columns])[1]
        p = float(chdtrc(len(columns), chi2))
        rows.append((factor, len(columns), less, chi2, p, robust))
    return pd.DataFrame(rows, columns=TEST_COLUMNS)


def with_gone(at: Floats, gone: list[int], skip: int) -> Floats:
    """Parameters less those of some columns: where to start without them."""
    return np.delete(at, [skip + j for j in gone])


TEST_COLUMNS = ["factor", "df", "loglik", "chi2", "p", "p_robust"]
CHECK_COLUMNS = ["check", "factor", "value", "df", "p", "finding", "message"]
_NAMES = ["term", "factor", "label", "against", "step"]
_COUNTS = ["n", "failures", "clusters"]
_FIGURES = ["coef", "se", "se_model", "se_robust", "ratio", "low", "high", "p"]
_WORDS = ["says", "status", "message"]


def _named(term: Term) -> dict[str, Any]:
    return dict(
        zip(_NAMES, (term.words, term.factor, term.label, term.against, term.step), strict=True)
    )


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """One row a term, columns always the same."""
    table = pd.DataFrame(rows, columns=[*_NAMES, *_COUNTS, *_FIGURES, *_WORDS])
    table[_FIGURES] = table[_FIGURES].astype(float)
    table["says"] = table["says"].fillna("").astype(object)
    return table


def _counts(data: FactorData, column: int) -> dict[str, Any]:
    """Lives, failures and clusters a term rests on: of the group, or of all for a number.

    Of clusters the fewer of both sides count: a comparison rests on its reference too.
    """
    term, x = data.design.terms[column], data.design.x
    rows = x[:, column] == 1 if term.label else np.ones(len(data.age), bool)
    clusters = 0 if data.cluster is None else len(np.unique(data.cluster[rows]))
    if data.cluster is not None and term.label:
        others = (x[:, data.design.columns[term.factor]] == 0).all(axis=1)
        clusters = min(clusters, len(np.unique(data.cluster[others])))
    return {"n": int(rows.sum()), "failures": int(data.failed[rows].sum()), "clusters": clusters}


def _status(
    counts: dict[str, Any], data: FactorData, figures: tuple[float, ...], alone: bool
) -> dict[str, str]:
    """Say what a row is worth; ``figures`` are the ratio and its limits, NaN for none."""
    failures, terms = data.failures, len(data.design.terms)
    if np.isnan(figures[0]):
        why = "One step is far beyond the range of the values seen: give a smaller one in steps."
        return {"status": "step too large", "message": why}
    if alone:
        why = "All that is known of it lies in a single cluster: no ratio can be told."
        return {"status": "few clusters", "message": why}
    if np.isnan(figures).any():
        why = "The data set no limit on one side or both: no ratio can be told."
        return {"status": "interval open", "message": why}
    if counts["failures"] < ENOUGH:
        why = f"{counts['failures']} failures in this group, fewer than {ENOUGH}: a rough guess."
        return {"status": "few failures", "message": why}
    if failures < ENOUGH * terms:
        why = (
            f"{failures} failures for {terms} figures, fewer than {ENOUGH} each: ratios are "
            "overdrawn; give fewer factors."
        )
        return {"status": "few failures", "message": why}
    if data.cluster is not None and counts["clusters"] < _FEW_CLUSTERS:
        why = (
            f"Only {counts['clusters']} clusters on one side, fewer than {_FEW_CLUSTERS}: the "
            "interval is rough."
        )
        return {"status": "few clusters", "message": why}
    return {"status": "ok", "message": ""}


def _silent(data: FactorData) -> list[dict[str, Any]]:
    """Rows of groups without a failure."""
    why = "None of its {:,} lives failed: no ratio can be told; they are left out."
    return [
        _named(term)
        | {"n": n, "failures": 0, "clusters": 0, "status": "no failures", "message": why.format(n)}
        for term, n in data.design.silent
    ]


def _notes(data: FactorData) -> list[str]:
    """What holds for all rows."""
    notes = []
    if data.design.missing:
        notes.append(f"{data.design.missing:,} lives without a value of some factor are left out.")
    if data.cluster is None:
        notes.append("Lives are taken as independent; give cluster where a place has several.")
    return notes


def _says(term: Term, kind: str, ratio: float, low: float, high: float) -> str:
    """Put a ratio into words."""
    if np.isnan(ratio):
        return ""
    figures = f"{ratio:.2f} times ({low:.2f} to {high:.2f})"
    if kind == "time ratio":
        return f"{term.words}: life is {figures} as long"
    return f"{term.words}: failure rate is {figures} as high"
