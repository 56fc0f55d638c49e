"""Values of the register that look as if they were in another unit, or cannot be together.

In: `Records`. Out: findings. Nothing is repaired: a person looks it up.

Sister pumps share a duty, so that a value in the wrong unit stands to its sister's as the units do.
Where there is no sister, positions on the same fluid take her place, with less weight.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.checks.records import Records
from seallife.findings import join_findings, make_findings

__all__ = [
    "chamber_below_vapour",
    "fahrenheit_in_celsius",
    "pressures_out_of_order",
    "psi_in_bar",
    "retired_but_in_use",
]

_PSI_PER_BAR = 100.0 / 6.894757
_ATMOSPHERE_KPA = 101.325
_DEGREES = 1.5  # rounding of a temperature in degF, and a little
_RATIO_OFF = 0.04  # of the largest pressure
_SMALL_RATIO_OFF = 0.30  # of the others: whole psi at low pressure are coarse
_PEERS = 5


def fahrenheit_in_celsius(records: Records) -> pd.DataFrame:
    """Which temperatures look like degF among degC?"""
    rows = records.register.table[["position_id", "record_id", "fluid", "temp_c"]]
    pairs = _sister_pairs(records, ["temp_c"])
    fits = (pairs["temp_c"] - (1.8 * pairs["temp_c_y"] + 32.0)).abs() <= _DEGREES
    fits &= (pairs["temp_c"] - pairs["temp_c_y"]).abs() > 2 * _DEGREES
    found = pairs[fits].drop_duplicates("record_id")
    by_sister = make_findings(
        "temperature looks like degF",
        "ask",
        found["record_id"],
        [
            f"{hot:g} is in degF what its sister '{name}' has in degC ({cool:g}); look it up"
            for hot, name, cool in zip(
                found["temp_c"], found["position_id_y"], found["temp_c_y"], strict=True
            )
        ],
        column="temp_c",
        value=found["temp_c"],
        threshold="1.8 T + 32 of a sister",
        action="used as written",
    )
    with_sister = set(pairs.loc[pairs["temp_c_y"].notna(), "record_id"])
    lone = rows[rows["temp_c"].notna() & ~rows["record_id"].isin(with_sister)]
    low, high = _peer_range(rows, lone)
    turned = (lone["temp_c"] - 32.0) / 1.8
    odd = lone[(lone["temp_c"] > high + 20.0) & turned.between(low, high)]
    by_peers = make_findings(
        "temperature looks like degF",
        "doubt",
        odd["record_id"],
        "{value} lies above all others on this fluid, and among them if it were degF",
        column="temp_c",
        value=odd["temp_c"],
        action="used as written",
    )
    return join_findings([by_sister, by_peers])


def psi_in_bar(records: Records) -> pd.DataFrame:
    """Which rows have pressures that look like psi among bar?"""
    columns = ["suction_kpa", "discharge_kpa", "chamber_kpa"]
    pairs = _sister_pairs(records, columns)
    fits = pd.Series(False, index=pairs.index)
    for base in (_ATMOSPHERE_KPA, 0.0):  # written as gauge or as absolute
        off = pd.DataFrame(
            {c: ((pairs[c] - base) / (pairs[f"{c}_y"] - base)) / _PSI_PER_BAR - 1 for c in columns}
        ).abs()
        top = pairs[columns].fillna(-1.0).to_numpy().argmax(axis=1)
        of_top = off.to_numpy()[np.arange(len(off)), top]
        others = (off <= _SMALL_RATIO_OFF).sum(axis=1) >= np.minimum(off.notna().sum(axis=1), 2)
        fits |= (of_top <= _RATIO_OFF) & others
    found = pairs[fits].drop_duplicates("record_id")
    return make_findings(
        "pressures look like psi",
        "ask",
        found["record_id"],
        [
            f"pressures are 14.5 times those of the sister '{name}': psi in a column of bar? "
            "look it up"
            for name in found["position_id_y"]
        ],
        column="discharge_kpa",
        value=found["discharge_kpa"],
        threshold="14.5 times a sister's",
        action="used as written",
    )


def pressures_out_of_order(records: Records) -> pd.DataFrame:
    """Which pumps would have more pressure before than behind them?"""
    rows = records.register.table
    backwards = rows["suction_kpa"] > rows["discharge_kpa"]
    above = (rows["chamber_kpa"] > 1.02 * rows["discharge_kpa"]) & ~backwards
    return join_findings(
        [
            make_findings(
                "suction above discharge",
                "ask",
                rows.loc[backwards, "record_id"],
                "suction pressure {value} kPa lies above discharge; exchanged, or in two units?",
                column="suction_kpa",
                value=rows.loc[backwards, "suction_kpa"],
                action="used as written",
            ),
            make_findings(
                "seal chamber above discharge",
                "doubt",
                rows.loc[above, "record_id"],
                "seal chamber pressure {value} kPa lies above discharge; look at the units",
                column="chamber_kpa",
                value=rows.loc[above, "chamber_kpa"],
                action="used as written",
            ),
        ]
    )


def chamber_below_vapour(records: Records) -> pd.DataFrame:
    """Where would the liquid boil in the seal chamber, as written?"""
    rows = records.register.table
    boils = rows[rows["chamber_kpa"] < rows["vapour_kpa"]]
    mended = boils["chamber_kpa"] + _ATMOSPHERE_KPA >= boils["vapour_kpa"]
    return make_findings(
        "seal chamber below vapour pressure",
        "doubt",
        boils["record_id"],
        [
            f"seal chamber pressure {p:g} kPa lies below vapour pressure {v:g} kPa"
            + ("; an atmosphere more would mend it: gauge taken for absolute?" if m else "")
            for p, v, m in zip(boils["chamber_kpa"], boils["vapour_kpa"], mended, strict=True)
        ],
        column="chamber_kpa",
        value=boils["chamber_kpa"],
        action="used as written",
    )


def retired_but_in_use(records: Records) -> pd.DataFrame:
    """Which positions does the register call in use after the end of their use, or the reverse?"""
    rows = records.register.table
    still = rows[rows["retired"].notna() & (rows["status"] == "in use")]
    gone = rows[rows["retired"].isna() & (rows["status"] == "retired")]
    return join_findings(
        [
            make_findings(
                "retired but called in use",
                "doubt",
                still["record_id"],
                "its use ended on {value}, yet its state is in use",
                column="status",
                value=still["retired"],
                action="the date counts",
            ),
            make_findings(
                "retired without date",
                "ask",
                gone["record_id"],
                "'{value}' is called retired, and nothing says since when; give the date",
                column="retired",
                value=gone["position_id"],
                action="counted as in use to the end of data",
            ),
        ]
    )


def _sister_pairs(records: Records, columns: list[str]) -> pd.DataFrame:
    """Each position beside each other one of its set; the other's columns end in ``_y``."""
    rows = records.register.table[["position_id", "record_id", *columns]]
    rows = rows.assign(sisters=records.set_of_sisters)
    pairs = rows.merge(rows, on="sisters", suffixes=("", "_y"))
    return pairs[pairs["position_id"] != pairs["position_id_y"]].reset_index(drop=True)


def _peer_range(rows: pd.DataFrame, lone: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Lowest and highest temperature of the others on a fluid; NaN where they are too few."""
    known = rows[(rows["fluid"] != "") & rows["temp_c"].notna()].sort_values("temp_c")
    by = known.groupby("fluid")["temp_c"].agg(
        least="first",
        second=lambda t: t.iloc[1] if len(t) > 1 else np.nan,
        before=lambda t: t.iloc[-2] if len(t) > 1 else np.nan,
        most="last",
        size="size",
    )
    peers, temp = by.reindex(lone["fluid"]).set_axis(lone.index), lone["temp_c"]
    others = peers["size"] - temp.notna()
    low = peers["least"].mask(temp == peers["least"], peers["second"])
    high = peers["most"].mask(temp == peers["most"], peers["before"])
    return low.where(others >= _PEERS), high.where(others >= _PEERS)
