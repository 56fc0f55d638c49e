"""What several tests share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

from seallife.intake import read_fleet
from seallife.study import Study, run_study

ROOT = Path(__file__).parents[1]

# Machines differ in speed: a slow example is no fault. The same examples each time, so that a
# change passes or fails by itself; `pytest --hypothesis-profile=search` looks for new ones.
settings.register_profile(
    "seallife",
    deadline=None,
    max_examples=60,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "search", parent=settings.get_profile("seallife"), max_examples=600, derandomize=False
)
settings.load_profile("seallife")

Rows = Sequence[Mapping[str, Any]]

POSITIONS: Rows = (
    {"tag": "P-101A", "site": "North", "fluid": "water", "commissioned": "2015-01-31"},
    {"tag": "P-101B", "site": "North", "fluid": "water", "commissioned": "2015-01-31"},
)
WORK_ORDERS: Rows = (
    {
        "wo_no": "4711",
        "tag": "P-101A",
        "work_start": "2019-05-31",
        "wo_type": "corrective",
        "short_text": "Mech seal leaking, renewed",
    },
)


class TinyFleet(Protocol):
    """Write a fleet folder of a few rows; see `tiny_fleet`."""

    def __call__(
        self,
        folder: Path,
        positions: Rows = ...,
        work_orders: Rows | None = ...,
        removals: Rows | None = ...,
        toml_extra: str = ...,
    ) -> Path:
        """Return the folder."""


@pytest.fixture
def tiny_fleet() -> TinyFleet:
    """Write ``fleet.toml`` and one CSV a table, columns in our own names, UTF-8 and commas.

    ``work_orders`` and ``removals`` None: the table is not there; ``work_orders`` is there by
    default. ``toml_extra`` is put at the end of ``fleet.toml``.
    """

    def write(
        folder: Path,
        positions: Rows = POSITIONS,
        work_orders: Rows | None = WORK_ORDERS,
        removals: Rows | None = None,
        toml_extra: str = "",
    ) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        toml = ['[fleet]\nname = "Tiny"\ndata_end = 2025-12-31\n']
        tables = {"positions": positions, "work_orders": work_orders, "removals": removals}
        for name, rows in tables.items():
            if rows is not None:
                pd.DataFrame(list(rows)).to_csv(folder / f"{name}.csv", index=False)
                toml.append(f'[[sources]]\ntable = "{name}"\nfiles = ["{name}.csv"]\n')
        (folder / "fleet.toml").write_text("\n".join([*toml, toml_extra]), encoding="utf-8")
        return folder

    return write


@pytest.fixture(scope="session")
def demo_study() -> Study:
    """The main job on the committed demo fleet."""
    return run_study(read_fleet(ROOT / "data_demo"))
