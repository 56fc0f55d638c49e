"""From top-ups, levels and pressures of barrier systems to a loss per hour at each record.

In: readings with place, segment and value. Out: the same with bounds of a rate. Next:
`seallife.leakage.readings`.

Each record tells what was lost since the one before of the same seal; the first, and one after a
refill, is a reference and tells nothing by itself. Hours are those that the pump ran, but for a
pressure, which falls at rest too.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.clocks import RunClock, day_number
from seallife.findings import join_findings, make_findings
from seallife.leakage.barrier import BarrierRates, pressure_decay_rate, top_up_rate
from seallife.life.groups import Floats

__all__ = ["SUPPLY", "with_supply_rates"]

SUPPLY = "barrier loss"
"""Quantity of a rate found from records of a barrier system."""

_GAUGE_BAR, _MARK_MM = 0.1, 1.0  # what a gauge and a sight glass can tell apart (common practice)
_LEAST_ML = 20.0  # what a refill by can can tell apart (common practice, no source)


def with_supply_rates(
    rows: pd.DataFrame, clock: RunClock
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """How much barrier liquid was lost per hour up to each record?

    Parameters
    ----------
    rows : pandas.DataFrame
        Readings with bounds, see `seallife.leakage.bounds.with_bounds`; ``value`` in our unit;
        gas_temp_c, gas_volume_l, pot_area as read.

    Returns
    -------
    rows : pandas.DataFrame
        Volumes, levels and pressures of a seal have become losses [mL/h] with bounds; kind
        'reference' (bounds missing) where a record tells no loss.
    findings : list of pandas.DataFrame
    """
    rows = rows.copy()
    held = rows["segment"] >= 0
    volume, level, pressure = (
        held & (rows["quantity"] == q) for q in ("volume added", "level", "pressure")
    )
    bare_level = level & ~(rows["pot_area"] > 0)
    bare_pressure = pressure & ~((rows["gas_volume_l"] > 0) & rows["gas_temp_c"].notna())
    number = np.asarray(day_number(rows["date"]), dtype=np.float64)
    day = pd.Series(number, index=rows.index)
    ran = pd.Series(clock.at(rows["position_id"], number)[0], index=rows.index)
    for chosen, found in (
        (volume, _of_top_ups),
        (level & ~bare_level, _of_levels),
        (pressure & ~bare_pressure, _of_pressures),
    ):
        part = rows[chosen]
        if part.empty:
            continue
        rate, least = found(part, day[chosen], ran[chosen])
        seen = rate > least
        rows.loc[chosen, "low"] = np.where(seen, rate, np.where(np.isnan(rate), np.nan, 0.0))
        rows.loc[chosen, "high"] = np.where(seen, rate, np.where(np.isnan(rate), np.nan, least))
        words = np.where(np.isnan(rate), "reference", np.where(seen, "exact", "below"))
        rows.loc[chosen, "kind"] = words
    bare = bare_level | bare_pressure
    rows.loc[bare, "kind"] = "reference"
    rows.loc[bare, ["low", "high"]] = np.nan
    told = volume | level | pressure
    rows["quantity"] = rows["quantity"].mask(told, SUPPLY)
    rows["measured_in"] = rows["measured_in"].mask(told, "mL/h")
    said = [
        make_findings(
            check,
            "ask",
            rows.loc[which, "record_id"],
            sentence,
            column=column,
            action="no loss; kept as read",
        )
        for check, which, sentence, column in (
            (
                "level without the pot's area",
                bare_level,
                "a level tells no volume without the area of the pot; give pot_area",
                "pot_area",
            ),
            (
                "pressure without gas volume or temperature",
                bare_pressure,
                "a pressure tells no loss without the volume and temperature of the gas; give both",
                "gas_volume_l",
            ),
        )
    ]
    return rows, [join_findings(said)]


def _at_records(rates: BarrierRates, n: int) -> Floats:
    """Loss per hour at the later record of each pair; NaN where a record closes none."""
    out = np.full(n, np.nan)
    out[rates.table["row"].to_numpy(dtype=np.int64)] = rates.table["ml_per_h"]
    return out


def _per_hour(least: float | Floats, rates: BarrierRates, n: int) -> Floats:
    """What could just have been seen, as a rate over the hours of each record."""
    hours = np.full(n, np.nan)
    hours[rates.table["row"].to_numpy(dtype=np.int64)] = rates.table["hours"]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(least / hours, dtype=float)


def _of_top_ups(rows: pd.DataFrame, day: pd.Series, ran: pd.Series) -> tuple[Floats, Floats]:
    rates = top_up_rate(day, rows["value"], ran, segment=rows["segment"])
    return _at_records(rates, len(rows)), _per_hour(_LEAST_ML, rates, len(rows))


def _of_levels(rows: pd.DataFrame, day: pd.Series, ran: pd.Series) -> tuple[Floats, Floats]:
    """What a level fell by was lost; where it rose the pot was filled up."""
    ml = rows["value"] * rows["pot_area"] / 10  # 1 mm over 1 cm2 is 0.1 mL
    order = pd.DataFrame({"s": rows["segment"], "d": day}).sort_values(["s", "d"], kind="stable")
    fell = -(ml.loc[order.index].groupby(order["s"]).diff())
    fell = fell.reindex(rows.index)
    filled = fell < -2 * _MARK_MM * rows["pot_area"] / 10
    rates = top_up_rate(
        day, fell.fillna(0.0).clip(lower=0.0), ran, reset=filled, segment=rows["segment"]
    )
    least = (_MARK_MM * rows["pot_area"] / 10).to_numpy(dtype=np.float64)
    return _at_records(rates, len(rows)), _per_hour(least, rates, len(rows))


def _of_pressures(rows: pd.DataFrame, day: pd.Series, ran: pd.Series) -> tuple[Floats, Floats]:
    """Losses at equal temperature, vessel sizes one after the other."""
    del ran
    rate, least = np.full((2, len(rows)), np.nan)
    size = rows["gas_volume_l"].to_numpy()
    for litres in np.unique(size):
        at = np.flatnonzero(size == litres)
        part = rows.iloc[at]
        rates = pressure_decay_rate(
            day.iloc[at],
            part["value"],
            part["gas_temp_c"],
            float(litres),
            segment=part["segment"],
            gauge_step_bar=_GAUGE_BAR,
        )
        rate[at] = _at_records(rates, len(at))
        step = (1_000 * litres * _GAUGE_BAR / part["value"]).to_numpy(dtype=np.float64)
        least[at] = _per_hour(step, rates, len(at))
    return rate, least
