"""What stands behind the line of one stock item?

In: the storeroom's sheet, seals in service. Out: hops. Next: `seallife.trace`.
"""

from __future__ import annotations

import pandas as pd

__all__ = ["item_hops"]


def item_hops(
    pool: str, sheet: pd.DataFrame, seals: pd.DataFrame, most: int
) -> list[tuple[str, str, str]]:
    """From a stock item to its record, its advice and the seals that will draw on it.

    Parameters
    ----------
    pool : str
        Name of the item.
    sheet : DataFrame
        From `seallife.spares.sheet.storeroom_sheet`.
    seals : DataFrame
        `FleetAhead.seals`.
    most : int
        Seals shown.

    Returns
    -------
    list of (what, name, text)
        Empty where there is no such item.
    """
    hops = []
    for row in sheet[sheet["pool"] == pool].to_dict("records"):
        text = (
            f"{row['description']}: {_told(row['on_hand'])} in the store, "
            f"{_told(row['on_order'])} on order, {_told(row['lead_time_d'])} d lead time"
        )
        hops.append(("stock item", row["record_id"] or pool, text))
        advice = f"{row['action']}, {_told(row['order'])} pieces. {row['why']} {row['notes']}"
        hops.append(("order", pool, " ".join(advice.split())))
        year = (
            f"{row['year_need']:.1f} seals in twelve months ({row['year_low']:.0f} to "
            f"{row['year_high']:.0f}), {row['last_year']} in the last twelve"
        )
        hops.append(("demand", pool, year))
    age = next((c for c in ("age_h", "age_d") if c in seals), "age_h")
    mine = seals[seals["pool"] == pool]
    for seal in mine.head(most).to_dict("records"):
        old = f"{seal[age]:,.0f} {age[-1]} old" if seal[age] == seal[age] else "age not known"
        text = (
            f"{seal['position_id']}: {seal['service_class']}, {old}, {seal['hours_a_day']:.1f} h "
            f"a day, position fails {seal['factor']:.2f} times as often as its class"
        )
        hops.append(("seal", str(seal["life_id"]) or "to come", text))
    if hops and len(mine) > most:
        hops.append(("seal", "...", f"{len(mine) - most} more seals draw on this item"))
    return hops


def _told(value: float) -> str:
    return f"{value:,.0f}" if value == value else "not known"
