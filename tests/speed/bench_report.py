"""How long the main job takes, cold, as a user starts it: ratios and peak memory.

Run with ``pytest -m speed -n 0 -s tests/speed``. Every figure is a whole process in processor
time, so that other work on the machine does not count. The reference of a ratio is a process that
only imports what the job cannot do without, measured in the same run.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from costs import DEMO, QUIET_IMPORT_S, cost, reference

pytestmark = pytest.mark.speed


def test_entering_costs_next_to_nothing() -> None:
    bare, _ = cost("-c", "pass", repeat=5)
    entry, _ = cost("-c", "import seallife", repeat=5)
    shown, _ = cost("-m", "seallife.cli", "--help", repeat=5)
    print(f"\npython {bare:.3f} s, import seallife {entry:.3f} s, --help {shown:.3f} s")
    assert entry < 0.3
    assert shown < 0.4


def test_demo_report(tmp_path: Path) -> None:
    seconds, memory = cost("-m", "seallife.cli", "report", str(DEMO), "-o", str(tmp_path), repeat=2)
    print(f"\ndemo report {seconds:.2f} s, {seconds / reference():.1f} x imports, {memory:.0f} MB")
    # 8 s while the summary held classes and rates only; causes, conditions, trends, projects since,
    # then leakage: alarms at four rates, their thresholds by simulation; then spares, and forecasts
    # of seven earlier years, each with the fleet read and studied as it stood on record
    assert seconds / reference() < 50.0 / QUIET_IMPORT_S
    assert memory < 700


def test_twenty_thousand_lives(tmp_path: Path) -> None:
    folder = big_fleet(tmp_path / "fleet", positions=5_000)
    seconds, memory = cost(
        "-m", "seallife.cli", "report", str(folder), "-o", str(tmp_path / "out"), repeat=1
    )
    print(f"\n20,000 lives {seconds:.2f} s, {seconds / reference():.1f} x imports, {memory:.0f} MB")
    # 20 s while the summary held classes and rates only; half of it are earlier years studied anew
    assert seconds / reference() < 80.0 / QUIET_IMPORT_S
    assert memory < 700


def big_fleet(folder: Path, positions: int) -> Path:
    """A fleet with work orders: ``positions`` seals, about four lives each."""
    import numpy as np

    rng = np.random.default_rng(20_000)
    folder.mkdir(parents=True)
    classes = [("Crude", 40), ("Propane", 30), ("Cooling water", 25), ("Sour water", 60)]
    with (folder / "positions.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["tag", "site", "unit", "fluid", "temp_c", "commissioned", "duty_share"])
        for i in range(positions):
            fluid, temp = classes[i % len(classes)]
            out.writerow([f"P-{i:05d}A", f"Site {i % 12}", i % 9, fluid, temp, "2016-01-01", 0.8])
    with (folder / "work_orders.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(
            ["wo_no", "tag", "work_start", "work_end", "wo_type", "short_text", "long_text"]
        )
        number = 0
        for i in range(positions):
            day = 0.0
            while (day := day + 1_500 * rng.weibull(1.4)) < 3_640:
                start = np.datetime64("2016-01-01") + int(day)
                out.writerow(
                    [
                        number,
                        f"P-{i:05d}A",
                        start,
                        start + 1,
                        "corrective",
                        f"P-{i:05d}A mech seal leaking",
                        f"Seal renewed, job {number}",
                    ]
                )
                number += 1
                day += 5
    (folder / "fleet.toml").write_text(
        '[fleet]\nname = "Big"\ndata_end = 2025-12-31\n'
        + "".join(f'[[windows]]\nsite = "Site {k}"\nstart = 2016-01-01\n' for k in range(12))
        + '[[sources]]\ntable = "positions"\nfiles = ["positions.csv"]\n'
        + '[[sources]]\ntable = "work_orders"\nfiles = ["work_orders.csv"]\n',
        encoding="utf-8",
    )
    return folder
