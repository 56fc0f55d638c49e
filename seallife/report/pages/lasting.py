"""How long seals last here: the class table, survival by class, lives by class.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.classes import class_figure
from seallife.figures.forest import rate_forest
from seallife.figures.life import axis_words, survival_figure
from seallife.report.basis import fit_basis, group_row, rate_basis
from seallife.report.classtable import class_table, class_warnings, survival_columns
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import CANNOT_TELL, count, intervals, share, shares
from seallife.report.lifeexhibits import (
    failure_rate,
    law_choice,
    rates_by_type,
    thin_classes,
    to_next_outage,
)

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build", "shown_classes"]

_ENOUGH_FAILURES = 10  # a shape from fewer spans nearly all that seals can do
_ENOUGH_PUMPS = 3

_LIFE_COLUMNS = ("service_class", "lives", "failures_known", "b10", "b50", "no_fit", "status")

_READ_SHAPE = (
    "A shape above 1 means that the failure rate rises with age, from whatever cause: faces, "
    "elastomers, deposits, the machine. Around 1 failures come at any age, and age alone is no "
    "reason for a renewal; below 1 they come mostly early. Only where the whole interval lies on "
    "one side of 1 do the records decide. Renewals that law, safety or the maker ask for stand, "
    "whatever the shape."
)


def build(study: Study) -> tuple[Block, ...]:
    """How long do the seals of each service class last?"""
    table = class_table(study)
    rules = study.settings.rules
    rates = group_row(study.history.overall, "service_class")
    ages = axis_words(study.fits)
    blocks: list[Block] = [
        Text(_READ_SHAPE),
        Exhibit(
            "classes",
            "Service classes",
            "MTBF and exposure on the calendar, all failures. From lives of known age: shape and "
            f"B10 (age by which 10 % have failed, in {ages}) by the Weibull fit, share still "
            "running by Kaplan-Meier, none beyond the oldest seal seen. Early: failed within "
            f"{rules.early_days} days, of "
            "installations watched that long or failed before. " + fit_basis(study),
            table,
            shown=shown_classes(study, table),
            rests_on=("lives",),
        ),
    ]
    warnings = class_warnings(table) + _thin_classes(study, table)
    warnings += _mixed_classes(study) + _curve_warnings(study)
    if warnings:
        blocks.append(Points("Classes to read with care", warnings))
    fits = study.fits
    counts = ", ".join(
        f"{g}: {n:,} of {m:,} failed"
        for g, n, m in zip(
            fits.table[fits.by], fits.table["failures"].astype(int), fits.table["n"].astype(int),
            strict=True,
        )
    )  # fmt: skip
    blocks += [
        Exhibit(
            "survival",
            "Share of seals still running, by age",
            "Steps with band: Kaplan-Meier and its limits, no law assumed. Dashed: Weibull fit, "
            "drawn to the oldest seal seen. Where few are at risk the curve is worth little. "
            + fit_basis(study),
            _curve_table(study),
            survival_figure(fits),
            alt=f"Survival curves by service class. {counts}.",
            rests_on=("lives",),
        ),
        Exhibit(
            "life-by-class",
            "Classes side by side",
            "Bars are intervals; a bar towards an arrow is a limit on one side. Share still "
            "running: Kaplan-Meier. B10 and shape: Weibull fit. " + fit_basis(study),
            table[[c for c in table.columns if c.startswith(_LIFE_COLUMNS)]],
            class_figure(fits),
            alt=f"Share still running at 1 and 3 years, B10 and shape, by class, in {ages}.",
            rests_on=("lives",),
        ),
        Exhibit(
            "mtbf-by-class",
            "MTBF by class",
            "An arrow at the right: no upper limit, because no failure was seen. "
            + rate_basis(study, "MTBF"),
            rates,
            rate_forest(rates),
            alt="Intervals of MTBF by class, in calendar years per seal position.",
            rests_on=("lives", "removals"),
        ),
        *rates_by_type(study),
        failure_rate(study),
        to_next_outage(study),
        *thin_classes(study),
        law_choice(study),
    ]
    return tuple(blocks)


def shown_classes(study: Study, table: pd.DataFrame) -> pd.DataFrame:
    """Class table as a reader wants it."""
    hours = study.fits.unit == "h"
    short = "run y" if hours else "calendar y"
    out: dict[str, list[str]] = {
        "Class": table["service_class"].astype(str).tolist(),
        "Seal positions": [f"{n:,}" for n in table["positions"]],
        "Exposure, position-years": [f"{y:,.0f}" for y in table["exposure_years"].fillna(0)],
        "Failures (of known age)": [
            f"{n:,} ({k:,})"
            for n, k in zip(table["failures"], table["failures_known_age"], strict=True)
        ],
        "MTBF, calendar y": intervals(table, "mtbf_years"),
        "Shape": _fitted(table, intervals(table, "shape", decimals=2)),
        f"B10, {short}": _fitted(table, intervals(table, "b10_years")),
        f"Failed early (≤ {study.settings.rules.early_days} d)": shares(table, "early_share"),
    }
    for column in survival_columns(table):
        age = float(column.removeprefix("survival_").rstrip("hd"))
        unit = "h" if hours else "d"
        beyond = (table["oldest_years"] * (8766 if hours else 365.25) < age).tolist()
        out[f"Still running at {age:,.0f} {unit}"] = [
            "not seen" if b and t == CANNOT_TELL else t
            for b, t in zip(beyond, shares(table, column), strict=True)
        ]
    return pd.DataFrame(out)


def _fitted(table: pd.DataFrame, texts: list[str]) -> list[str]:
    """Replace figures of a fit that is not worth showing by words."""
    return [words or text for words, text in zip(table["no_fit"], texts, strict=True)]


def _thin_classes(study: Study, table: pd.DataFrame) -> tuple[str, ...]:
    """Say of a fitted class that its failures are few, or come from few pumps."""
    lives = study.lives.table
    failed = lives[lives["age_known"] & (lives["end"] == "failed")]
    pumps = failed.groupby("service_class")["tag"].nunique()
    out = []
    for row in table[table["no_fit"] == ""].to_dict("records"):
        name, n = row["service_class"], row["failures_known_age"]
        from_pumps = int(pumps.get(name, 0))
        if n < _ENOUGH_FAILURES or from_pumps < _ENOUGH_PUMPS:
            out.append(
                f"{name}: {count(n, 'failure')} of known age, from {count(from_pumps, 'pump')}. "
                "Its shape and B10 are first signs."
            )
    return tuple(out)


def _mixed_classes(study: Study) -> tuple[str, ...]:
    """Say where one law hides seals that fail early: its shape then says little of the others."""
    table = study.life.mixtures.table
    mixed = table[table["verdict"] == "a mixture is likely"]
    if mixed.empty:
        return ()
    told = "; ".join(
        f"{r['group']} {share(r['early_share'])} early, shape of the others {r['rest_shape']:.1f}, "
        f"of all {r['shape']:.1f} (p = {r['p']:.2g})"
        for r in mixed.to_dict("records")
    )
    classes = count(len(mixed), "class", "classes")
    return (
        f"In {classes} one law hides an early part, so that its shape and mean mislead; the share "
        f"still running is from Kaplan-Meier and holds. Roughly: {told}.",
    )


def _curve_warnings(study: Study) -> tuple[str, ...]:
    """Say of a Kaplan-Meier curve that fell to zero while older seals still ran."""
    curves = study.fits.curves.table
    emptied = curves.loc[curves["status"] == "risk set emptied", "group"]
    return tuple(
        f"{name}: its steps fall to zero at an age at which the only seals watched had all failed; "
        "older ones, seen from a later age on, ran longer. From there on the steps say nothing."
        for name in emptied
    )


def _curve_table(study: Study) -> pd.DataFrame:
    """Kaplan-Meier steps with their unit in the column name."""
    fits = study.fits
    return fits.curves.curves.rename(columns={"group": fits.by, "age": f"age_{fits.unit}"})
