"""What a person has to decide, with what each record says beside it.

In: `Study`. Out: tables and the text of ``seallife check``. Next: `seallife.report.check`,
`seallife.report.pages`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.findings import SEVERITIES
from seallife.intake.byhand import HAND_SET, overridable
from seallife.intake.overrides import OVERRIDE_COLUMNS
from seallife.report.format import count
from seallife.schema import TABLES, Column

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = [
    "FILL_IN",
    "check_text",
    "columns_by_hand",
    "findings_by_check",
    "waterfall_lines",
    "weightiest_first",
    "worklist",
]

FILL_IN = OVERRIDE_COLUMNS[1:]
"""Columns of the worklist that a person fills in."""

_NEEDS_A_PERSON = ("ask", "doubt")
_WEIGHTS = tuple(SEVERITIES)[::-1]
_SAYS = {
    "positions": ("fluid", "service_text"),
    "work_orders": ("short_text", "long_text"),
    "removals": ("reason", "cause"),
    "run_hours": ("reading", "kind"),
    "leak_readings": ("value", "unit", "method"),
    "stores": ("description",),
    "changes": ("what", "from_state", "to_state"),
    "outages": ("site", "kind"),
}
"""Columns that tell a reader what a record is about."""
_DATES = {"date_raised": "raised", "malfunction_start": "fault seen"}
_NAMED_BY = ("tag", "position_id", "material_no", "unit")
_WIDTH = 80
_MOST_NOTES = 10


def weightiest_first(findings: pd.DataFrame) -> pd.DataFrame:
    """Order findings: what a person must decide, what is in doubt, what was noted."""
    rank = findings["severity"].map({s: i for i, s in enumerate(_WEIGHTS)}).fillna(len(_WEIGHTS))
    return findings.iloc[rank.to_numpy().argsort(kind="stable")].reset_index(drop=True)


def findings_by_check(findings: pd.DataFrame) -> pd.DataFrame:
    """How often was each fault found, and what is one example?

    Returns
    -------
    pandas.DataFrame
        severity, check, records, set_aside, action, example_record, example; the weightiest and
        most frequent first.
    """
    by = findings.groupby(["severity", "check"], sort=True)
    table = by.agg(
        records=("record_id", "size"),
        set_aside=("set_aside", "sum"),
        action=("action", "first"),
        example_record=("record_id", "first"),
        example=("message", "first"),
    ).reset_index()
    table["set_aside"] = table["set_aside"].astype(int)
    table = table.sort_values(["records", "check"], ascending=[False, True], kind="stable")
    return weightiest_first(table)


def worklist(study: Study) -> pd.DataFrame:
    """Which findings need a person, and what do their records say?

    Corrections in use stand at the end, and those that could not be used among the findings,
    filled in as they are: the columns of ``overrides.csv`` are a whole file at any time.

    Returns
    -------
    pandas.DataFrame
        weight, check, tag, dates, text, finding, can set, `FILL_IN` (empty), record_id, file,
        row (a number where the finding is about one record).
    """
    findings = study.findings
    # A correction that could not be used comes back below, as it was filled in.
    mine = findings["severity"].isin(_NEEDS_A_PERSON) & (findings["check"] != "correction not used")
    asked = weightiest_first(findings[mine])
    rows = pd.DataFrame(
        {
            "weight": asked["severity"],
            "check": asked["check"],
            "finding": asked["message"],
            "can set": [
                _can_set(record, column)
                for record, column in zip(asked["record_id"], asked["column"], strict=True)
            ],
            **dict.fromkeys(FILL_IN, ""),
            "record_id": asked["record_id"],
        }
    )
    out = pd.concat([*_corrections(study), rows], ignore_index=True)
    out = weightiest_first(out.rename(columns={"weight": "severity"}))
    out = out.rename(columns={"severity": "weight"})
    place = out["record_id"].str.extract(r"^[^:]*:(?P<file>.*?)(?::(?P<row>\d+))?$")
    row = place["row"].map(lambda r: int(r) if isinstance(r, str) else None)
    out = out.assign(file=place["file"].fillna(""), row=pd.Series(list(row), dtype=object))
    out = out.join(_what_rows_say(study, out["record_id"]), on="record_id")
    said = ["tag", "dates", "text"]
    out[said] = out[said].fillna("")
    return out[
        ["weight", "check", *said, "finding", "can set", *FILL_IN, "record_id", "file", "row"]
    ]


def _corrections(study: Study) -> Iterator[pd.DataFrame]:
    """Corrections of the site as rows of the worklist."""
    corrections = study.fleet.overrides
    for used, weight, check in (
        (False, "ask", "correction not used"),
        (True, "in use", "corrected by hand"),
    ):
        rows = corrections[corrections["used"] == used]
        yield rows[list(OVERRIDE_COLUMNS)].assign(
            weight=weight, check=check, finding=rows["message"], **{"can set": ""}
        )


def _can_set(record_id: str, column: str) -> str:
    """Name the column a finding is about, where a correction may set it."""
    table = record_id.split(":")[0]
    if table not in TABLES or not record_id.rpartition(":")[2].isdigit():
        return ""
    columns = overridable(table)
    column = column if column in columns else "kind" if table in HAND_SET else ""
    found = columns.get(column)
    if found is None:
        return ""
    return f"{column}: {', '.join(found.choices)}" if found.choices else column


def _what_rows_say(study: Study, record_ids: pd.Series) -> pd.DataFrame:
    """Tag, dates and text of records, by record_id."""
    parts = []
    for name, table in study.fleet.tables.items():
        rows = table[table["record_id"].isin(record_ids)].set_index("record_id")
        if rows.empty:
            continue
        tag = pd.Series("", index=rows.index, dtype=object)
        for column in _NAMED_BY:
            if column in rows:
                tag = tag.where(tag != "", rows[column])
        if "seal_end" in rows:
            tag = (tag + " " + rows["seal_end"]).str.strip()
        dates = [c.name for c in TABLES[name].columns if c.kind == "date" and c.name != "closed"]
        when = _joined(rows, dates, named=True)
        if "closed" in rows:  # on paper only: said where there is no other date
            when = when.where(when != "", _joined(rows, ["closed"], named=True))
        text = _joined(rows, _SAYS[name], named=False)
        parts.append(pd.DataFrame({"tag": tag, "dates": when, "text": text}))
    return pd.concat(parts) if parts else pd.DataFrame(columns=["tag", "dates", "text"])


def _joined(rows: pd.DataFrame, columns: Iterable[str], *, named: bool) -> pd.Series:
    """Put the given values of each row into one text."""
    out = pd.Series("", index=rows.index, dtype=object)
    for column in columns:
        head = f"{_DATES.get(column, column.replace('_', ' '))} " if named else ""
        text = rows[column].map(_text)
        text = text.where(text == "", head + text)
        between = np.where((out != "") & (text != ""), "; ", "")
        out = out + between + text
    return out


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    if pd.isna(value):  # type: ignore[call-overload]
        return ""
    return f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else f"{value:.10g}"


def columns_by_hand() -> pd.DataFrame:
    """What may stand under ``column`` and ``value``, for which table?"""
    rows = [(table, name, c) for table in TABLES for name, c in _hand_first(table)]
    return pd.DataFrame(
        {
            "table": [table for table, _, _ in rows],
            "column": [name for _, name, _ in rows],
            "value": [_value_words(c) for _, _, c in rows],
            "unit": [c.unit for _, _, c in rows],
            "meaning": [c.meaning for _, _, c in rows],
        }
    )


def _hand_first(table: str) -> list[tuple[str, Column]]:
    """Columns that only a person can set come first: nobody would look for them."""
    only = HAND_SET.get(table, {})
    return [*only.items(), *((n, c) for n, c in overridable(table).items() if n not in only)]


def _value_words(column: Column) -> str:
    if column.choices:
        return ", ".join(column.choices)
    return {"date": "a date as 2024-01-31", "number": "a number"}.get(column.kind, "any text")


def waterfall_lines(waterfall: pd.DataFrame) -> list[tuple[str, str]]:
    """Steps from records to failures with signed counts; what left stands further in."""
    sign = {"total": "", "loss": "-", "gain": "+"}
    return [
        (f"{'' if kind == 'total' else '  '}{step}", f"{sign[kind] if n else ''}{n:,}")
        for step, kind, n in waterfall.itertuples(index=False, name=None)
    ]


def check_text(study: Study) -> str:
    """What is to be said on a terminal of 80 columns about the records?"""
    steps = waterfall_lines(study.removals.waterfall)
    width = max(len(step) for step, _ in steps) + 2
    numbers = max(len(n) for _, n in steps)
    lines = [f"{study.settings.name}: what became of the records", ""]
    lines += [f"  {step:<{width}}{n:>{numbers}}" for step, n in steps]
    table = findings_by_check(study.findings)
    digits = max((len(f"{n:,}") for n in table["records"]), default=1)
    for weight in _WEIGHTS:
        checks = table[table["severity"] == weight]
        if checks.empty:
            continue
        total = count(checks["records"].sum(), "finding")
        lines += ["", f"{weight}: {SEVERITIES[weight]} ({total})"]
        shown = checks.head(_MOST_NOTES) if weight == "note" else checks
        for c in shown.itertuples():
            lines.append(f"  {c.records:>{digits},}  {c.check}")
            inset = " " * (digits + 4)
            lines.append(inset + _cut(str(c.example_record), _WIDTH - len(inset)))
            if weight == "ask":
                lines += textwrap.wrap(
                    str(c.example), _WIDTH, initial_indent=inset, subsequent_indent=inset
                )
        left = len(checks) - len(shown)
        if left:
            lines.append(f"  {'':>{digits}}  and {count(left, 'more check')} of this kind")
    return "\n".join(lines)


def _cut(text: str, most: int) -> str:
    """Leave out the middle of a name that is too long for its line."""
    if len(text) <= most:
        return text
    tail = (most - 3) * 2 // 3
    return f"{text[: most - 3 - tail]}...{text[-tail:]}"
