"""From the part on an order to the lot of the seal that then ran."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from conftest import TinyFleet

from seallife.intake import read_fleet
from seallife.intake.lots import read_lot
from seallife.life import life_factors
from seallife.study import Study, run_study


@pytest.mark.parametrize(
    ("part", "lot"),
    [
        ("71407 MECH SEAL 90MM FKM LOT EL-18-22", "EL-18-22"),
        ("Seal cartridge, lot no. 4711", "4711"),
        ("Gleitringdichtung 60 mm, Charge 88/17a", "88/17A"),
        ("garniture, lot n° B12.3", "B12.3"),
        ("sello mecánico LOTE: 2018-A", "2018-A"),
        ("tenuta LOTTO 9", "9"),
        ("afdichting partij 77-B", "77-B"),
        ("batch#X-9", "X-9"),
        ("71407 MECH SEAL 90MM FKM", ""),
        ("a lot of seals", ""),
        ("pilot valve 12", ""),
        ("slot 4 ring", ""),
        ("charge pump seal", ""),
        ("", ""),
    ],
)
def test_a_lot_stands_with_the_part(part: str, lot: str) -> None:
    assert read_lot(pd.Series([""]), pd.Series([part])).tolist() == [lot]
    assert read_lot(pd.Series(["own 1"]), pd.Series([part])).tolist() == ["OWN 1"]


def _order(no: int, day: str, **more: object) -> dict[str, object]:
    text = "Mech seal leaking, seal renewed"
    return {
        "wo_no": str(no),
        "tag": "P-101A",
        "work_start": day,
        "wo_type": "corrective",
        "short_text": text,
        "part_qty": 1,
        **more,
    }


def _study(folder: Path, tiny_fleet: TinyFleet, *orders: dict[str, object]) -> Study:
    return run_study(read_fleet(tiny_fleet(folder, work_orders=orders)))


def test_the_next_life_has_the_lot_and_the_crew(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    study = _study(
        tmp_path,
        tiny_fleet,
        _order(1, "2018-03-01", part="mech seal LOT A-1", crew="Shop North"),
        _order(2, "2019-03-01", part="mech seal", crew=""),
        _order(3, "2020-03-01", part="bearing LOT B-7", crew="Contractor 2"),
        _order(4, "2021-03-01", lot="c-3", part="mech seal", crew=""),
    )
    lives = study.lives.table.query("position_id == 'P-101A'")
    assert lives["lot"].tolist() == ["A-1", "", "", "C-3"]
    assert lives["crew"].tolist() == ["Shop North", "", "Contractor 2", ""]
    assert study.removals.table["lot"].tolist() == ["A-1", "", "", "C-3"]


def test_a_seal_drawn_and_returned_brings_no_lot(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    study = _study(
        tmp_path,
        tiny_fleet,
        _order(1, "2018-03-01", part="mech seal LOT A-1"),
        _order(1, "2018-03-01", part="mech seal LOT A-1", part_qty=-1, short_text="seal returned"),
    )
    assert (study.lives.table["lot"] == "").all()


def test_a_sites_own_list_tells_lots(tmp_path: Path, tiny_fleet: TinyFleet) -> None:
    row = {"tag": "P-101A", "date": "2019-05-31", "reason": "seal failed", "lot": "el-9"}
    folder = tiny_fleet(tmp_path, work_orders=None, removals=[row])
    lives = run_study(read_fleet(folder)).lives.table
    assert lives.query("position_id == 'P-101A'")["lot"].tolist() == ["EL-9"]


def test_small_lots_count_among_the_others() -> None:
    lives = pd.DataFrame({"position_id": "P-1", "lot": ["A"] * 10 + ["B"] * 9 + [""] * 5})
    register = pd.DataFrame({"position_id": ["P-1"]})
    got = life_factors(lives, register)
    assert got.values["lot"].value_counts().to_dict() == {"other or not told": 14, "A": 10}
    assert got["crew"]["status"] == "no column"
