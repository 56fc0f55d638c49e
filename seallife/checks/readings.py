"""Meters and leakage readings as a whole.

In: `Records`. Out: findings.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.checks.records import Records
from seallife.findings import join_findings, make_findings, no_findings
from seallife.register import match_tags

__all__ = [
    "jumps_of_unit",
    "no_meter",
    "pegged_readings",
    "read_on_the_day_of_change",
    "zero_readings",
]

_ZERO_SHARE = 0.005
_SCALE_TIMES = 10  # so many readings of exactly the highest value: end of a scale
_TO_PPM = {"ppm": 1.0, "ppmv": 1.0, "%": 1e4, "vol%": 1e4, "ppb": 1e-3}
_DECADES = 2  # a jump there and back by so many powers of ten


def no_meter(records: Records) -> pd.DataFrame:
    """How many pumps of each site have no hour meter that was read?"""
    raw = records.fleet["run_hours"]
    read = set(match_tags(raw["tag"], raw["site"], records.register)["pump_key"])
    by = records.pumps.assign(none=~records.pumps["pump_key"].isin(read)).groupby("site")["none"]
    counts = by.agg(["sum", "size"]).reset_index()
    found = counts[counts["sum"] > 0]
    return make_findings(
        "no hour meter",
        "note",
        found["site"],
        [
            f"{n} of {size} pumps of {site} have no meter readings; their hours are from duty"
            for site, n, size in found.itertuples(index=False)
        ],
        column="reading",
        value=found["sum"],
        action="hours from duty, with a range",
    )


def zero_readings(records: Records) -> pd.DataFrame:
    """Where does an exact zero stand for "not detected", or for "not measured"?"""
    rows = records.fleet["leak_readings"]
    rows = rows[rows["value"].notna()]
    zero = rows.assign(zero=(rows["value"] == 0) & (rows["flag"] == ""))
    by = zero.groupby(["method", "unit"])["zero"].agg(["sum", "mean", "size"]).reset_index()
    found = by[(by["mean"] >= _ZERO_SHARE) & (by["sum"] >= 5)]
    return make_findings(
        "leakage of exactly zero",
        "ask",
        ["leak_readings"] * len(found),
        [
            f"{n} of {size} {method} readings in {unit} are exactly 0: below what the instrument "
            "shows, or not read? flag them 'below detection' with its limit, or leave them empty"
            for method, unit, n, _, size in found.itertuples(index=False)
        ],
        column="value",
        value=found["sum"],
        threshold=f"{_ZERO_SHARE:.1%}",
        action="kept as written",
    )


def pegged_readings(records: Records) -> pd.DataFrame:
    """Which leakage readings stand at the end of the instrument's scale?"""
    rows = records.fleet["leak_readings"]
    flagged = rows["flag"] == "above scale"
    kind = [rows["method"], rows["unit"]]
    top = rows["value"].groupby(kind).transform("max")
    met = rows["value"].groupby([*kind, rows["value"]]).transform("size")
    others = met.mask(rows["value"] == top, 0).groupby(kind).transform("max")
    often = (met >= _SCALE_TIMES) & (met >= 3 * others)  # more often than chance and rounding do
    silent = (rows["value"] == top) & often & ~flagged & (top > 0)
    return join_findings(
        [
            make_findings(
                "reading off the scale",
                "note",
                rows.loc[flagged, "record_id"],
                "the leak was more than the instrument shows ({value})",
                column="value",
                value=rows.loc[flagged, "value"],
                action="a lower bound",
            ),
            make_findings(
                "reading at the end of the scale",
                "doubt",
                rows.loc[silent, "record_id"],
                "{value} is the highest value, met many times: end of the scale? flag it so",
                column="value",
                value=rows.loc[silent, "value"],
                threshold=f"{_SCALE_TIMES} times",
                action="kept as written",
            ),
        ]
    )


def jumps_of_unit(records: Records) -> pd.DataFrame:
    """Which readings are off by powers of ten, as a wrong unit makes them?"""
    rows = _with_position(records)
    rows = rows[(rows["value"] > 0) & (rows["flag"] == "")]
    if rows.empty:
        return no_findings()
    place = rows["place"]
    factor = rows["unit"].str.lower().map(_TO_PPM)
    usual = rows["unit"].groupby([place, rows["method"]]).transform(lambda u: u.mode().iloc[0])
    of_usual = np.log10(rows["value"]).where(rows["unit"] == usual)
    middle = of_usual.groupby([place, rows["method"]]).transform("median")
    written = np.log10(rows["value"]) - middle
    converted = written + np.log10(factor / usual.str.lower().map(_TO_PPM))
    misnamed = (rows["unit"] != usual) & (written.abs() < converted.abs() - 1)
    level = np.log10(rows["value"]).where(~misnamed)
    same_before = (place == place.shift()) & (rows["unit"] == rows["unit"].shift())
    same_after = (place == place.shift(-1)) & (rows["unit"] == rows["unit"].shift(-1))
    up = (level - level.shift()).where(same_before)
    down = (level - level.shift(-1)).where(same_after)
    power = np.round((up + down) / 2)
    spike = (power.abs() >= _DECADES) & ((up - power).abs() < 0.3) & ((down - power).abs() < 0.3)
    return join_findings(
        [
            make_findings(
                "unit of a reading looks wrong",
                "doubt",
                rows.loc[misnamed, "record_id"],
                [
                    f"{v:g} {u} fits the other readings here only as {v:g} {w}"
                    for v, u, w in zip(
                        rows.loc[misnamed, "value"],
                        rows.loc[misnamed, "unit"],
                        usual[misnamed],
                        strict=True,
                    )
                ],
                column="unit",
                value=rows.loc[misnamed, "unit"],
                action="kept as written",
            ),
            make_findings(
                "reading off by a power of ten",
                "doubt",
                rows.loc[spike, "record_id"],
                "{value} stands a power of ten from the readings before and after",
                column="value",
                value=rows.loc[spike, "value"],
                threshold=f"10^{_DECADES}",
                action="kept as written",
            ),
        ]
    )


def read_on_the_day_of_change(records: Records) -> pd.DataFrame:
    """Which readings fall on the day a seal was changed: of the old seal or the new?"""
    rows = _with_position(records)
    events = records.removals.table[["position_id", "end", "back"]]
    both = rows.merge(events, left_on="place", right_on="position_id")
    day = both["date"].dt.normalize()
    found = both[(day >= both["end"]) & (day <= both["back"])].drop_duplicates("record_id")
    return make_findings(
        "read while the seal was changed",
        "note",
        found["record_id"],
        "the reading of {value} falls between a seal's end and its successor's start",
        column="date",
        value=found["date"],
        action="belongs to the seal that came out",
    )


def _with_position(records: Records) -> pd.DataFrame:
    """Leakage readings with the position they were taken at, in order of place and date."""
    raw = records.fleet["leak_readings"]
    pumps = match_tags(raw["tag"], raw["site"], records.register)["pump_key"]
    table = records.register.table
    single = table[~table["pump_key"].duplicated(keep=False)].set_index("pump_key")["position_id"]
    ends = table.drop_duplicates(["pump_key", "seal_end"]).set_index(["pump_key", "seal_end"])
    keys = pd.MultiIndex.from_arrays([pumps, raw["seal_end"]])
    by_end = pd.Series(ends["position_id"].reindex(keys).to_numpy(), index=raw.index, dtype=object)
    # objects throughout: where no reading has a place pandas would take them for numbers
    place = pumps.map(single).astype(object)
    place = place.where(place.notna(), by_end.where(by_end.notna(), pumps.astype(object)))
    return raw.assign(place=place).sort_values(["place", "date"], kind="stable")
