"""Why seals fail: what was found, how soon after fitting, and what goes with longer lives.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.causes import incidence_figure
from seallife.figures.early import early_figure
from seallife.figures.life import unit_years
from seallife.life.tablefits import NOT_TOLD, told_causes
from seallife.report.basis import UNIT, fit_basis, record_span, unknown_words
from seallife.report.classtable import class_table
from seallife.report.conditions import as_good_as_new, conditions
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import (
    CANNOT_TELL,
    count,
    interval,
    level_text,
    number,
    share,
    share_interval,
    share_of,
)
from seallife.report.leakpaths import leak_paths

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build", "damage_table"]

_LIMITS = ("", "_low", "_high")


def build(study: Study) -> tuple[Block, ...]:
    """What do seals fail from here, and what goes with longer lives?"""
    table = damage_table(study)
    return (
        *_first_words(table),
        *_damage(study, table),
        *leak_paths(study),
        *_early(study),
        *conditions(study),
        as_good_as_new(study),
    )


def damage_table(study: Study) -> pd.DataFrame:
    """What was found wrong with the seals that failed?

    Returns
    -------
    pandas.DataFrame
        damage; the columns of `seallife.history.causeshares.cause_shares`; failures_known_age,
        early (of these, within ``early_days``), median_years (age at failure), shape with limits,
        law. What is not told stands last.
    """
    rules = study.settings.rules
    out = study.trends.causes.rename(columns={"cause": "damage"})
    lives = study.lives.table
    failed = lives[lives["age_known"] & (lives["end"] == "failed")]
    clock = study.fits.unit
    by_damage = failed.assign(
        damage=told_causes(failed["damage"]),
        early=(failed["exit_age_d"] <= rules.early_days) & (failed["entry_age_d"] <= 0),
        years=failed[f"exit_age_{clock}"] / unit_years(study.fits),
    ).groupby("damage")
    ages = by_damage.agg(
        failures_known_age=("years", "size"),
        early=("early", "sum"),
        median_years=("years", "median"),
    )
    laws = study.life.damage_fits.parts.rename(columns={"cause": "damage"})
    laws = laws[["damage", "law", *(f"shape{s}" for s in _LIMITS)]]
    # without a failure the names have no type of their own
    out, ages, laws = (t.astype({"damage": object}) for t in (out, ages.reset_index(), laws))
    out = out.merge(ages, on="damage", how="left").merge(laws, on="damage", how="left")
    whole_numbers = ["failures_known_age", "early"]
    out[whole_numbers] = out[whole_numbers].fillna(0).astype(int)
    return out


def _first_words(table: pd.DataFrame) -> tuple[Block, ...]:
    """What stands out, with what is not told."""
    whole = int(table["failures"].sum())
    if not whole:
        return (Text("No failure is on record: there is no cause to look for.", strong=True),)
    told = table[table["damage"] != NOT_TOLD]
    untold = whole - int(told["failures"].sum())
    if told.empty:
        sentence = "No work order says what was found wrong with the seal."
    else:
        first = "; ".join(
            f"{r['damage']} {share(r['share_told'])}" for r in told.head(3).to_dict("records")
        )
        sentence = f"Of the failures that tell what was found: {first}."
    if untold:
        sentence += (
            f" {share_of(untold, whole, 'failures')} do not tell: whoever strips a seal should "
            "write down what was seen."
        )
    return (Text(sentence, strong=True),)


def _damage(study: Study, table: pd.DataFrame) -> tuple[Block, ...]:
    if table.empty:
        return ()
    rules = study.settings.rules
    hours = study.fits.unit == "h"
    years = "run y" if hours else "calendar y"
    told = table["damage"] != NOT_TOLD
    known = table["failures_known_age"].astype(int)
    shown = pd.DataFrame(
        {
            "Found": table["damage"],
            "Failures": [f"{n:,}" for n in table["failures"]],
            "Share of those that tell": _three(table, "share_told", told),
            "Of all failures": [
                f"{100 * a:.0f} to {100 * b:.0f} %" if t else "–"
                for a, b, t in zip(table["share_least"], table["share_most"], told, strict=True)
            ],
            "Of the hours out": _three(table, "hours_out_share", told),
            "Of the cost": _three(table, "cost_share", told),
            f"Early (≤ {rules.early_days} d), of known age": [
                f"{e:,} of {n:,}" for e, n in zip(table["early"], known, strict=True)
            ],
            f"Half of them failed by, {years}": [number(v) for v in table["median_years"]],
            "Shape": [
                interval(a, b, c, decimals=2) if law == "Weibull" else CANNOT_TELL
                for law, a, b, c in zip(
                    table["law"], *(table[f"shape{s}"] for s in _LIMITS), strict=True
                )
            ],
        }
    )
    incidence = study.life.damage
    return (
        Exhibit(
            "damage",
            "What was found wrong with the seals that failed",
            "Read from the words of the work orders, and from codes where the words say nothing; a "
            "code that a site gives to most orders counts as not told. Of all failures: from none "
            "to all of the untold added. Shape: law of this damage alone, other ends as "
            "withdrawn; above 1 its rate rises with age. Hours out: from the end of the seal's "
            "life to the pump's return. Limits of shares: exact, of hours and cost by resampling, "
            f"{level_text(rules.level)}, each by itself. "
            f"{count(table['failures'].sum(), 'failure')}, "
            f"{record_span(study)}. {unknown_words(study)} {UNIT}",
            table,
            shown=shown,
            rests_on=("removals", "lives"),
        ),
        Exhibit(
            "damage-by-age",
            "Share of seals failed from each damage, by age",
            "Cumulative incidence with all causes at work (Aalen-Johansen); the lines of one age "
            "add up to the share failed. " + fit_basis(study),
            incidence.curves.rename(columns={"age": f"age_{study.fits.unit}"}),
            incidence_figure(incidence, unit=study.fits.unit, columns=1),
            alt="Share of seals failed from each kind of damage, by age.",
            rests_on=("lives",),
        ),
    )


def _three(table: pd.DataFrame, column: str, told: pd.Series[bool]) -> list[str]:
    three = zip(*(table[f"{column}{s}"] for s in _LIMITS), told, strict=True)
    return [share_interval(v, a, b) if t else "–" for v, a, b, t in three]


def _early(study: Study) -> tuple[Block, ...]:
    """Early failures by class and by the quarter fitted."""
    rules = study.settings.rules
    stretches = study.trends.early
    found = stretches.table[stretches.table["verdict"] == "more than chance"]
    points = tuple(
        f"{r['site']}: of {count(r['installs_in'], 'seal')} fitted from {r['first']:%B %Y} to "
        f"{r['last']:%B %Y}, {r['early_in']:.0f} failed early where {r['expected_in']:.1f} were to "
        f"be expected from its other months (p = {r['p']:.2g}, all stretches looked at). Ask what "
        "was different then: crew, parts, procedure, start-up."
        for r in found.to_dict("records")
    )
    if not points:
        points = ("No stretch of months stands out beyond chance at any site.",)
    blocks: list[Block] = [Points("Were seals fitted worse at some time?", points)]
    if len(stretches.quarters):
        blocks.append(
            Exhibit(
                "early-by-quarter",
                f"Failed within {rules.early_days} days, by quarter fitted",
                f"Of installations watched {rules.early_days} days or failed before. Bars: exact "
                f"limits, {level_text(rules.level)}, each quarter by itself. Dashed: all quarters "
                "of the site. Shaded: the stretch of months in which early failures crowd beyond "
                "chance, if there is one; by chance alone a site in "
                f"{1 / (1 - rules.level):.0f} would show one. Clock: calendar. Unit: one "
                "installation.",
                stretches.quarters,
                early_figure(stretches),
                alt="Share of installations that failed early, by quarter fitted and site.",
                rests_on=("lives",),
            )
        )
    table = class_table(study)
    columns = ["service_class", "installs", "early", *(f"early_share{s}" for s in _LIMITS)]
    by_class = table[columns]
    blocks.append(
        Exhibit(
            "early-by-class",
            "Early failures by class",
            f"Failed within {rules.early_days} days of fitting, of installations watched that long "
            f"or failed before. Exact limits, {level_text(rules.level)}. Clock: calendar.",
            by_class,
            shown=pd.DataFrame(
                {
                    "Class": by_class["service_class"].astype(str),
                    "Installations": [f"{n:,}" for n in by_class["installs"]],
                    "Failed early": [f"{n:,}" for n in by_class["early"]],
                    "Share": [
                        share_interval(v, a, b)
                        for v, a, b in zip(
                            *(by_class[f"early_share{s}"] for s in _LIMITS), strict=True
                        )
                    ],
                }
            ),
            rests_on=("lives",),
        )
    )
    return tuple(blocks)
