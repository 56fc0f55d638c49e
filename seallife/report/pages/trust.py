"""How far to trust this: what was found in the records, what was done, what it changes.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.records import at_risk_figure
from seallife.findings import SEVERITIES
from seallife.history import DEFINITIONS, mtbr
from seallife.history.clustering import LIMITS
from seallife.report.basis import UNIT, group_row, record_span
from seallife.report.classtable import fit_years
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import cell, count, interval, level_text, number, share
from seallife.report.grade import GRADE_RULE, grade_records
from seallife.report.tables import inputs_table, settings_table, versions
from seallife.report.worklist import findings_by_check

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build"]


def build(study: Study) -> tuple[Block, ...]:
    """What was found in the records, what was done about it, and what would change the figures?"""
    grade = grade_records(study)
    return (
        Text(grade.sentence, strong=True),
        Exhibit(
            "grade",
            "Grade of the records",
            f"{GRADE_RULE} The grade speaks of the records, not of the plant.",
            grade.table,
            shown=_shown_grade(grade.table),
            rests_on=("removals", "lives"),
        ),
        _findings(study),
        *_corrections(study),
        _plain(
            "waterfall-table",
            "From records to failures",
            "The same steps as on the first page.",
            study.removals.waterfall.rename(columns={"step": "Step", "kind": "Kind"}),
            {"count": "Count"},
        ),
        _plain(
            "ledger",
            "Where every record went",
            "At each stage: read = used + set aside. What was set aside is among the findings.",
            study.ledger,
            {
                "stage": "Stage",
                "unit": "What is counted",
                "read": "Read",
                "used": "Used",
                "set_aside": "Set aside",
                "note": "Note",
            },
        ),
        _at_risk(study),
        _sensitivity(study),
        _rules(study),
        _hours(study),
        _plain(
            "settings",
            "Settings used",
            "Choices that move figures, from fleet.toml or our defaults.",
            settings_table(study),
            {"setting": "Setting", "value": "Value", "meaning": "Meaning"},
        ),
        _inputs(study),
        Points(
            "Definitions",
            (*(f"{k}: {v}." for k, v in DEFINITIONS.items()), f"Limits: {LIMITS}.", UNIT),
        ),
        Text(f"Made with {versions()}."),
    )


def _plain(
    name: str, title: str, caption: str, table: pd.DataFrame, heads: dict[str, str]
) -> Exhibit:
    """Return a table shown as it is, with readable heads."""
    shown = table.rename(columns=heads).map(cell)
    return Exhibit(name, title, caption, table, shown=shown)


def _shown_grade(table: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Measure": table["measure"],
            "So many": [f"{n:,}" for n in table["good"]],
            "of": [f"{n:,}" for n in table["counted"]],
            "Share": [share(s) if np.isfinite(s) else "none to count" for s in table["share"]],
            "Grade": table["grade"],
            "What would raise it": table["mend"],
        }
    )


def _findings(study: Study) -> Exhibit:
    """Findings counted by check, each with one example."""
    table = findings_by_check(study.findings)
    shown = pd.DataFrame(
        {
            "Check": table["check"],
            "Weight": table["severity"],
            "Findings": [f"{n:,}" for n in table["records"]],
            "Set aside": [f"{n:,}" for n in table["set_aside"]],
            "What was done": table["action"],
            "Example": table["example_record"] + ": " + table["example"],
        }
    )
    told = "; ".join(f"{k}: {v}" for k, v in SEVERITIES.items())
    return Exhibit(
        "findings-by-check",
        "What was found in the records",
        f"{len(study.findings):,} findings in {len(table):,} checks. Weight: {told}. All findings "
        "stand one by one in the table 'findings'.",
        table,
        shown=shown,
        rests_on=("findings",),
    )


def _corrections(study: Study) -> tuple[Exhibit, ...]:
    """What the site set by hand, used or not; nothing where it set nothing."""
    table = study.fleet.overrides
    if table.empty:
        return ()
    heads = {"record_id": "Record", "used": "Used", "message": "What was set, and why"}
    return (
        Exhibit(
            "corrections",
            "Corrected by hand",
            f"{count(int(table['used'].sum()), 'correction')} in use of {len(table):,} in "
            "overrides.csv. They are not in the site's exports; every figure rests on the records "
            "as corrected.",
            table,
            shown=table[list(heads)].rename(columns=heads).map(cell),
            rests_on=("findings",),
        ),
    )


def _at_risk(study: Study) -> Exhibit:
    sites = group_row(study.history.monthly, "site")
    return Exhibit(
        "at-risk",
        "Seal positions at risk and on record",
        "Time at risk of the month over its days: a dip to zero is a gap in the records. "
        f"{record_span(study)}. {UNIT}",
        sites[["group", "month", "exposure_years", "exposure_h"]],
        at_risk_figure(sites),
        alt=f"Positions at risk by month for {sites['group'].nunique()} sites.",
    )


def _sensitivity(study: Study) -> Exhibit:
    """The same figures with removals of unknown reason taken the other way."""
    level = study.history.level
    rates = group_row(study.history.overall, "service_class")
    whole = group_row(study.history.overall).assign(group="whole fleet")
    rates = pd.concat([whole, rates], ignore_index=True)
    sign = -1 if study.history.unknown_as == "failed" else 1
    other = mtbr(
        rates["exposure_years"],
        rates["failures"] + sign * rates["unknown"],
        level=level,
        dispersion=rates["mtbf_dispersion"],
    )
    table = pd.DataFrame(
        {
            "group": rates["group"],
            "unknown": rates["unknown"],
            **{f"mtbf_years{s}": rates[f"mtbf_years{s}"] for s in ("", "_low", "_high")},
            "other_mtbf_years": other["mean_time"],
            "other_mtbf_years_low": other["low"],
            "other_mtbf_years_high": other["high"],
        }
    )
    columns = [f"{stem}{s}" for stem in ("shape", "b10_years") for s in ("", "_low", "_high")]
    columns += ["no_fit"]
    for fits, prefix in ((study.fits, ""), (study.life.fits_other, "other_")):
        part = fit_years(fits).set_index("service_class")[columns].add_prefix(prefix)
        table = table.join(part, on="group")
    used, turned = ("failures", "withdrawn") if sign < 0 else ("withdrawn", "failures")
    shown: dict[str, list[str]] = {
        "Group": table["group"].astype(str).tolist(),
        "Reason unknown": [f"{n:,}" for n in table["unknown"]],
    }
    life = "run y" if study.fits.unit == "h" else "calendar y"
    heads = (("mtbf_years", "MTBF, calendar y"), ("shape", "Shape"), ("b10_years", f"B10, {life}"))
    for stem, head in heads:
        for prefix, word in (("", used), ("other_", turned)):
            column = prefix + stem
            three = (table[column], table[f"{column}_low"], table[f"{column}_high"])
            places = 2 if stem == "shape" else None
            texts = [interval(v, a, b, decimals=places) for v, a, b in zip(*three, strict=True)]
            if stem != "mtbf_years":
                texts = _by_age(table, prefix, texts)
            shown[f"{head}: as {word}"] = texts
    return Exhibit(
        "sensitivity",
        "What unknown reasons change",
        f"Removals of unknown reason count as {used} everywhere else in these pages; here both "
        f"ways stand side by side. The truth lies between. Level {level_text(level)}. {UNIT}",
        table,
        shown=pd.DataFrame(shown),
        rests_on=("lives", "removals"),
    )


def _by_age(table: pd.DataFrame, prefix: str, texts: list[str]) -> list[str]:
    """Figures of fits, words where there is none; nothing for the fleet, which has no fit."""
    words = table[f"{prefix}no_fit"].fillna("no lives")
    three = zip(table["group"], words, texts, strict=True)
    return ["–" if group == "whole fleet" else word or text for group, word, text in three]


def _rules(study: Study) -> Exhibit:
    rules = study.classes.rules
    decided = study.classes.table
    by_hand = int((decided["why"] == "set by hand in the register").sum())
    none = int((decided["why"] == "no rule fits").sum())
    unsure = int((~decided["sure"]).sum())
    shown = pd.DataFrame(
        {
            "Rule": rules["order"].map("{}".format),
            "Class": rules["service_class"],
            "Because": rules["why"],
            "Positions decided": [f"{n:,}" for n in rules["positions"]],
        }
    )
    return Exhibit(
        "class-rules",
        "Rules that decided the service class",
        f"Read from the top; the first that fits decides. {by_hand:,} positions were set by hand "
        f"in the register whatever the rules say, no rule fitted {none:,}, and {unsure:,} lack a "
        "value that a rule higher up wanted.",
        rules,
        shown=shown,
    )


def _hours(study: Study) -> Exhibit:
    """Where run hours come from."""
    lives = study.lives.table
    metered = (lives["metered"] * lives["hours"]).groupby(lives["hours_from"]).sum()
    by = lives.groupby("hours_from")
    table = by.agg(
        positions=("position_id", "nunique"), lives=("life_id", "size"), hours=("hours", "sum")
    )
    table["metered_share"] = metered / table["hours"].where(table["hours"] > 0)
    table = table.reset_index()
    shown = pd.DataFrame(
        {
            "Run hours from": table["hours_from"],
            "Positions": [f"{n:,}" for n in table["positions"]],
            "Lives": [f"{n:,}" for n in table["lives"]],
            "Run hours": [number(h, 0) for h in table["hours"]],
            "seen by a meter": [share(s) for s in table["metered_share"]],
        }
    )
    return Exhibit(
        "hours-from",
        "Where run hours come from",
        "Meter: the pump's own readings where they can be believed, its usual share of time run "
        "between them. Duty share and duty word: from the register; ages of such seals are only "
        "as good as that entry.",
        table,
        shown=shown,
        rests_on=("lives",),
    )


def _inputs(study: Study) -> Exhibit:
    table = inputs_table(study)
    shown = pd.DataFrame(
        {
            "File": table["file"],
            "Table": table["table"],
            "Rows": [f"{n:,}" for n in table["rows"]],
            "Encoding": table["encoding"],
            "SHA-256 (begins)": [str(s)[:16] for s in table["sha256"]],
        }
    )
    return Exhibit(
        "inputs",
        "Files read",
        "The whole SHA-256 stands in the table 'inputs': the same sums mean the same files.",
        table,
        shown=shown,
    )
