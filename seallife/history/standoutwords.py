"""Verdicts on units, what it would take to tell, what is to come, and a sentence for each.

In: `Compared`, `Spread`. Out: the table of `StandOuts`. Next: `seallife.history.standouts`.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.history.reference import Compared, tail_probabilities
from seallife.history.spread import Spread
from seallife.life.groups import Floats
from seallife.life.result import worded_status

__all__ = ["BETTER", "EARLY", "SEVERAL", "WORSE", "Asked", "judged", "told_together"]

WORSE, BETTER = "worse than its class", "better than its class"
EARLY, SEVERAL = "early failures", "several classes"
NONE, UNTOLD = "no evidence", "cannot tell yet"
_MOST = 1e4  # times the exposure had, beyond which more is no advice


@dataclass(frozen=True)
class Asked:
    """Settings of the comparison; see `stand_out`."""

    level: float
    ratio: float
    tells: float
    discovery: float
    unit: str

    def __post_init__(self) -> None:
        for name in ("ratio", "tells"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 1):
                raise InputError(f"is {value!r}", where=name, hint="give a ratio above 1")
        if not 0 < self.discovery < 1:
            raise InputError(
                f"is {self.discovery!r}", where="discovery", hint="give a share such as 0.10"
            )


def judged(table: pd.DataFrame, compared: Compared, found: Spread, asked: Asked) -> pd.DataFrame:
    """Add ratios, verdicts, forecasts and sentences to the counts; worst first."""
    usable, n = compared.usable, len(table)
    observed, p = compared.observed, table["p_adjusted"].to_numpy(dtype=np.float64)
    low, high = (found.quantile(s) for s in ((1 - asked.level) / 2, (1 + asked.level) / 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        raw = np.where(usable, observed / compared.expected, np.nan)
    named = usable & (p <= asked.discovery)
    # nearer to what matters than to none at all
    near = np.sqrt(asked.ratio)
    worse = named & (observed > compared.expected) & (found.mean >= near)
    better = named & (observed < compared.expected) & (found.mean <= 1 / near)
    listed = worse | better
    factor = _factor_needed(compared, asked, int(np.count_nonzero(named)))
    with np.errstate(invalid="ignore"):
        told = usable & ~listed & ((factor <= 1) | named)
        more = np.where(usable & ~listed, np.maximum(factor - 1, 0) * table["exposure"], np.nan)
    verdict = np.select([worse, better, told], [WORSE, BETTER, NONE], UNTOLD)
    exposure = table["exposure"].to_numpy(dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(exposure > 0, table["next_exposure"] / exposure, np.nan)
    again = _foretold(compared, found, np.ones(n), listed, asked.level)
    ahead = _foretold(compared, found, share, listed, asked.level)
    out = table.assign(
        expected=compared.expected,
        ratio=raw,
        ratio_shrunk=np.where(usable, found.mean, np.nan),
        ratio_low=low,
        ratio_high=high,
        prob_above=1 - found.reached(np.full(n, asked.ratio)),
        prob_below=found.reached(np.full(n, 1 / asked.ratio)),
        prob_apart=found.apart,
        dispersion=compared.dispersion,
        verdict=verdict,
        more_exposure=more,
        **_named("again", again),
        **_named("next", ahead),
    )
    status, message = _worded(out, usable, asked)
    out = out.assign(status=status, message=message)[_COLUMNS]
    rank = pd.DataFrame(
        {
            "last": out["prob_above"].isna(),
            # a sum in another order differs in its last digits: that must not change the order
            "first": -out["prob_above"].round(9),
            "then": -out["ratio_shrunk"].round(9),
            "name": out["label"].astype(str),
        }
    )
    order = rank.sort_values(["last", "first", "then", "name"], kind="stable").index
    return out.loc[order].reset_index(drop=True)


_FORETOLD = ["expected", "low", "high"]
_COLUMNS = [
    *("place", "label", "group", "observed", "not_compared", "exposure", "expected", "ratio"),
    *("ratio_shrunk", "ratio_low", "ratio_high", "prob_above", "prob_below", "prob_apart"),
    *("p", "p_adjusted", "dispersion", "verdict", "more_exposure"),
    *(f"again_{c}" for c in _FORETOLD),
    *("next_exposure", *(f"next_{c}" for c in _FORETOLD)),
    *("status", "message"),
]


def _named(stem: str, values: list[Floats]) -> dict[str, Floats]:
    return {f"{stem}_{c}": v for c, v in zip(_FORETOLD, values, strict=True)}


def _factor_needed(compared: Compared, asked: Asked, named: int) -> Floats:
    """Times the exposure had at which ``tells`` times the rate would show, at even odds."""
    tested = int(np.count_nonzero(compared.usable))
    cut = asked.discovery * max(named, 1) / max(tested, 1)
    base = np.where(compared.odds > 0, compared.odds, np.nan)
    each = base * np.maximum(compared.behind, 0.5) * compared.dispersion

    def shows(factor: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        up, _ = tail_probabilities(
            asked.tells * factor * each, compared.behind, base * factor, compared.dispersion
        )
        return np.asarray(up <= cut)

    low, high = np.full(len(base), np.log(1e-3)), np.full(len(base), np.log(_MOST))
    never = ~shows(np.exp(high))
    for _ in range(40):
        middle = (low + high) / 2
        reached = shows(np.exp(middle))
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    return np.where(np.isnan(base), np.nan, np.where(never, np.inf, np.exp(high)))


def _foretold(
    compared: Compared,
    found: Spread,
    share: Floats,
    listed: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    level: float,
) -> list[Floats]:
    """Failures in so many times the exposure had, with limits of the count for those listed."""
    from scipy.special import betainc

    rate = (found.weight * found.shape / found.rate * found.scale).sum(axis=1)
    mean = rate * compared.dispersion * share
    limits = [np.full(len(share), np.nan) for _ in range(2)]
    rows = np.flatnonzero(listed & (share >= 0))
    if len(rows):
        part, times, scatter = found.rows(rows), share[rows, None], compared.dispersion[rows]
        odds = part.rate / (part.rate + part.scale * times)
        for limit, wanted in zip(limits, ((1 - level) / 2, (1 + level) / 2), strict=True):
            low, high = np.full(len(rows), -1.0), np.ceil(20 * mean[rows] + 100)
            while (high - low > 1).any():
                middle = np.maximum(np.floor((low + high) / 2), 0.0)
                at = np.maximum((middle + 0.5) / scatter - 0.5, 0.0)
                reached = (part.weight * betainc(part.shape, at[:, None] + 1, odds)).sum(axis=1)
                enough = reached >= wanted
                # where both ends have met, neither moves
                low, high = np.where(enough, low, middle), np.where(enough, middle, high)
            limit[rows] = high
    return [mean, *limits]


def number(value: float) -> str:
    """Few digits: 0.04, 1.2, 17."""
    if not np.isfinite(value):
        return "no"
    if value >= 9.95:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 0.1 else f"{value:.2g}"


def _worded(
    table: pd.DataFrame, usable: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], asked: Asked
) -> tuple[list[str], list[str]]:
    """Status and sentence of each unit."""
    failures = table.groupby("group")["observed"].transform("sum").to_numpy()
    status, message = worded_status(
        len(table),
        [
            (
                (table["exposure"] <= 0).to_numpy(),
                "no exposure",
                "No time at risk: nothing can be said.",
            ),
            (~usable, "alone", "No other unit of its class has time at risk: nothing to compare."),
            (
                failures == 0,
                "no failures",
                "No failure in its class: nothing to compare.",
            ),
        ],
    )
    tested = int(np.count_nonzero(usable))
    rows = zip(table.to_dict(orient="records"), message, strict=True)
    return status, [sentence or _sentence(row, tested, asked) for row, sentence in rows]


def _sentence(row: dict[Hashable, Any], tested: int, asked: Asked) -> str:
    """Say what was seen, what the class explains, and what follows."""
    rest = {"all": "the rest", SEVERAL: "the rest of its classes"}.get(
        row["group"], f"the rest of {row['group']}"
    )
    had = (
        f"{row['observed']:,} failed in {number(row['exposure'])} {asked.unit}, where {rest} gives "
        f"{number(row['expected'])}"
    )
    interval = (
        f"{number(row['ratio_shrunk'])} times their rate ({number(row['ratio_low'])} to "
        f"{number(row['ratio_high'])})"
    )
    if row["verdict"] in (WORSE, BETTER):
        to_come = f"{number(row['again_expected'])} ({row['again_low']:.0f} to "
        return (
            f"{had}: {interval}, by more than chance among {tested:,}. With nothing done, about "
            f"{to_come}{row['again_high']:.0f}) in as much time again."
        )
    if row["verdict"] == NONE and row["p_adjusted"] <= asked.discovery:
        return (
            f"{had}: more than chance explains, but {interval} is nearer to 1 than to "
            f"{asked.ratio:g} times."
        )
    if row["verdict"] == NONE:
        return f"{had}: within what chance explains; {asked.tells:g} times the rate would show."
    if not np.isfinite(row["more_exposure"]):
        return f"{had}: the rest of its class has too few failures to compare with."
    return (
        f"{had}: even {asked.tells:g} times the rate would not show yet; about "
        f"{number(max(row['more_exposure'], 0.1))} more {asked.unit} at risk would be needed."
    )


def told_together(table: pd.DataFrame, asked: Asked) -> str:
    """What those listed as worse had, and what may be expected of them with nothing done."""
    worse = table[table["verdict"] == WORSE]
    early = worse["status"] == EARLY
    rows, more = worse[~early], int(early.sum())
    words = []
    if len(rows):
        words.append(
            f"{_units(len(rows))} out as worse: {int(rows['observed'].sum()):,} failures where the "
            f"rest of their classes gives {number(rows['expected'].sum())}. With nothing done, "
            f"about {number(rows['again_expected'].sum())} are to be expected of as much time "
            "again: a part of what put them on the list was chance."
        )
    if more:
        words.append(f"{_units(more)} out by early failures alone.")
    return " ".join(words)


def _units(n: int) -> str:
    return "1 unit stands" if n == 1 else f"{n:,} units stand"
