"""Is it worth renewing seals by age?

In: `LawDraws`, limits of the shape, costs. Out: `Replacement`. Next: `seallife.spares.outage`.

Most seals are best left in until they leak. To renew one by age pays only where failures grow with
age and cost a good deal more than a renewal; and each renewal of a seal that would have run on
brings the early failures of a new one. These are in the laws, and so in every figure here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats, Ints
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult
from seallife.spares.cumulative import FAR, running_time
from seallife.spares.lawdraws import LawDraws

__all__ = ["NO_COST", "Cost", "Replacement", "costs_of", "replacement_ages"]

Cost = float | Mapping[str, float] | Floats
"""One figure for all, one by name (a name that is not there has none), or one a row."""

NO_COST = "no cost given"
"""Verdict and status of rows that want for a cost."""

_METHOD = "cost over time of renewal at an age, over all laws that the records allow"
_SOURCE = "Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 4"


@dataclass(frozen=True, eq=False)
class Replacement(TableResult):
    """Whether renewing by age is worth it, class by class.

    Attributes
    ----------
    table : DataFrame
        One row a class:

        - ``planned_cost``, ``failure_cost``; ``shape_low``, ``shape_high``: limits of the shape;
        - ``age``: age of renewal at which the mean cost over all laws is lowest, infinite where
          none beats running to failure; ``age_low``, ``age_high``: limits of the best age;
        - ``saving``, ``saving_low``, ``saving_high``: share of the cost of running to failure that
          renewal at ``age`` saves; below 0 where it costs more;
        - ``cost_rate``, ``run_to_failure_rate``: mean cost per unit of time with and without;
        - ``ratio_needed`` and its limits: how many times a renewal a failure must cost for renewal
          by age to save ``least_saving``; infinite where no ratio would do;
        - ``early_failures`` and its limits: failures of a new seal up to ``early_age``, which each
          renewal brings with it;
        - ``verdict``: 'renew by age', 'do not renew by age', 'cannot tell yet', 'no cost given';
          ``status``, ``message``.

        Age and saving are NaN where a cost is not given or the limits of the shape do not rule out
        1.
    unit : {'h', 'd'}
        Of ages and of time in rates.
    early_age, least_saving : float
        As asked.
    """

    unit: str
    early_age: float
    least_saving: float

    @property
    def not_by_age(self) -> list[str]:
        """Classes whose failures are not known to grow with age."""
        shape = self.table["shape_low"]
        return self.table.loc[~(shape > 1), "service_class"].tolist()


def costs_of(cost: Cost, names: pd.Index | pd.Series[Any], where: str) -> Floats:
    """Cost of each row, NaN where none is given.

    Raises
    ------
    InputError
        A cost is not above 0.
    """
    if isinstance(cost, Mapping):
        out = np.array([cost.get(str(name), np.nan) for name in names], dtype=np.float64)
    else:
        out = np.full(len(names), cost, dtype=np.float64)
    bad = out[~(np.isnan(out) | ((out > 0) & np.isfinite(out)))]
    if len(bad):
        raise InputError(f"is {bad[0]:g}", where=where, hint="give costs above 0, or none")
    return out


def replacement_ages(
    laws: LawDraws,
    shapes: pd.DataFrame,
    *,
    planned_cost: Cost = np.nan,
    failure_cost: Cost = np.nan,
    early_age: float,
    least_saving: float = 0.05,
    level: float = 0.90,
) -> Replacement:
    """Is it worth renewing the seals of each class by age, and at which age?

    Parameters
    ----------
    laws : LawDraws
        Laws that the records allow.
    shapes : DataFrame
        Columns ``service_class``, ``shape_low``, ``shape_high``: limits of the Weibull shape.
    planned_cost, failure_cost : float or mapping of class to float
        Of a planned renewal and of a failure with all that it brings; NaN where not known.
    early_age : float
        Age up to which a failure counts as early, in the unit of ``laws``.
    least_saving : float
        Share of the cost of running to failure below which a saving is not worth having.
    level : float

    Returns
    -------
    Replacement

    Raises
    ------
    InputError
        A column is missing, or a cost, age, share or level cannot be used.

    Notes
    -----
    Rates are constant between the knots of ``laws``, so that the integral of the share that runs
    is exact and the best age is always a knot. The saving is that of one age under each law, not
    of each law's own best age, which could never be a loss.
    """
    check_level(level)
    need_columns(shapes, ["service_class", "shape_low", "shape_high"], "shapes")
    for name, value in (("early_age", early_age), ("least_saving", least_saving)):
        if not (np.isfinite(value) and value > 0):
            raise InputError(f"is {value!r}", where=name, hint="give a figure above 0")
    planned = costs_of(planned_cost, laws.classes, "planned_cost")
    failure = costs_of(failure_cost, laws.classes, "failure_cost")
    limits = shapes.drop_duplicates("service_class").set_index("service_class")
    limits = limits.reindex(laws.classes)[["shape_low", "shape_high"]].astype(float)
    tails = [(1 - level) / 2, (1 + level) / 2]

    places = np.arange(len(laws.classes))
    ages = np.append(laws.ages[1:], laws.ages[-1] * FAR)
    edges = np.broadcast_to(np.append(0.0, ages), (len(places), len(ages) + 1))
    total = laws.at(places, edges)
    run = running_time(edges, total)[..., 1:]
    failed = -np.expm1(-total[..., 1:])
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = (planned[:, None] * (1 - failed) + failure[:, None] * failed) / run
        short = (1 - least_saving) * run / run[..., -1:] - failed
        ratio = np.where(short > 0, (1 - failed) / short, np.inf).min(axis=-1)
    rate[..., -1] = failure / run[..., -1]  # to failure
    best = _first_lowest(rate.mean(axis=0))
    chosen = np.take_along_axis(rate, np.broadcast_to(best[:, None], (*rate.shape[:2], 1)), 2)[
        ..., 0
    ]
    saving = 1 - chosen / rate[..., -1]
    at = np.append(ages[:-1], np.inf)
    early = laws.at(places, np.full(len(places), early_age))

    priced = ~(np.isnan(planned) | np.isnan(failure))
    grows = (limits["shape_low"] > 1).to_numpy()
    figures: dict[str, Any] = {
        "service_class": laws.classes,
        "planned_cost": planned,
        "failure_cost": failure,
        "shape_low": limits["shape_low"].to_numpy(),
        "shape_high": limits["shape_high"].to_numpy(),
        "age": at[best],
        **_ends("age", at[_first_lowest(rate)], tails, pick=True),
        "saving": 1 - chosen.mean(axis=0) / rate[..., -1].mean(axis=0),
        **_ends("saving", saving, tails),
        "cost_rate": chosen.mean(axis=0),
        "run_to_failure_rate": rate[..., -1].mean(axis=0),
        "ratio_needed": np.quantile(ratio, 0.5, axis=0, method="inverted_cdf"),
        **_ends("ratio_needed", ratio, tails, pick=True),
        "early_failures": early.mean(axis=0),
        **_ends("early_failures", early, tails),
    }
    table = pd.DataFrame(figures)
    hidden = [c for c in figures if c.startswith(("age", "saving")) or c == "cost_rate"]
    table.loc[~(priced & grows), hidden] = np.nan
    table.loc[~priced, "run_to_failure_rate"] = np.nan
    said = [
        _verdict(row, least_saving, level, laws.unit, early_age)
        for row in table.to_dict(orient="records")
    ]
    table[["verdict", "status", "message"]] = pd.DataFrame(said, dtype=object)
    return Replacement(table, level, _METHOD, _SOURCE, laws.unit, early_age, least_saving)


def _first_lowest(rate: Floats) -> Ints:
    """Place of the lowest cost; the last, to failure, where none is lower."""
    best = np.argmin(rate, axis=-1)
    lowest = np.take_along_axis(rate, best[..., None], -1)[..., 0]
    worth = lowest < rate[..., -1] * (1 - 1e-9)
    return np.asarray(np.where(worth, best, rate.shape[-1] - 1))


def _ends(name: str, drawn: Floats, tails: list[float], pick: bool = False) -> dict[str, Floats]:
    """Limits over the draws; ``pick`` where a figure may be infinite."""
    low, high = np.quantile(drawn, tails, axis=0, method="inverted_cdf" if pick else "linear")
    return {f"{name}_low": low, f"{name}_high": high}


def _verdict(
    row: dict[Any, Any], least: float, level: float, unit: str, early_age: float
) -> tuple[str, str, str]:
    """Verdict, status and message of a class."""
    brings = (
        f"Each renewal brings {row['early_failures']:.3f} failures of the new seal within "
        f"{early_age:,.0f} {unit}."
    )
    if np.isnan(row["shape_low"]):
        return (
            "cannot tell yet",
            "shape not known",
            f"How failures change with age is not known for this class. {brings}",
        )
    limits = f"limits of the shape are {row['shape_low']:.2f} and {row['shape_high']:.2f}"
    if not row["shape_low"] > 1:
        word = "do not fail more as seals age" if row["shape_high"] < 1 else "may not grow with age"
        return "do not renew by age", "ok", f"Failures {word}: {limits}. {brings}"
    if np.isnan(row["run_to_failure_rate"]):
        needed = row["ratio_needed"]
        told = (
            f"renewal by age would save {least:.0%} only where a failure costs "
            f"{needed:.1f} times a planned renewal or more "
            f"({row['ratio_needed_low']:.1f} to {row['ratio_needed_high']:.1f})"
            if np.isfinite(needed)
            else f"no ratio of costs is known at which renewal by age would save {least:.0%}"
        )
        return NO_COST, NO_COST, f"Costs are not given: {told}. {brings}"
    if np.isinf(row["age"]):
        return "do not renew by age", "ok", f"No age costs less than running to failure. {brings}"
    saves = (
        f"renewal at {row['age']:,.0f} {unit} saves {row['saving']:.0%} of the cost of running to "
        f"failure ({level:.0%} limits {row['saving_low']:.0%} to {row['saving_high']:.0%})"
    )
    if row["saving_low"] >= least:
        return "renew by age", "ok", f"{saves[:1].upper()}{saves[1:]}. {brings}"
    if row["saving_high"] < least:
        return "do not renew by age", "ok", f"At best {saves}: less than {least:.0%}. {brings}"
    return "cannot tell yet", "ok", f"As far as is known {saves}. {brings}"
