"""The same records in another order, in more files or twice: every figure stays what it was.

Written over the whole road, from the files of the invented fleet to its fits and rates.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from conftest import ROOT

from seallife.intake import read_fleet
from seallife.study import Study, run_study

ORDERS = {
    "work_orders_skarrow_2019_2022.csv": "utf-8",
    "work_orders_skarrow_2023_2025.csv": "cp1252",
    "work_orders_merrowfen_2017_2020.csv": "utf-8-sig",
    "run_hours.csv": "utf-8",
    "register_skarrow.csv": "utf-8",
}
Rows = list[str]


def _shuffled(rows: Rows, rng: random.Random) -> Rows:
    return rng.sample(rows, len(rows))


def _with_copies(rows: Rows, rng: random.Random) -> Rows:
    """Copies of orders at any place; the register would be asked about, meters too."""
    return _shuffled(rows + rng.sample(rows, 40), rng)


def _rewrite(folder: Path, change: Callable[[Rows, random.Random], Rows], names: list[str]) -> None:
    rng = random.Random(7)
    for name in names:
        head, *rows = (folder / name).read_text(ORDERS[name]).splitlines()
        text = "\n".join([head, *change(rows, rng)]) + "\n"
        (folder / name).write_text(text, ORDERS[name])


def _split(folder: Path) -> None:
    """Each file becomes two; fleet.toml names both."""
    toml = (folder / "fleet.toml").read_text("utf-8")
    for name, encoding in ORDERS.items():
        head, *rows = (folder / name).read_text(encoding).splitlines()
        half = len(rows) // 2
        for part, lines in (("a", rows[:half]), ("b", rows[half:])):
            text = "\n".join([head, *lines]) + "\n"
            (folder / f"{part}_{name}").write_text(text, encoding)
        (folder / name).unlink()
        assert toml.count(f'"{name}"') == 1
        toml = toml.replace(f'"{name}"', f'"a_{name}", "b_{name}"')
    (folder / "fleet.toml").write_text(toml, "utf-8")


def _figures(study: Study) -> list[pd.DataFrame]:
    """Removals, fits and rates, without the ids that name rows of files."""
    removals = study.removals.table
    columns = [
        "position_id",
        "pump_key",
        "end",
        "end_low",
        "back",
        "reason",
        "confidence",
        "orders",
    ]
    columns += ["serial_in", "serial_out", "fitting_fault", "damage", "leak_path"]
    lives = study.lives.table.drop(
        columns=["removal_id", "start_record", "end_record", "moved_from"]
    )
    return [
        removals[columns].sort_values(columns, ignore_index=True),
        lives.sort_values(["position_id", "entry"], ignore_index=True),
        study.fits.table,
        study.life.fits_other.table,
        study.history.overall,
        study.history.recent,
    ]


@pytest.mark.parametrize("how", ["shuffled", "split", "orders twice"])
def test_no_figure_moves(how: str, demo_study: Study, tmp_path: Path) -> None:
    folder = tmp_path / "fleet"
    shutil.copytree(ROOT / "data_demo", folder, ignore=shutil.ignore_patterns("truth"))
    if how == "split":
        _split(folder)
    elif how == "shuffled":
        _rewrite(folder, _shuffled, list(ORDERS))
    else:
        _rewrite(folder, _with_copies, [n for n in ORDERS if n.startswith("work_orders")])
    study = run_study(read_fleet(folder))
    for plain, changed in zip(_figures(demo_study), _figures(study), strict=True):
        pd.testing.assert_frame_equal(plain, changed, rtol=1e-9)
    ledger = study.ledger
    assert (ledger["read"] == ledger["used"] + ledger["set_aside"]).all()
    more = 3 * 40 if how == "orders twice" else 0
    assert len(study.fleet["work_orders"]) == len(demo_study.fleet["work_orders"]) + more
    copies = (study.findings["check"] == "duplicate row").sum()
    assert copies == (demo_study.findings["check"] == "duplicate row").sum() + more
