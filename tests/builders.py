"""Small fleets in memory, for tests of what happens after reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from seallife.findings import no_findings
from seallife.intake import Fleet
from seallife.intake.byhand import HAND_SET
from seallife.schema import TABLES
from seallife.settings import Settings

Rows = Sequence[Mapping[str, object]]


def fleet_of(
    positions: Rows,
    *,
    start: str = "2016-01-01",
    end: str = "2025-12-31",
    gaps: Sequence[tuple[str, str]] = (),
    rules: Mapping[str, object] | None = None,
    **tables: Rows,
) -> Fleet:
    """Make a fleet from rows; each row's record id is ``table:t.csv:row``."""
    settings = Settings.model_validate(
        {
            "name": "Test fleet",
            "data_end": end,
            "windows": [{"site": "Site", "start": start, "end": end, "gaps": list(gaps)}],
            "rules": dict(rules or {}),
            "sources": [{"table": "positions", "files": ["t.csv"]}],
        }
    )
    made = {name: _table(name, rows) for name, rows in {"positions": positions, **tables}.items()}
    return Fleet(Path(), settings, made, no_findings(), pd.DataFrame())


def _table(name: str, rows: Rows) -> pd.DataFrame:
    """All columns of the schema, typed as reading types them."""
    columns: dict[str, object] = {"record_id": [f"{name}:t.csv:{i + 2}" for i in range(len(rows))]}
    for c in (*TABLES[name].columns, *HAND_SET.get(name, {}).values()):
        values = [r.get(c.name) for r in rows]
        if c.kind == "date":
            columns[c.name] = pd.to_datetime(pd.Series(values, dtype=object), format="ISO8601")
        elif c.kind == "number":
            columns[c.name] = pd.Series(values, dtype=float)
        else:
            columns[c.name] = pd.Series(["" if v is None else str(v) for v in values], dtype=object)
    if name == "positions":
        site = pd.Series(columns["site"])
        columns["site"] = site.where(site != "", "Site")
    return pd.DataFrame(columns)


def seal_order(tag: str, day: str, **more: object) -> dict[str, object]:
    """A plain corrective order on a leaking seal, done the same day."""
    return {
        "wo_no": more.pop("wo_no", f"{tag} {day}"),
        "tag": tag,
        "work_start": day,
        "work_end": day,
        "wo_type": "corrective",
        "status": "done",
        "short_text": "Mech seal leaking",
        "long_text": "Seal renewed",
        **more,
    }
