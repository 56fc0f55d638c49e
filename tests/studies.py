"""Studies that tests of figures and reports share."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import fleets
from builders import fleet_of

from seallife.intake import read_fleet
from seallife.study import Study, run_study

HOSTILE = "<img src=x onerror=alert(1)>"
POSITION = {
    "site": "Site",
    "fluid": "water",
    "commissioned": "2016-01-31",
    "duty_share": 0.5,
}


@cache
def grids() -> Study:
    """Locomotive braking grids: two batches, 50 failures, calendar clock."""
    return run_study(read_fleet(fleets.write_braking_grids(Path(mkdtemp()))))


@cache
def two_sites() -> Study:
    """Two sites and two classes on the run-hour clock, one class with too few failures."""
    positions = [
        POSITION
        | {
            "tag": f"P-{i}",
            "site": "Site" if i % 2 else "Other",
            "service_class": "FEW" if i < 4 else "MANY",
            "unit": f"U{i % 3}",
        }
        for i in range(24)
    ]
    removals = [
        {
            "position_id": f"P-{i}",
            "date": f"20{17 + (i + k) % 9}-{1 + (5 * i + k) % 12:02d}-{1 + (7 * i) % 28:02d}",
            "reason": ("seal failed", "planned by age", "seal failed", "unknown")[(i + k) % 4],
        }
        for i in range(2, 24)
        for k in ((0, 3) if i >= 4 else (4 - i,))
    ]
    windows = [
        {"site": s, "start": "2016-01-01", "end": "2025-12-31", "gaps": g}
        for s, g in (("Site", []), ("Other", [("2020-03-01", "2020-05-31")]))
    ]
    fleet = fleet_of(positions, removals=removals)
    settings = fleet.settings.model_validate(fleet.settings.model_dump() | {"windows": windows})
    return run_study(replace(fleet, settings=settings))


@cache
def no_failures() -> Study:
    """Eight positions, ten years, nothing ever removed."""
    rows = [POSITION | {"tag": f"P-{i}"} for i in range(8)]
    return run_study(fleet_of(rows, removals=[]))


@cache
def one_position() -> Study:
    """One position with one failure."""
    removal = {"position_id": "P-1", "date": "2018-03-03", "reason": "seal failed"}
    return run_study(fleet_of([POSITION | {"tag": "P-1"}], removals=[removal]))


@cache
def seven_months() -> Study:
    """Records too short for a rolling year."""
    rows = [POSITION | {"tag": f"P-{i}"} for i in range(3)]
    return run_study(fleet_of(rows, start="2025-06-01", removals=[]))


@cache
def hostile() -> Study:
    """Names that are markup and formulas."""
    rows = [
        POSITION
        | {
            "tag": f"=P-{i}",
            "service_class": HOSTILE if i % 2 else "</script><b>",
            "unit": "&\"'<u>",
        }
        for i in range(8)
    ]
    removals = [
        {
            "position_id": f"=P-{i}",
            "date": f"2018-03-{i + 1:02d}",
            "reason": "seal failed",
            "cause": "=cmd()",
            "serial_out": "@x",
        }
        for i in range(8)
    ]
    return run_study(fleet_of(rows, removals=removals))
