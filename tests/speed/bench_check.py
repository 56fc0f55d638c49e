"""How long does it take to read, check and consolidate 200,000 dirty work orders?

Run with ``pytest -m speed -n 0 -s tests/speed``. The orders are those of several invented fleets,
copied under other tags until there are enough, in files of some 20,000 to 50,000 rows.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from costs import QUIET_IMPORT_S, cost, reference

from seallife.demo import write_demo

pytestmark = pytest.mark.speed

SEEDS, COPIES = 5, 12
LEFT_OUT = ("stores.xlsx", "run_hours.csv", "leak_readings.csv")  # no part of a work order


def test_two_hundred_thousand_orders(tmp_path: Path) -> None:
    orders = many_fleets(tmp_path / "many")
    assert orders >= 190_000
    # A person is asked about these records, so the command ends with 1.
    seconds, memory = cost("-m", "seallife.cli", "check", str(tmp_path / "many"), repeat=1, code=1)
    print(
        f"\ncheck of {orders:,} orders {seconds:.1f} s, {seconds / reference():.1f} x imports, "
        f"{memory:.0f} MB"
    )
    # 40 s and 1,000 MB before each order told what was found wrong with the seal, each month what
    # was expected of the seals' ages
    assert seconds / reference() < 44.0 / QUIET_IMPORT_S
    assert memory < 1_100


def many_fleets(folder: Path) -> int:
    """Write one fleet folder with the orders of many; return how many orders it holds."""
    folder.mkdir()
    text: dict[str, list[str]] = {}
    settings = ""
    for seed in range(SEEDS):
        one = folder / f"seed{seed}"
        write_demo(one, seed=1_000 + seed)
        settings = (one / "fleet.toml").read_text("utf-8")
        for path in sorted(one.glob("*.csv")):
            if path.name not in LEFT_OUT:
                rows = path.read_text(_encoding(path)).splitlines()
                for copy in range(COPIES):
                    shown = f"{seed * COPIES + copy:02d}"
                    body = [_other(row, shown, path.name) for row in rows[1:]]
                    text.setdefault(path.name, rows[:1]).extend(body)
    for name, rows in text.items():
        whole = dict.fromkeys(rows) if name == "outages.csv" else rows
        (folder / name).write_text("\n".join(whole) + "\n", _encoding(Path(name)))
    parts = re.split(r"(?m)^(?=\[\[|\[rules|\[codes)", settings)
    kept = [p for p in parts if not any(name in p for name in LEFT_OUT)]
    (folder / "fleet.toml").write_text("".join(kept), "utf-8")
    return sum(len(rows) - 1 for name, rows in text.items() if name.startswith("work_orders"))


def _other(row: str, number: str, name: str) -> str:
    """Give the tags of a row, and an order's own number, another number."""
    row = re.sub(r"(?<![A-Za-z])(P|PU)-(\d{3,4})", rf"\1-{number}\2", row)
    return re.sub(r"^(\d+)", rf"{number}\1", row) if name.startswith("work_orders") else row


def _encoding(path: Path) -> str:
    if "2023_2025" in path.name:
        return "cp1252"
    return "utf-8-sig" if "merrowfen_2017" in path.name else "utf-8"
