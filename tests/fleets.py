"""Real fleets from the literature, written as fleet folders.

Both are records of parts renewed on machines in service, kept in ``tests/published`` with their
sources. Their times are days since the machine went into service; the calendar dates below are
made from them with an arbitrary first day, which moves no figure.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

PUBLISHED = Path(__file__).parent / "published"
FIRST_DAY = pd.Timestamp("1990-01-01")


def published(name: str) -> pd.DataFrame:
    """Read one of the published data sets."""
    return pd.read_csv(PUBLISHED / name)


def _date(days: pd.Series) -> pd.Series:
    return (FIRST_DAY + pd.to_timedelta(days, unit="D")).dt.strftime("%Y-%m-%d")


def _write(
    folder: Path, name: str, site: str, machines: pd.DataFrame, removals: pd.DataFrame
) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    machines.assign(start=_date(machines["start"]), end=_date(machines["end"])).to_csv(
        folder / "machines.csv", index=False
    )
    removals.assign(day=_date(removals["day"]), why="seal failed").to_csv(
        folder / "replacements.csv", index=False
    )
    last = machines["end"].max()
    (folder / "fleet.toml").write_text(
        f"""[fleet]
name = "{name}"

[[windows]]
site = "{site}"
start = {FIRST_DAY:%Y-%m-%d}
end = {FIRST_DAY + pd.Timedelta(days=int(last)):%Y-%m-%d}

[rules]
clock = "calendar"
merge_gap_days = 0

[[sources]]
table = "positions"
files = ["machines.csv"]
columns = {{ tag = "machine", commissioned = "start", retired = "end", service_class = "batch" }}
constants = {{ site = "{site}", duty_share = "1" }}

[[sources]]
table = "removals"
files = ["replacements.csv"]
columns = {{ position_id = "machine", date = "day", reason = "why" }}
constants = {{ tag = "" }}
""",
        encoding="utf-8",
    )
    return folder


def write_valve_seats(folder: Path) -> Path:
    """41 diesel engines, 48 valve seat replacements (Nelson & Doganaksoy 1989)."""
    rows = published("valve_seat.csv")
    end = rows.groupby("id", as_index=False)["time"].max()
    machines = pd.DataFrame(
        {
            "machine": "E" + end["id"].astype(str),
            "batch": "VALVE SEAT",
            "start": 0,
            "end": end["time"],
        }
    )
    events = rows[rows["status"] == 1]
    removals = pd.DataFrame({"machine": "E" + events["id"].astype(str), "day": events["time"]})
    return _write(folder, "Diesel valve seats", "Engines", machines, removals)


def write_braking_grids(folder: Path) -> Path:
    """33 locomotives, 50 braking grid replacements, two production batches (Doganaksoy 1998)."""
    rows = published("braking_grids.csv")
    by = rows.groupby("locomotive", as_index=False).agg(
        batch=("batch", "first"), start=("day1", "min"), end=("day2", "max")
    )
    machines = by.assign(
        machine="L" + by["locomotive"].astype(str), batch="BATCH " + by["batch"].astype(str)
    )
    events = rows[rows["status"] == 1]
    removals = pd.DataFrame(
        {"machine": "L" + events["locomotive"].astype(str), "day": events["day2"]}
    )
    return _write(
        folder,
        "Locomotive braking grids",
        "Locomotives",
        machines[["machine", "batch", "start", "end"]],
        removals,
    )
