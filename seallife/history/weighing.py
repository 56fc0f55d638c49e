"""Hold units against the rest of their class, and judge them.

In: `Cells`, a `Reference`. Out: `StandOuts`. Next: `seallife.history.standouts`,
`seallife.history.standoutlives`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.history.funnel import funnel_limits
from seallife.history.heterogeneity import heterogeneity
from seallife.history.reference import Cells, Compared, Reference, summed, two_sided
from seallife.history.spread import PRIOR_WORDS, Spread, find_spread
from seallife.history.standoutresult import StandOuts
from seallife.history.standoutwords import SEVERAL, Asked, judged, told_together
from seallife.life.discovery import discovery_rate
from seallife.life.groups import Floats

__all__ = ["settle", "weigh"]

_ROUNDS = 15
_SETTLED = 2e-3  # change of a ratio between rounds that is none
_METHOD = "rest of the class as reference; gamma ratios with a share apart; false discovery rate"
_SOURCE = (
    "Greenwood & Yule (1920), JRSS 83, 255-279 (gamma-Poisson); Efron (2010), Large-Scale "
    "Inference, chapters 1 and 4; Benjamini & Hochberg (1995), JRSS B 57, 289-300"
)


def weigh(
    cells: Cells,
    reference: Reference,
    labels: list[object],
    groups: list[object],
    exposure: Floats,
    ahead: Floats,
    asked: Asked,
    *,
    spread: str = "common",
) -> StandOuts:
    """Judge units against a reference.

    ``exposure`` and ``ahead`` are per cell. A unit beyond the last label is part of the rest of its
    class and not judged. ``place`` in the table is the number of the unit.
    """
    shown = np.arange(cells.units) < len(labels)

    def judged_only(ratio: Floats) -> Compared:
        got = reference(ratio)
        return replace(got, expected=np.where(shown, got.expected, np.nan))

    mine, names = _shown_group(cells, groups)
    shared = mine if spread == "class" else np.zeros(len(mine), dtype=np.int64)
    compared, found = settle(judged_only, shared, names if spread == "class" else ["all"])
    p = two_sided(compared)
    # a class in which a unit stands alone says nothing of it
    many = np.bincount(cells.group, cells.size > 0, cells.groups) > 1
    told = np.where(compared.usable[cells.unit], many[cells.group], True)
    add = [
        summed(cells.unit, np.where(told, v, 0.0), cells.units)
        for v in (cells.failures, exposure, ahead)
    ]
    lone = summed(cells.unit, np.where(told, 0.0, cells.failures), cells.units)
    table = judged(
        pd.DataFrame(
            {
                "place": np.arange(cells.units),
                "label": [*labels, *[None] * (cells.units - len(labels))],
                "group": [names[i] for i in mine],
                "observed": add[0].astype(np.int64),
                "exposure": add[1],
                "not_compared": lone.astype(np.int64),
                "next_exposure": add[2],
                "p": p,
                "p_adjusted": discovery_rate(p),
            }
        ),
        compared,
        found,
        asked,
    )
    table = table[table["place"] < len(labels)].reset_index(drop=True)
    rows = shown[cells.unit]
    name = [np.array([str(v) for v in values], dtype=object) for values in (groups, labels)]
    differ = heterogeneity(
        cells.failures[rows],
        cells.size[rows],
        group=name[0][cells.group[rows]],
        label=name[1][cells.unit[rows]],
        dispersion=cells.dispersion[rows],
        level=asked.level,
    )
    return StandOuts(
        table,
        asked.level,
        _METHOD,
        _SOURCE,
        found.table,
        differ,
        _funnel(compared),
        int(np.count_nonzero(np.isfinite(p))),
        told_together(table, asked),
        asked.ratio,
        asked.tells,
        asked.discovery,
        asked.unit,
        PRIOR_WORDS,
    )


def settle(
    reference: Reference, group: NDArray[np.int64], names: list[str]
) -> tuple[Compared, Spread]:
    """Find ratios and reference together: units of other ratios count by them in the reference."""
    weight = np.ones(len(group))
    for _ in range(_ROUNDS):
        compared = reference(weight)
        found = find_spread(compared, group, names)
        change = np.abs(np.log(found.mean / weight)).max(initial=0.0)
        weight = found.mean
        if change < _SETTLED:
            break
    return compared, found


def _shown_group(cells: Cells, groups: list[object]) -> tuple[NDArray[np.int64], list[str]]:
    """Class of each unit; one word for units with exposure in several."""
    sized = cells.size > 0
    low = np.full(cells.units, cells.groups)
    high = np.full(cells.units, -1)
    for rows in (np.ones(len(sized), bool), sized):
        first, last = np.full(cells.units, cells.groups), np.full(cells.units, -1)
        np.minimum.at(first, cells.unit[rows], cells.group[rows])
        np.maximum.at(last, cells.unit[rows], cells.group[rows])
        low, high = np.where(last >= 0, first, low), np.where(last >= 0, last, high)
    names = [str(g) for g in groups]
    mine = np.where(low == high, low, len(names))
    return mine.astype(np.int64), [*names, SEVERAL]


def _funnel(compared: Compared) -> pd.DataFrame:
    """Limits by chance over the range of expected counts, at the dispersion usual here."""
    e = compared.expected[compared.usable & (compared.expected > 0)]
    columns = ["expected", "low", "high", "far_low", "far_high"]
    if not len(e):
        return pd.DataFrame(columns=columns, dtype=float)
    grid = np.geomspace(e.min() / 1.1, e.max() * 1.1, 120)
    usual = float(
        np.average(compared.dispersion[compared.usable & (compared.expected > 0)], weights=e)
    )
    limits = [*funnel_limits(grid, 0.90, dispersion=usual)]
    limits += funnel_limits(grid, 0.998, dispersion=usual)
    return pd.DataFrame(dict(zip(columns, [grid, *limits], strict=True)))
