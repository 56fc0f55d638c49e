"""Full tables of a study, as they go to the workbook and beside the pages.

In: `Study`. Out: tables by name. Next: `seallife.report.workbook`, `seallife.report.write`.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import pandas as pd

from seallife.report.classtable import class_table
from seallife.report.fulltable import FullTable
from seallife.report.sparesbook import spares_tables
from seallife.settings import Costs, Rules

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = [
    "full_tables",
    "inputs_table",
    "settings_table",
    "versions",
]


_PLACE = ("site", "unit")
_POSITION_COLUMNS = (*_PLACE, "tag", "seal_end", "pump_type", "arrangement", "duty")
"""What is the same for all lives of a position; told once."""


def full_tables(study: Study) -> Mapping[str, FullTable]:
    """Which tables stand behind the pages?"""
    fits = study.fits
    curves = fits.curves.curves.rename(columns={"group": fits.by, "age": f"age_{fits.unit}"})
    history = study.history
    # A year of one unit holds a handful of failures; its monthly counts are in 'monthly'.
    rolling = history.rolling[history.rolling["by"] != "unit"]
    about = study.register.table[["position_id", *_POSITION_COLUMNS]]
    positions = about.merge(study.classes.table, on="position_id", how="left")
    lives = study.lives.table.drop(columns=[c for c in _POSITION_COLUMNS if c not in _PLACE])
    both = [
        part.table.assign(unknown_reason_as=ended)
        for part, ended in (
            (fits, study.lives.unknown_as),
            (
                study.life.fits_other,
                "withdrawn" if study.lives.unknown_as == "failed" else "failed",
            ),
        )
    ]
    return {
        **_leakage(study),
        **spares_tables(study),
        "classes": FullTable(
            "one row a service class: all that is said about it", class_table(study)
        ),
        "fits": FullTable(
            f"Weibull fits by class, unknown reasons taken both ways; {fits.method}, "
            f"level {fits.level:g}; _h hours, _d days",
            pd.concat(both, ignore_index=True),
        ),
        "survival": FullTable(
            "share still running at set ages: Kaplan-Meier, and Weibull to compare", fits.survival
        ),
        "curves": FullTable("Kaplan-Meier steps by class with seals at risk", curves),
        "overall": FullTable("MTBR and MTBF of the whole record by group", history.overall),
        "rolling": FullTable("the same over the twelve months that end here", rolling),
        "quarters": FullTable(
            "MTBR and MTBF by quarter, on both clocks",
            _shown_windows(study.trends.windows(3, apart=True)),
        ),
        "three-years": FullTable(
            "the same over the thirty-six months that end here",
            _shown_windows(study.trends.windows(36)),
        ),
        "clustering": FullTable(
            "whether removals and failures follow each other at one pump beyond chance, by group; "
            "used: variance over mean that limits of MTBR and MTBF allow for",
            history.clustered,
        ),
        "monthly": FullTable("time at risk, removals and failures by month", history.monthly),
        "verdicts": FullTable("last twelve months against the three years before", history.recent),
        "standouts": FullTable(
            "failures of each seal position against its class",
            study.trends.standouts["position_id"].table,
        ),
        "projects": FullTable("whether each change worked", study.trends.improvements.table),
        "removals": FullTable("one row a removal, with its records", study.removals.table),
        "lives": FullTable("one row a seal life, with its records", lives),
        "findings": FullTable("what was noticed about the records", study.findings),
        "waterfall": FullTable("from records to failures", study.removals.waterfall),
        "ledger": FullTable("read = used + set aside, by stage", study.ledger),
        "positions": FullTable("what is known of each position, its class and why", positions),
        "inputs": FullTable("files read", inputs_table(study)),
        "settings": FullTable("settings used", settings_table(study)),
    }


_RISING = {
    "position_id": "position_id",
    "service_class": "service_class",
    "site": "site",
    "unit": "unit",
    "method": "method",
    "state": "state",
    "next_step": "next_step",
    "baseline": "level_before",
    "ahead_level_now": "level_now",
    "measured_in": "measured_in",
    "ahead_doubling_days": "doubling_days",
    "ahead_limit": "limit",
    "ahead_days": "days_to_limit",
    "ahead_days_low": "days_to_limit_low",
    "ahead_days_high": "days_to_limit_high",
    "ahead_status": "forecast",
    "ahead_message": "message",
}


def _leakage(study: Study) -> dict[str, FullTable]:
    """What is over a limit, first of all; what rises; what that foretold."""
    if not study.leakage.any:
        return {}
    leakage = study.leakage
    out = {}
    if len(leakage.limits):
        out["over-limits"] = FullTable(
            "every reading over a limit of the site, legal first; acted on now, whatever its "
            "probability; no record of compliance",
            leakage.exceedances.table,
        )
    rising = leakage.rising
    listed = rising.reindex(columns=list(_RISING)).rename(columns=_RISING)
    out["rising"] = FullTable(
        "seals in service whose leakage rises, with the next step; never a reason to wait", listed
    )
    record = pd.concat(
        [r.table.assign(stated_false_alarms=rate) for rate, r in leakage.records.items()]
    )
    out["alarm-record"] = FullTable(
        "failures foretold, leads and false alarms by class and stated rate", record
    )
    return out


def _shown_windows(table: pd.DataFrame) -> pd.DataFrame:
    """Windows without those of units, which hold a handful of failures."""
    return table[table["by"] != "unit"]


def inputs_table(study: Study) -> pd.DataFrame:
    """Which files were read; none where the fleet was made in memory."""
    columns = ["table", "file", "rows", "encoding", "sha256"]
    return study.fleet.inputs.reindex(columns=columns)


def settings_table(study: Study) -> pd.DataFrame:
    """Which settings moved the figures?"""
    settings, rules = study.settings, study.settings.rules
    rows = [
        ("name", settings.name, "Name of the fleet."),
        (
            "data_end",
            str(settings.data_end or "not given"),
            "Last day the exports cover.",
        ),
        ("class_rules", settings.class_rules or "our own", "File with service class rules."),
    ]
    for name, field in Rules.model_fields.items():
        value = getattr(rules, name)
        rows.append(
            (f"rules.{name}", "not given" if value is None else str(value), field.description or "")
        )
    for name, field in Costs.model_fields.items():
        value = getattr(settings.costs, name)
        told = "not given" if value in (None, "") else str(value)
        rows.append((f"costs.{name}", told, field.description or ""))
    windows = study.watched.windows
    lasts = windows["end"] - pd.Timedelta(days=1)
    for site, first, last in zip(windows["site"], windows["start"], lasts, strict=True):
        span = f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
        rows.append((f"window.{site}", span, "Days with records, first and last."))
    for w in settings.windows:
        rows += [
            (f"gap.{w.site}", f"{a:%Y-%m-%d} to {b:%Y-%m-%d}", "Days without records.")
            for a, b in w.gaps
        ]
    return pd.DataFrame(rows, columns=["setting", "value", "meaning"])


def versions() -> str:
    """Which software made this?"""
    names = ("seallife", "numpy", "scipy", "pandas")
    out = []
    for name in names:
        try:
            out.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            out.append(name)
    return ", ".join(out)
