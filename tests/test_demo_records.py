"""The raw exports hold exactly the planted faults, and the ledger knows each row."""

from __future__ import annotations

import csv
import io
import re
import time
import tomllib
import zipfile
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from seallife.demo import scenario as sc
from seallife.demo.defects import ORDER_DEFECTS
from seallife.demo.leaks import LEAK_DEFECTS
from seallife.demo.meters import METER_DEFECTS
from seallife.demo.orders import OTHER_ORDERS
from seallife.demo.tools import load_toml
from seallife.demo.write import DemoTables, demo_tables, write_demo
from seallife.schema import REASONS, TABLES

DATA = Path(__file__).parent.parent / "data_demo"
SETTINGS = tomllib.loads((DATA / "fleet.toml").read_text(encoding="utf-8"))


def _source(name: str) -> dict[str, Any]:
    return next(s for s in SETTINGS["sources"] if name in s["files"])


def _rows(name: str) -> list[dict[str, str]]:
    source = _source(name)
    text = (DATA / name).read_bytes().decode(source["encoding"])
    return list(csv.DictReader(io.StringIO(text), delimiter=source.get("separator", ",")))


@pytest.fixture(scope="module")
def demo() -> DemoTables:
    return demo_tables()


@pytest.fixture(scope="module")
def ledger() -> pd.DataFrame:
    return pd.read_csv(DATA / "truth" / "orders.csv", keep_default_na=False)


@pytest.fixture(scope="module")
def orders() -> dict[str, dict[str, str]]:
    """Record id -> row, all under our column names."""
    out = {}
    for source in SETTINGS["sources"]:
        if source["table"] == "work_orders":
            for name in source["files"]:
                for row, line in enumerate(_rows(name), start=2):
                    ours = {o: line[t] for o, t in source["columns"].items()}
                    out[f"work_orders:{name}:{row}"] = ours
    return out


def test_written_again_byte_for_byte(tmp_path: Path) -> None:
    began = time.perf_counter()
    write_demo(tmp_path)
    assert time.perf_counter() - began < 30
    written = sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file())
    shipped = sorted(p.relative_to(DATA) for p in DATA.rglob("*") if p.is_file())
    assert written == shipped
    for name in written:
        if name.suffix == ".xlsx":
            assert _cells(tmp_path / name) == _cells(DATA / name)
        else:
            assert (tmp_path / name).read_bytes() == (DATA / name).read_bytes(), name


def _cells(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    book = openpyxl.load_workbook(path)
    return {s.title: list(s.iter_rows(values_only=True)) for s in book.worksheets}


def test_another_seed_is_another_fleet_and_as_messy(demo: DemoTables) -> None:
    other = demo_tables(seed=7)
    assert not other.tables["changes.csv"].equals(demo.tables["changes.csv"])
    counts = {f: other.faults[f] for f in ORDER_DEFECTS}
    assert counts == ORDER_DEFECTS | {"serials swapped between A and B": 28}


def test_workbook_carries_no_clock_and_no_packing() -> None:
    with zipfile.ZipFile(DATA / "stores.xlsx") as book:
        assert {(i.date_time, i.compress_type) for i in book.infolist()} == {
            ((1980, 1, 1, 0, 0, 0), zipfile.ZIP_STORED)
        }
        assert b"2026-01-05T00:00:00Z" in book.read("docProps/core.xml")


def test_small_enough() -> None:
    assert sum(p.stat().st_size for p in DATA.rglob("*") if p.is_file()) < 5_000_000


def test_line_ends_are_the_same_everywhere() -> None:
    for path in DATA.rglob("*"):
        if path.suffix in {".csv", ".toml", ".md"}:
            assert b"\r" not in path.read_bytes(), path


def test_settings_fit_the_schema_and_the_files() -> None:
    named = set()
    for source in SETTINGS["sources"]:
        table = TABLES[source["table"]]
        assert set(source["columns"]) <= set(table.names)
        assert set(source.get("units", {})) <= set(source["columns"])
        given = set(source["columns"]) | set(source.get("constants", {}))
        assert {c.name for c in table.columns if c.need == "required"} <= given
        for name in source["files"]:
            named.add(name)
            if name.endswith(".xlsx"):
                header = list(_cells(DATA / name)[source["sheet"]][0])
            else:
                text = (DATA / name).read_bytes().decode(source["encoding"])
                header = next(csv.reader(io.StringIO(text), delimiter=source.get("separator", ",")))
            assert header == list(source["columns"].values()), name
    files = {p.name for p in DATA.iterdir() if p.is_file()}
    assert files == named | {"fleet.toml", "README.md"}
    tables = {s["table"] for s in SETTINGS["sources"]}
    assert tables == set(TABLES) - {"removals"}
    for column, codes in SETTINGS["codes"].items():
        assert any(
            c.name == column and c.kind == "code" for t in TABLES.values() for c in t.columns
        )
        assert codes


def test_codes_in_the_files_are_known(orders: dict[str, dict[str, str]]) -> None:
    known = SETTINGS["codes"]
    assert {o["wo_type"] for o in orders.values()} <= set(known["wo_type"])
    assert {o["status"] for o in orders.values()} <= set(known["status"])
    ends = set(known["seal_end"]) | {"DE", "NDE", ""}
    assert {o["seal_end"] for o in orders.values()} <= ends
    meters = {r["Kind"] for r in _rows("run_hours.csv")}
    assert meters == set(known["kind"])


def test_every_row_is_in_the_ledger(
    ledger: pd.DataFrame, orders: dict[str, dict[str, str]]
) -> None:
    assert ledger["record"].tolist() == sorted(
        orders, key=lambda r: (r.split(":")[1], int(r.split(":")[2]))
    )
    assert (ledger["wo_no"].astype(str) == [orders[r]["wo_no"] for r in ledger["record"]]).all()


def test_faults_are_counted(ledger: pd.DataFrame, demo: DemoTables) -> None:
    counts = Counter(d for cell in ledger["defects"] for d in cell.split(";") if d)
    expected = ORDER_DEFECTS | {"stock issue reversed": 22, "serials swapped between A and B": 28}
    assert counts == expected
    stated = tomllib.loads((DATA / "truth" / "truth.toml").read_text(encoding="utf-8"))
    assert stated["seed"] == sc.DEFAULT_SEED
    for fault, count in expected.items():
        assert stated["faults"][fault] == count
    for fault, count in METER_DEFECTS.items():
        assert len(set(stated["faults"][fault])) == count
    assert {f: stated["faults"][f] for f in LEAK_DEFECTS} == LEAK_DEFECTS
    assert len(stated["faults"]["temperature in degF"]) == 18
    assert len(stated["faults"]["pressure in psi"]) == 15
    assert len(stated["faults"]["gauge or absolute open"]) == 60
    assert len(stated["faults"]["retired but in the register"]) == 9
    kinds = ledger.loc[~ledger["defects"].str.contains("exact duplicate"), "what"].value_counts()
    assert {k: int(kinds[k]) for k in OTHER_ORDERS} == OTHER_ORDERS
    assert 1_150 <= kinds["removal"] <= 1_300


def test_ledger_agrees_with_the_lives(ledger: pd.DataFrame) -> None:
    lives = pd.read_csv(DATA / "truth" / "lives.csv", keep_default_na=False).set_index("life_id")
    removals = ledger[ledger["what"] == "removal"]
    ended = removals.assign(life=removals["lives"].str.split(";")).explode("life")
    assert ended["life"].is_unique
    assert (lives.loc[ended["life"], "end"].to_numpy() == ended["end"]).all()
    assert set(removals["reason"]) <= set(REASONS) - {"unknown"}
    assert (removals["end"] == [REASONS[r][0] for r in removals["reason"]]).all()
    one = removals[~removals["lives"].str.contains(";")]
    assert (lives.loc[one["lives"], "end_date"].to_numpy() == one["end_date"]).all()
    # Each removal in the records has its order, but for Merrowfen's gap.
    sites = pd.read_csv(DATA / "truth" / "positions.csv").set_index("position_id")["site"]
    site = sites.loc[lives["position_id"]].to_numpy()
    start = pd.Series(site, index=lives.index).map({s: str(w[0]) for s, w in sc.WINDOWS.items()})
    gap = (site == sc.MERROWFEN) & lives["end_date"].between("2020-03-01", "2020-05-31")
    due = lives[(lives["end"] != "in service") & (lives["end_date"] >= start) & ~gap]
    assert set(due.index) == set(ended["life"])


def _with(ledger: pd.DataFrame, fault: str) -> list[str]:
    return ledger.loc[ledger["defects"].str.split(";").map(lambda d: fault in d), "record"].tolist()


def test_faults_show_in_the_files(ledger: pd.DataFrame, orders: dict[str, dict[str, str]]) -> None:
    register = {r["Tag No"] for r in _rows("register_skarrow.csv")}
    for name in ("register_merrowfen_boiler.csv", "register_merrowfen_ash_water.csv"):
        register |= {r["Item"] for r in _rows(name)}
    assert len(register) == 370
    twice = set(_with(ledger, "exact duplicate"))
    for (_, before), (record, row) in pairwise(orders.items()):
        assert (before == row) == (record in twice)
    for fault in ("tag format", "tag typo", "parent tag only", "tag not in register"):
        for record in _with(ledger, fault):
            assert orders[record]["tag"] not in register, fault
    for record in _with(ledger, "tag format"):
        bare = re.sub(r"[^A-Z0-9]", "", orders[record]["tag"].upper())
        assert any(bare.endswith(re.sub(r"[^A-Z0-9]", "", t)) for t in register)
    for record in _with(ledger, "closed date only"):
        row = orders[record]
        assert row["closed"]
        assert not (
            row["date_raised"] + row["malfunction_start"] + row["work_start"] + row["work_end"]
        )
    for record in _with(ledger, "closed in a batch"):
        assert orders[record]["closed"] in ("31/12/2020", "2020-12-31")
    for record in _with(ledger, "month-only dates"):
        row = orders[record]
        assert all(not row[c] or row[c].startswith("01/") for c in ("date_raised", "work_start"))
    for record in _with(ledger, "both ends in one order"):
        assert orders[record]["seal_end"] == ""
        assert float(orders[record]["part_qty"]) == 2
        assert ledger.set_index("record").loc[record, "positions"].count(";") == 1
    for record in _with(ledger, "end missing on two-ended pump"):
        assert orders[record]["seal_end"] == ""
    for record in _with(ledger, "impossible date"):
        assert re.search("1900|9999|2031", orders[record]["work_end"])
    for record in _with(ledger, "stock issue reversed"):
        assert float(orders[record]["part_qty"].replace(",", ".")) <= 0
    known = SETTINGS["codes"]["wo_type"]
    for record in _with(ledger, "planned coded corrective"):
        assert known[orders[record]["wo_type"]] == "corrective"
    for record in _with(ledger, "corrective coded planned"):
        assert known[orders[record]["wo_type"]] == "planned"
    for record in _with(ledger, "cause defaulted to wear"):
        assert orders[record]["cause_code"] == "WEAR"


def test_month_first_file() -> None:
    rows = _rows("work_orders_skarrow_2019_contractor.csv")
    assert len(rows) == 140
    for column in ("Raised", "Leak seen", "Start", "Finish", "Closed"):
        first = [int(r[column][:2]) for r in rows if r[column]]
        second = [int(r[column][3:5]) for r in rows if r[column]]
        assert max(first) <= 12 < max(second), column


def test_encodings_and_decimal_commas() -> None:
    windows = (DATA / "work_orders_skarrow_2023_2025.csv").read_bytes()
    with pytest.raises(UnicodeDecodeError):
        windows.decode("utf-8")
    rows = _rows("work_orders_merrowfen_2017_2020.csv")
    assert any("," in r["Cost"] for r in rows)
    assert not any("." in r["Cost"] for r in rows)
    reported = pd.to_datetime([r["Reported"] for r in rows if r["Reported"]], format="%d.%m.%Y")
    assert reported.max() < pd.Timestamp("2020-03-01")


def test_texts_in_other_languages(ledger: pd.DataFrame) -> None:
    there = ledger["record"].str.contains("merrowfen")
    foreign = ledger["language"] != "en"
    assert foreign[there].mean() == pytest.approx(0.15, abs=0.025)
    assert foreign[~there].mean() == pytest.approx(0.05, abs=0.012)
    assert set(ledger["language"]) == {"en", "de", "es", "fr", "pt"}


def test_wrong_lot_shows_only_in_the_parts(orders: dict[str, dict[str, str]]) -> None:
    shown = [o for o in orders.values() if sc.LOT in o["part"]]
    assert 20 <= len(shown) <= 35
    rest = "".join(v for o in orders.values() for k, v in o.items() if k != "part")
    assert sc.LOT not in rest


def test_people_are_named_in_some_texts(orders: dict[str, dict[str, str]]) -> None:
    people = load_toml("texts.toml")["people"]
    named = sum(any(p in o["long_text"] for p in people) for o in orders.values())
    assert 30 < named < 150


def test_register_and_engineering_data(demo: DemoTables) -> None:
    register = demo.register
    assert len(register) == 420
    assert (register["two_ended"] == register["pump_type"].str.startswith("BB")).all()
    data = register.set_index("service_class")
    solids, ph = data["solids_pct"].fillna(0), data["ph"].fillna(7)
    assert (solids.loc["SLURRY"] >= 0.5).all()
    assert (solids.drop("SLURRY") < 0.5).all()
    corrosive = (ph < 3) | (ph > 12)
    assert corrosive.loc["CORR"].all()
    assert not corrosive.drop("CORR").any()
    assert (data.loc["HC-FLASH", "vapour_kpa"] > 100).all()
    for name in ("HC-HOT", "HC-GEN"):
        assert (data.loc[name, "vapour_kpa"] < 100).all()
        assert (data.loc[name, "sg"] > 0.6).all()
        assert ((data.loc[name, "temp_c"] >= 176) == (name == "HC-HOT")).all()
    assert (data.loc["BFW/HOTW", "temp_c"] >= 80).all()
    assert (data.loc["WATER", "temp_c"] < 80).all()
    assert (data.loc["OIL", "viscosity_cst"] >= 20).all()
    assert (data["chamber_kpa"] > data["vapour_kpa"]).all()
    assert (data["discharge_kpa"] >= data["chamber_kpa"]).all()
    own = {s for entry in load_toml("fluids.toml").values() for s in entry["seal"]}
    assert set(register["seal_type"]) <= own
    shared = register.groupby("pair_group")[["fluid", "temp_c", "pool", "two_ended"]].nunique()
    assert (shared.drop(columns="pool") == 1).all(axis=None)


def test_register_as_the_site_has_it() -> None:
    rows = _rows("register_skarrow.csv")
    assert sum(float(r["Temp °C"]) > 360 for r in rows) >= 10
    gone = [r for r in rows if r["Scrapped"]]
    assert len(gone) == 9
    assert {r["State"] for r in gone} == {"In use", "Retired"}
    known = sum(bool(r["Last seal change before records"]) for r in rows) / len(rows)
    assert known == pytest.approx(0.60, abs=0.08)
    assert sum(bool(r["In service since"]) for r in rows) / len(rows) == pytest.approx(
        0.9, abs=0.05
    )


def test_meters(demo: DemoTables) -> None:
    rows = demo.tables["run_hours.csv"]
    tags = demo.register["tag"].nunique()
    assert rows["tag"].nunique() == round(0.60 * tags)
    total = rows[rows["kind"] == "cumulative"]
    step = total.groupby("tag")["reading"].diff()
    days = total.groupby("tag")["reading_date"].diff().dt.days
    falling = set(total["tag"][step < 0])
    assert falling == set(demo.faults["rollover at 99,999"]) | set(demo.faults["meter replaced"])
    assert (step.dropna() <= 24 * days.dropna() + 12).all()
    still = total[step == 0].groupby("tag").size()
    assert set(demo.faults["meter stuck"]) <= set(still[still >= 3].index)
    assert rows["reading"].between(0, 200_000).all()
    duty = demo.register.drop_duplicates("tag").set_index("tag")["duty"]
    sound = total[~total["tag"].isin(falling | set(demo.faults["meter stuck"]))]
    span = sound.groupby("tag").agg({"reading": ["min", "max"], "reading_date": ["min", "max"]})
    hours = span[("reading", "max")] - span[("reading", "min")]
    share = hours / 24 / (span[("reading_date", "max")] - span[("reading_date", "min")]).dt.days
    assert abs(share / duty.loc[share.index] - 1).quantile(0.95) < 0.05


def test_stock_and_changes() -> None:
    cells = _cells(DATA / "stores.xlsx")
    stock = cells["Stock"][1:]
    items = {r[0] for r in stock}
    pools = {r["Material No"] for r in _rows("register_skarrow.csv")}
    assert pools <= items
    assert sum(r[4] < 0 for r in cells["Issues"][1:] if r[4] is not None) >= 1
    due = cells["Stock"][0].index("Due")
    assert all((r[due] is not None) == bool(r[due - 1]) for r in stock)
    changes = _rows("changes.csv")
    kinds = Counter(r["Project"] for r in changes)
    assert kinds == {"Light ends barrier seals": 24, "Seal upgrade 2020": 10, "": 11}
    assert {r["Kind"] for r in changes} == {"flush plan", "seal"}


def test_readme_names_every_file() -> None:
    text = (DATA / "README.md").read_text(encoding="utf-8")
    for path in DATA.rglob("*"):
        if path.is_file() and path.name != "README.md":
            assert path.relative_to(DATA).as_posix() in text
