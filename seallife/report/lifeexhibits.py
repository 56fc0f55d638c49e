"""What else the lives of the classes say: until the next outage, thin classes, which law.

In: `Study`. Out: exhibits. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.hazard import hazard_figure
from seallife.figures.life import axis_words, unit_years
from seallife.figures.pooling import pooling_figure
from seallife.report.basis import fit_basis, rate_basis
from seallife.report.exhibit import Block, Exhibit
from seallife.report.format import (
    CANNOT_TELL,
    date_text,
    intervals,
    level_text,
    share,
    share_interval,
    shares,
)

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["failure_rate", "law_choice", "rates_by_type", "thin_classes", "to_next_outage"]

_YEAR = 365
_TYPES = {"arrangement": "arrangement", "pump_type": "type of pump"}
_B10 = ["b10", "b10_low", "b10_high"]


def failure_rate(study: Study) -> Exhibit:
    """Failure rate by class and age."""
    law, counted = study.life.fits.hazards, study.life.rates
    unit = study.fits.unit
    return Exhibit(
        "failure-rate",
        "Failure rate by age",
        "Circles: failures over time lived in a band of age, with exact limits; a triangle is the "
        "upper limit where none failed. Line with band: rate of the Weibull fit, limits age by "
        "age. Where the circles leave the band one law does not hold. " + fit_basis(study),
        counted.rename(columns={"group": study.fits.by}).assign(unit=unit),
        hazard_figure(law, counted, unit=unit),
        alt="Failure rate by age, one panel a service class.",
        rests_on=("lives",),
    )


def rates_by_type(study: Study) -> tuple[Exhibit, ...]:
    """MTBF and MTBR by arrangement and type of pump; nothing where the register tells no two."""
    table = study.history.overall
    several = [by for by in _TYPES if (table["by"] == by).sum() > 1]
    table = table[table["by"].isin(several)]
    if table.empty:
        return ()
    shown = pd.DataFrame(
        {
            "Group": table["group"].astype(str),
            "Kind": table["by"].map(_TYPES),
            "Seal positions": [f"{n:,}" for n in table["positions"]],
            "Exposure, position-years": [f"{y:,.0f}" for y in table["exposure_years"]],
            "Failures": [f"{n:,}" for n in table["failures"]],
            "MTBF, calendar y": intervals(table, "mtbf_years"),
            "Removals": [f"{n:,}" for n in table["removals"]],
            "MTBR, calendar y": intervals(table, "mtbr_years"),
        }
    )
    caption = (
        "As the register has them today, for the whole record: a position that was changed counts "
        "for what it is now. They run different services, so that a shorter MTBF alone does not "
        "make a worse type; each is held against its classes under 'Where it hurts'. "
    )
    return (
        Exhibit(
            "rates-by-type",
            "MTBF and MTBR by arrangement and type of pump",
            caption + rate_basis(study, "MTBF", "MTBR"),
            table,
            shown=shown,
            rests_on=("lives", "removals"),
        ),
    )


def to_next_outage(study: Study) -> Exhibit:
    """How many of the seals in service will still run at the next outage."""
    ahead = study.to_date
    table = ahead.table
    until = [
        date_text(a) if a == b else f"{date_text(a)} to {date_text(b)}" if a == a else "–"
        for a, b in zip(table["until_first"], table["until_last"], strict=True)
    ]
    asked = table["asked"].fillna(0).astype(int)
    shown = pd.DataFrame(
        {
            "Class": table[ahead.by].astype(str),
            "In service": [f"{n:,.0f}" for n in table["in_service"]],
            "Of these asked about": [f"{n:,}" for n in asked],
            "Until": until,
            "Still running then": shares(table, "share_running"),
            "Expected to fail": intervals(table, "expected_failures", decimals=1),
            "So many may": [
                f"{a:.0f} to {b:.0f}" if a == a else CANNOT_TELL
                for a, b in zip(
                    table["predicted_failures_low"], table["predicted_failures_high"], strict=True
                )
            ],
        }
    )
    both = ahead.together()
    total = (
        f"All classes: {both['expected_failures']:,.0f} of {both['asked']:,.0f} seals asked about "
        f"expected to fail, {both['predicted_failures_low']:,.0f} to "
        f"{both['predicted_failures_high']:,.0f} may. "
        if both["asked"] > 0
        else ""
    )
    look = "the next outage of its unit, or where none is listed one year ahead"
    if study.settings.rules.look_ahead_days != _YEAR:
        look = look.replace("one year", f"{study.settings.rules.look_ahead_days} days")
    return Exhibit(
        "to-next-outage",
        "Until the next outage",
        f"{total}Share of the seals now in service, at their ages today, that seals like them "
        f"ran on for so long; until {look}. By Kaplan-Meier; not asked about are seals "
        "of unknown age and those that would pass ages that fewer than "
        f"{ahead.least_at_risk} seals were seen at. Expected: with its interval. May: range of the "
        f"count itself, {level_text(ahead.level)}. Failures of the seals that replace them are not "
        "counted. A group figure: no reason to keep any seal running past a limit, and none to "
        f"renew one seal. Method: {ahead.method}.",
        table,
        shown=shown,
        rests_on=("lives",),
    )


def thin_classes(study: Study) -> tuple[Block, ...]:
    """What the thin classes borrow from the others."""
    pooled = study.life.pooled
    table, alone = pooled.table, pooled.alone.set_index("group")
    if (table["status"] == "nothing to pool").all():
        return ()
    hours = study.fits.unit == "h"
    year, short = unit_years(study.fits), "run y" if hours else "calendar y"
    own = alone.reindex(table["group"])
    age = float(study.life.ages[0])
    at = pooled.survival[pooled.survival["age"] == age].set_index("group").reindex(table["group"])
    full = table.merge(
        alone[["b10", "b10_low", "b10_high"]].add_prefix("alone_").reset_index(), on="group"
    )
    shown = pd.DataFrame(
        {
            "Class": table["group"].astype(str),
            "Failures": [f"{n:,.0f}" for n in table["failures"]],
            f"B10 alone, {short}": intervals(own[_B10] / year, "b10"),
            f"B10 leaning on the others, {short}": intervals(table[_B10] / year, "b10"),
            f"Still running at {age:,.0f} {study.fits.unit}": [
                share_interval(v, a, b)
                for v, a, b in zip(at["survival"], at["low"], at["high"], strict=True)
            ],
            "Shape borrowed": [share(v) for v in table["borrowed_shape"]],
            "Scale borrowed": [share(v) for v in table["borrowed_scale"]],
        }
    )
    return (
        Exhibit(
            "thin-classes",
            "What thin classes borrow from the others",
            "Shapes and scales of the classes scatter around a common middle; how far is found "
            "from the data. A class with many failures speaks for itself, one with none takes its "
            "shape from the others. It holds only as far as the classes are alike. Alone: "
            f"calibrated limits only under 'Service classes'. Method: {pooled.method}. "
            + fit_basis(study),
            full.assign(unit=study.fits.unit),
            pooling_figure(pooled, "b10", divide_by=year, unit=axis_words(study.fits)),
            shown,
            alt="B10 of each class alone and leaning on the others.",
            rests_on=("lives",),
        ),
    )


def law_choice(study: Study) -> Exhibit:
    """Which law each class follows, as far as it can tell."""
    choice = study.life.laws
    table = choice.table
    shown = pd.DataFrame(
        {
            "Class": table["group"].astype(str),
            "Failures": [f"{n:,.0f}" for n in table["failures"]],
            "Law": table["verdict"],
            "Foretell as well as the best": table["candidates"].where(
                table["candidates"] != "", "–"
            ),
            "Why": table["reason"].where(table["reason"] != "", table["message"]),
        }
    )
    return Exhibit(
        "laws",
        "Which law of life the classes follow",
        "Where laws cannot be told apart the choice is what one believes beyond the ages seen, "
        f"and changes little inside them. Method: {choice.method}. Source: {choice.source}. "
        + fit_basis(study),
        choice.laws,
        shown=shown,
        rests_on=("lives",),
    )
