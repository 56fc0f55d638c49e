"""Stock, dated changes and shutdowns of the invented sites.

In: `TrueFleet`, register, orders. Out: `stock`, `issues`, `changes`, `leak_limits`,
`outages`. Next: `write`.
"""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.orders import OLD_SINGLE_SEAL, Order, day
from seallife.demo.simulate import TrueFleet
from seallife.demo.stories import decoy_positions
from seallife.demo.tools import each

__all__ = ["changes", "issues", "leak_limits", "outages", "spoil_stock", "stock"]


def stock(fleet: TrueFleet, register: pd.DataFrame, orders: list[Order]) -> pd.DataFrame:
    """What lies in the stores: one row a stock item, levels set as sites do?

    Returns
    -------
    DataFrame
        Columns of ``stores`` (`seallife.schema`); ``cure_date`` as dates.
    """
    draws, delivery = Draws(fleet.seed, 14), Draws(fleet.seed, 15)
    used = Counter(
        o.part.split(" ")[0] for o in orders if o.what == "removal" and o.filed.year == 2024
    )
    rows = []
    for group, fits in register.groupby("pool"):
        pool = str(group)
        first = fits.iloc[0]
        running = fits.loc[fits["retired_d"] > 1e5, "position_id"]
        level = max(1, round(0.5 * used[pool]))
        alloy = first["service_class"] in ("CORR", "HC-HOT")
        dual = first["arrangement"] != "1"
        repairable = "cartridge" in first["seal_type"]
        cost = (2_400 + 3_900 * dual + 1_700 * alloy) * (0.8 + first["shaft_mm"] / 200)
        cure = date(2025, 12, 1) - timedelta(days=draws.between(60, 3_900))
        rows.append(
            {
                "material_no": pool,
                "description": ", ".join(
                    [first["seal_type"], f"{first['shaft_mm']:.0f} mm", first["elastomer"]]
                ),
                "on_hand": draws.between(0, level + 1),
                "on_order": draws.pick([0, 0, 0, 1, 2]),
                "stock_low": level,
                "stock_high": level + draws.pick([0, 1, 1]),
                "unit_cost": round(cost, -1),
                "lead_time_d": draws.between(30, 90) + 60 * dual + 90 * alloy,
                "repairable": "yes" if repairable else "no",
                "repair_time_d": draws.between(20, 55) if repairable else None,
                "used_on": " ".join(p for p in running if p not in sc.NO_STOCK_ITEM),
                "cure_date": date(cure.year, 3 * ((cure.month - 1) // 3) + 1, 1),
            }
        )
    rows.append(
        dict.fromkeys(rows[0])
        | {"material_no": OLD_SINGLE_SEAL, "description": "single pusher cartridge, FKM, OBSOLETE"}
        | {"on_hand": 5, "on_order": 0, "stock_low": 6, "stock_high": 8, "unit_cost": 3_100.0}
        | {"lead_time_d": 75, "repairable": "yes", "repair_time_d": 30, "used_on": ""}
        | {"cure_date": date(2016, 7, 1)}
    )
    for row in rows:
        wait = delivery.between(1, int(row["lead_time_d"]))
        row["on_order_due"] = sc.DATA_END + timedelta(days=wait) if row["on_order"] else None
    return pd.DataFrame(rows).sort_values("material_no", ignore_index=True)


def spoil_stock(true: pd.DataFrame, seed: int) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """What does the stock list lack, or have wrong?

    Returns
    -------
    stock : DataFrame
        As given, with one fault in each of five items that positions live on.
    defects : dict
        Fault -> items that have it; the obsolete item too.
    """
    out = true.copy()
    many = out.index[(out["used_on"].str.count(" ") >= 2) & (out["stock_high"] > out["stock_low"])]
    price, lead, hand, levels, confirmed = Draws(seed, 16).sample(many.tolist(), 5)
    out.loc[price, "unit_cost"] = None
    out.loc[lead, "lead_time_d"] = None
    out.loc[hand, "on_hand"] = None
    out.loc[levels, "stock_low"] = true.loc[levels, "stock_high"]
    out.loc[levels, "stock_high"] = true.loc[levels, "stock_low"]
    out.loc[confirmed, "used_on"] = str(true.loc[confirmed, "used_on"]).rpartition(" ")[0]
    faults = {
        "item without price": price,
        "item without lead time": lead,
        "item without stock": hand,
        "stock levels swapped": levels,
        "position left out of confirmed list": confirmed,
    }
    named = {fault: [str(out.loc[row, "material_no"])] for fault, row in faults.items()}
    return out, named | {"item used nowhere": out.loc[out["used_on"] == "", "material_no"].tolist()}


def issues(orders: list[Order]) -> pd.DataFrame:
    """Which seals were drawn from the store, and returned, for which order?"""
    seal = [o for o in orders if o.part[:1].isdigit() and o.what != "duplicate"]
    frame = pd.DataFrame(
        {
            "Issued": [o.work_start or o.closed for o in seal],
            "Order": [o.wo_no for o in seal],
            "Item": [o.part.split(" ")[0] for o in seal],
            "Text": [o.part for o in seal],
            "Qty": [o.part_qty for o in seal],
        }
    )
    return frame.sort_values(["Order", "Item"], ignore_index=True)


def changes(fleet: TrueFleet, register: pd.DataFrame, orders: list[Order]) -> pd.DataFrame:
    """Which dated changes does the change list know?

    Returns
    -------
    DataFrame
        Columns of ``changes`` (`seallife.schema`), sorted by date and position.
    """
    rows = []

    def add(place: str, when: date, what: str, project: str, old: str, new: str, why: str) -> None:
        rows.append(
            {"position_id": place, "date": when, "what": what, "project": project}
            | {"from_state": old, "to_state": new, "reason": why}
        )

    for place in each(register):
        if place.story == "plan 53B":
            add(
                place.position_id, day(place.converted_d), "flush plan", "Light ends barrier seals",
                "plan 11, arrangement 1", "plan 53B, arrangement 3",
                "all pumps of the section, low vapour margin",
            )  # fmt: skip
    chosen = register["position_id"].to_numpy()[decoy_positions(fleet)]
    why = "ten worst positions by failures in 2018 and 2019"
    old, new = "flush orifice 3 mm", "flush orifice 4 mm"
    for name in chosen.tolist():
        add(name, sc.DECOY_DATE, "flush plan", "Seal upgrade 2020", old, new, why)
    for order in orders:
        if "seal type changed" in order.defects and order.what == "removal" and order.back_date:
            for position in order.positions:
                add(position, order.back_date, "seal", "", "earlier seal type", "new seal type", "")
    frame = pd.DataFrame(rows)
    return frame.sort_values(["date", "position_id"], kind="stable", ignore_index=True)


def leak_limits() -> pd.DataFrame:
    """Which limits of leakage has Skarrow Point confirmed? All invented.

    Returns
    -------
    DataFrame
        Columns of ``leak_limits`` (`seallife.schema`) but those that stay empty.
    """
    permit, house = "site permit {} (invented)", "site procedure SP-17, revision {} (invented)"
    new = date(2019, 1, 1)
    rows = [
        ("", 2_000.0, "legal", date(2012, 4, 1), date(2018, 12, 31), permit.format("of 2012")),
        ("", 1_000.0, "legal", new, None, permit.format("of 2019")),
        ("", 500.0, "house", date(2012, 4, 1), None, house.format(3)),
        ("CHEM", 200.0, "house", new, None, house.format(5)),
    ]
    names = ["service_class", "limit", "kind", "valid_from", "valid_to", "citation"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(site=sc.SKARROW, method="sniffer", unit="ppm")


def outages() -> pd.DataFrame:
    """When did units stand still as planned, and when will they?"""
    rows = [
        {"site": sc.SKARROW, "unit": "", "start": start, "end": end, "kind": "turnaround"}
        for start, end in sc.OUTAGES
    ]
    rows.append(
        {"site": sc.MERROWFEN, "unit": "Feed", "start": date(2022, 5, 2), "end": date(2022, 5, 20)}
        | {"kind": "boiler inspection"}
    )
    names = ("site", "unit", "start", "end", "kind")
    rows += [dict(zip(names, coming, strict=True)) for coming in sc.COMING_OUTAGES]
    return pd.DataFrame(rows)
