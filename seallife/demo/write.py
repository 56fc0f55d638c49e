"""Write the invented fleet to a folder: raw exports, settings, and the truth beside them.

In: a seed. Out: a fleet folder. Next: the package reads it like any other site.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.defects import ORDER_DEFECTS, plant
from seallife.demo.export import csv_bytes, source_rows, xlsx_bytes
from seallife.demo.leaks import leak_readings
from seallife.demo.ledger import truth_files
from seallife.demo.meters import meter_readings
from seallife.demo.orders import Order, day, other_orders, removal_orders
from seallife.demo.register import site_register, true_register
from seallife.demo.simulate import TrueFleet, simulate_fleet
from seallife.demo.stores import changes, issues, leak_limits, outages, spoil_stock, stock
from seallife.demo.tools import each, load_toml
from seallife.errors import InputError

__all__ = ["DemoTables", "demo_tables", "write_demo"]

_MONTH_FIRST_FILE, _MONTH_FIRST_ROWS = "work_orders_skarrow_2019_contractor.csv", 140
_DATE_STYLE = {
    "register_skarrow.csv": "slash",
    "register_merrowfen_boiler.csv": "dot",
    "register_merrowfen_ash_water.csv": "dot",
    "work_orders_skarrow_2016_2018.csv": "slash",
    "work_orders_skarrow_2019_2022.csv": "slash",
    _MONTH_FIRST_FILE: "month first",
    "work_orders_merrowfen_2017_2020.csv": "dot",
}
# Our word -> the site's code; where two sites differ, the site decides.
_CODES: dict[str, dict[str, dict[str, str]]] = {
    sc.SKARROW: {
        "wo_type": {
            "corrective": "FIX",
            "planned": "PLAN",
            "project": "PROJ",
            "inspection": "LOOK",
        },
        "status": {"done": "Done", "open": "Open", "cancelled": "Void"}
        | {"in use": "In use", "retired": "Retired"},
        "duty": {"running": "Running", "standby": "Standby", "alternating": "Alternating"},
        "flag": {"below detection": "ND", "above scale": "OVER"},
    },
    sc.MERROWFEN: {
        "wo_type": {"corrective": "BD", "planned": "PL", "project": "MOD", "inspection": "CHK"},
        "status": {"done": "C", "open": "O", "cancelled": "X"}
        | {"in use": "In use", "retired": "Retired"},
        "seal_end": {"DE": "CE", "NDE": "FE"},
        "duty": {"running": "Main", "standby": "Spare", "alternating": "Shared"},
    },
    "": {
        "flag": {"below detection": "ND", "above scale": "OVER"},
        "kind": {"cumulative": "total", "period": "month"},
    },
}


@dataclass(frozen=True)
class DemoTables:
    """Everything that is written: the exports by file, and what is true.

    Attributes
    ----------
    fleet : TrueFleet
        The true lives.
    register : DataFrame
        True register.
    tables : dict
        File name -> table in our column names and units, in the order of its rows.
    orders : dict
        Work-order file -> its orders, row by row.
    faults : dict
        Fault -> positions, tags or number of rows that have it.
    """

    fleet: TrueFleet
    register: pd.DataFrame
    tables: dict[str, pd.DataFrame]
    orders: dict[str, list[Order]]
    faults: dict[str, Any]


def _order_file(order: Order) -> str:
    """File in which an order is exported."""
    if order.site == sc.MERROWFEN:
        old = order.filed < sc.GAP[0]
        return f"work_orders_merrowfen_{'2017_2020' if old else '2020_2025'}.csv"
    periods = {2018: "2016_2018", 2022: "2019_2022"}
    last = next((p for year, p in periods.items() if order.filed.year <= year), "2023_2025")
    return f"work_orders_skarrow_{last}.csv"


def _split(orders: list[Order]) -> dict[str, list[Order]]:
    """Orders by file; 140 of Skarrow Point's in a row come from the contractor."""
    out: dict[str, list[Order]] = {}
    contractor = 0
    for order in orders:
        name = _order_file(order)
        in_time = order.site == sc.SKARROW and order.filed >= date(2019, 3, 1)
        if in_time and contractor < _MONTH_FIRST_ROWS:
            name, contractor = _MONTH_FIRST_FILE, contractor + 1
        out.setdefault(name, []).append(order)
    return out


def demo_tables(seed: int = sc.DEFAULT_SEED) -> DemoTables:
    """What do the records and the truth of the invented fleet hold?

    Examples
    --------
    >>> tables = demo_tables().tables
    >>> len(tables["work_orders_skarrow_2019_contractor.csv"])
    140
    """
    fleet = simulate_fleet(seed)
    register = true_register(fleet)
    seen, register_faults = site_register(fleet, register)
    faults: dict[str, Any] = dict(register_faults)
    removals = removal_orders(fleet, register)
    begin = sc.day_number(sc.WINDOWS[sc.SKARROW][0])
    pumps = each(register.drop_duplicates("tag"))
    orders = plant(
        removals + other_orders(fleet, register, removals),
        seed,
        {p.tag for p in pumps},
        {p.tag: day(p.first_start_d) for p in pumps if p.first_start_d > begin},
        {p.tag: day(p.retired_d) for p in pumps if p.retired_d < 1e5},
    )
    by_file = _split(orders)
    meters, meter_faults = meter_readings(fleet)
    readings = leak_readings(fleet)
    ash = seen["position_id"].isin(faults["gauge or absolute open"])
    at_merrowfen = seen["site"] == sc.MERROWFEN
    stores, stock_faults = spoil_stock(stock(fleet, register, orders), seed)
    tables = {
        "register_skarrow.csv": seen[~at_merrowfen],
        "register_merrowfen_boiler.csv": seen[at_merrowfen & ~ash],
        "register_merrowfen_ash_water.csv": seen[ash],
        **{name: _order_table(rows) for name, rows in sorted(by_file.items())},
        "run_hours.csv": meters,
        "leak_readings.csv": readings,
        "stores.xlsx": stores,
        "changes.csv": changes(fleet, register, orders),
        "leak_limits.csv": leak_limits(),
        "outages.csv": outages(),
    }
    counted = Counter(d for o in orders for d in o.defects)
    faults |= meter_faults | stock_faults
    faults |= {f: int((readings["defect"] == f).sum()) for f in readings["defect"].unique() if f}
    faults |= {f: counted[f] for f in (*ORDER_DEFECTS, "stock issue reversed")}
    return DemoTables(fleet, register, tables, by_file, faults)


def _order_table(orders: list[Order]) -> pd.DataFrame:
    """Columns of work_orders; object columns, because planted dates run from 1900 to 9999."""
    columns = load_toml("fleet.toml")["sources"][3]["columns"]
    return pd.DataFrame(
        {c: pd.Series([getattr(o, c) for o in orders], dtype=object) for c in columns}
    )


def _exports(demo: DemoTables) -> Iterable[tuple[str, bytes]]:
    """Name and bytes of each export, as ``fleet.toml`` describes it."""
    for source in load_toml("fleet.toml")["sources"]:
        codes = _CODES[source.get("constants", {}).get("site", "")]
        for name in source["files"]:
            header, rows = source_rows(demo.tables[name], source, codes)
            if name.endswith(".xlsx"):
                drawn = issues([o for orders in demo.orders.values() for o in orders])
                yield (
                    name,
                    xlsx_bytes(
                        {
                            "Stock": (header, rows),
                            "Issues": ([str(c) for c in drawn], drawn.to_numpy(object).tolist()),
                        }
                    ),
                )
                continue
            yield (
                name,
                csv_bytes(
                    header,
                    rows,
                    style=_DATE_STYLE.get(name, "iso"),
                    separator=source.get("separator", ","),
                    decimal=source.get("decimal", "."),
                    encoding=source["encoding"],
                ),
            )


def _readme(demo: DemoTables) -> str:
    """The page that says what is wrong with the data."""
    listed = [*ORDER_DEFECTS, "stock issue reversed"]
    rows = "\n".join(f"| {fault} | {demo.faults[fault]} |" for fault in listed)
    text: str = load_toml("readme.toml")["text"]
    return text.lstrip("\n").format(
        seed=demo.fleet.seed,
        positions=len(demo.register),
        pumps=demo.register["tag"].nunique(),
        faults=f"| Fault | Rows |\n|---|---|\n{rows}",
    )


def write_demo(folder: str | Path, seed: int = sc.DEFAULT_SEED) -> DemoTables:
    """Where is a fleet folder to try things on?

    Parameters
    ----------
    folder : str or path
        Made if missing. An earlier invented fleet there is overwritten; a folder with anything
        else in it is refused.
    seed : int
        Same seed, same bytes.

    Returns
    -------
    DemoTables
        What was written, with the truth.

    Raises
    ------
    InputError
        The folder holds files of another kind: they could be a real fleet's.
    """
    target = Path(folder)
    if target.is_dir() and any(target.iterdir()) and not (target / "truth/truth.toml").is_file():
        raise InputError(
            "the folder is not empty and holds no invented fleet",
            where=str(folder),
            hint="name a new folder, so that nothing of yours is overwritten",
        )
    demo = demo_tables(seed)
    (target / "truth").mkdir(parents=True, exist_ok=True)
    settings = files("seallife.demo").joinpath("fleet.toml").read_text(encoding="utf-8")
    parts = [("fleet.toml", settings.encode()), ("README.md", _readme(demo).encode())]
    parts += _exports(demo)
    parts += [(f"truth/{name}", content) for name, content in truth_files(demo)]
    for name, content in parts:
        (target / name).write_bytes(content)
    return demo
