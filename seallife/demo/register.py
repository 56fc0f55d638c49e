"""The register: engineering data of each position, as the site would have them.

In: `TrueFleet`, ``fluids.toml``. Out: `true_register`, `site_register`. Next: `write`.

Values are drawn once for the pumps that share a duty, so that A and B and both ends agree.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.simulate import TrueFleet, to_date
from seallife.demo.tools import each, load_toml

__all__ = ["REGISTER_DEFECTS", "site_register", "true_register"]

REGISTER_DEFECTS = {"temperature in degF": 18, "pressure in psi": 15, "gauge or absolute open": 60}
ATMOSPHERE_KPA, KPA_PER_PSI = 101.325, 6.894757
_PRESSURES = ("suction_kpa", "discharge_kpa", "chamber_kpa")


def _round(value: float, digits: int) -> float:
    """Round to significant digits, so that the text of the number is the same everywhere."""
    if value == 0:
        return 0.0
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


def _pump_data(draws: Draws, row: Any) -> dict[str, Any]:
    """Engineering data of the pumps of one duty, from the entry of their class."""
    entry = load_toml("fluids.toml")[row.service_class]
    fluids = entry["fluids"]
    if row.site == sc.MERROWFEN and row.service_class == "SLURRY":
        fluids = fluids[2:] if row.unit == "Ash" else fluids[:2]
    fluid = draws.pick(fluids)
    mark, head_mark = draws.one(), draws.one()

    def along(key: str, share: float = mark) -> float | None:
        if key not in fluid:
            return None
        low, high = fluid[key]
        return _round(low + share * (high - low), 3)

    vapour = along("vp") or 0.0
    head = along("head", head_mark) or 0.0
    margin = 60 + 240 * draws.one()
    suction = max(vapour * 1.02 + margin / 2, ATMOSPHERE_KPA + margin)
    chamber = suction + (0.10 + 0.25 * draws.one()) * head
    if row.story == "plan 53B":  # low vapour margin is why plan 11 did not do
        suction, chamber = vapour + 40 + margin / 4, vapour + 60 + margin / 2
    arrangement = draws.pick(sorted(entry["plans"]))
    plan = draws.pick(entry["plans"][arrangement])
    seal = entry["seal"][min(arrangement != "1", len(entry["seal"]) - 1)]
    types = entry["types"]
    overhung = [t for t in types if not t.startswith("BB")]
    between = [t for t in types if t.startswith("BB")] or ["BB1"]
    return {
        "pump_type": draws.pick(between if row.two_ended else overhung),
        "fluid": fluid["name"],
        "service_text": draws.pick(fluid["service"]),
        "temp_c": float(round(along("t") or 0.0)),
        "suction_kpa": float(round(suction)),
        "discharge_kpa": float(round(suction + head)),
        "chamber_kpa": float(round(chamber)),
        "vapour_kpa": vapour,
        "sg": along("sg"),
        "viscosity_cst": along("cst"),
        "solids_pct": along("solids", draws.one()),
        "ph": along("ph"),
        "speed_rpm": float(
            draws.pick([2950, 2960, 2975] if row.service_class != "SLURRY" else [985, 1480])
        ),
        "shaft_mm": float(draws.pick(entry["shaft"])),
        "arrangement": arrangement,
        "seal_type": seal,
        "face_materials": draws.pick(entry["faces"]),
        "elastomer": draws.pick(entry["elastomer"]),
        "flush_plan": plan,
        "criticality": draws.weighted({"A": 0.2, "B": 0.5, "C": 0.3}),
    }


def true_register(fleet: TrueFleet) -> pd.DataFrame:
    """What is true of each position today (engineering data, duty, dates)?

    Returns
    -------
    DataFrame
        Our column names of ``positions`` (`seallife.schema`), one row a position in the order of
        ``fleet.positions``, dates as ``datetime64[D]`` (NaT where never), plus ``before_plan`` and
        ``before_arrangement`` (state before the change to plan 53B, else empty).
    """
    draws = Draws(fleet.seed, 2)
    places = fleet.positions
    rows: list[dict[str, Any]] = []
    shared: dict[str, dict[str, Any]] = {}
    pump: dict[str, Any] = {}
    for row in each(places):
        if row.seal_end == "DE":
            if row.pair_group not in shared:
                shared[row.pair_group] = _pump_data(draws, row)
            pump = dict(shared[row.pair_group])
            old = 365.25 * (-30 + 29 * draws.one())
            pump["commissioned_d"] = row.first_start_d if row.first_start_d > 366 else old
            pump["commissioned_known"] = draws.chance(0.9)
        before = {"before_plan": "", "before_arrangement": ""}
        data = dict(pump)
        if row.story == "plan 53B":
            before = {"before_plan": "11", "before_arrangement": "1"}
            data |= {"flush_plan": "53B", "arrangement": "3"}
            data["seal_type"] = "dual pusher cartridge, pressurised"
        rows.append(data | before)
    out = pd.concat([places.reset_index(drop=True), pd.DataFrame(rows)], axis=1)
    duty = np.select(
        [out["sharing"] == "alternating", out["sharing"] == "spare"],
        ["alternating", "standby"],
        "running",
    )
    noise = 0.03 * draws.normal(len(out))
    groups = (
        out[["site", "arrangement", "seal_type", "shaft_mm", "elastomer"]]
        .astype(str)
        .agg("|".join, axis=1)
    )
    codes = {g: f"{71_000 + 37 * i}" for i, g in enumerate(sorted(groups.unique()))}
    return out.assign(
        duty_word=duty,
        duty_share=np.round(np.clip(np.round((out["duty"] + noise) * 20) / 20, 0.05, 1.0), 2),
        commissioned=to_date(out["commissioned_d"]),
        retired=np.where(
            np.isinf(out["retired_d"]),
            np.datetime64("NaT", "D"),
            to_date(np.where(np.isinf(out["retired_d"]), 0.0, out["retired_d"])),
        ),
        pool=groups.map(codes),
    )


def _running_at_start(fleet: TrueFleet) -> pd.Series:
    """Start of the seal that ran when each site's records begin; NaN where none did."""
    low = fleet.positions["site"].map({s: sc.day_number(w[0]) for s, w in sc.WINDOWS.items()})
    lives = fleet.lives
    first = low.to_numpy()[lives["position"]]
    running = lives[(lives["start_d"] < first) & (lives["end_d"] >= first)]
    return running.set_index("position")["start_d"].reindex(range(len(low)))


def site_register(
    fleet: TrueFleet, truth: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """What does the site's register say, and which values in it are wrong?

    Returns
    -------
    register : DataFrame
        Our column names; pressures in kPa absolute, as text where a wrong unit was planted
        (``"psi:..."``) - `write` turns them into the file's own unit.
    defects : dict
        Defect -> positions that have it.
    """
    draws = Draws(fleet.seed, 3)
    out = truth.assign(duty=truth["duty_word"], status="in use")
    start = _running_at_start(fleet)
    known = start.notna() & (draws.uniform(len(out)) <= 0.6)
    out["seal_installed"] = np.where(
        known, to_date(np.where(known, start, 0.0)), np.datetime64("NaT", "D")
    )
    out.loc[~out["commissioned_known"], "commissioned"] = pd.NaT
    gone = out.index[out["retired"].notna()].tolist()
    out.loc[gone[: len(gone) // 2], "status"] = "retired"

    skarrow = out["site"] == sc.SKARROW
    hot = out.index[skarrow & (out["service_class"] == "HC-HOT")].tolist()
    general = out.index[
        skarrow & (out["service_class"] == "HC-GEN") & (out["temp_c"] < 75)
    ].tolist()
    fahrenheit = sorted(draws.sample(hot, 12) + draws.sample(general, 6))
    out.loc[fahrenheit, "temp_c"] = (out.loc[fahrenheit, "temp_c"] * 1.8 + 32).round()
    psi = draws.sample(out.index[skarrow & (out["discharge_kpa"] > 900)].tolist(), 15)
    for column in _PRESSURES:
        gauge_psi = (out.loc[psi, column] - ATMOSPHERE_KPA) / KPA_PER_PSI
        out.loc[psi, column] = gauge_psi.round() * 100.0 + ATMOSPHERE_KPA
    open_bar = out.index[
        (out["site"] == sc.MERROWFEN) & out["service_class"].isin(["SLURRY", "WATER"])
    ]
    name = out["position_id"]
    out.loc[name.isin(sc.NO_STOCK_ITEM), "pool"] = ""
    return out, {
        "temperature in degF": name[fahrenheit].tolist(),
        "pressure in psi": name[psi].tolist(),
        "gauge or absolute open": name[open_bar].tolist(),
        "retired but in the register": name[gone].tolist(),
        "position without stock item": list(sc.NO_STOCK_ITEM),
    }
