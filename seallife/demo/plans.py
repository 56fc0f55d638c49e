"""What is settled before any seal is fitted: duty, planned renewals, changes, retirement.

In: `layout.positions_table`, random numbers. Out: arrays by position. Next: `simulate`.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws

__all__ = ["BY_AGE", "CAUSES", "ENDINGS", "IN_SERVICE", "OTHER", "OUTAGE", "RETIRED", "UPGRADE"]
__all__ += ["drawn_positions", "planned_ends", "span"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CAUSES = ("infant", "random", "age", "lot")
"""Why a seal failed."""
ENDINGS: tuple[str, ...] = (
    *CAUSES,
    *("other pump part", "planned by age", "planned in outage", "upgrade", "pump retired"),
    "in service",
)
"""How a life ended: one of the causes, or a planned end, or not yet."""
OTHER, BY_AGE, OUTAGE, UPGRADE, RETIRED, IN_SERVICE = range(len(CAUSES), len(ENDINGS))

_RENEWALS = 10
"""Renewals with other work drawn per pump; more than ten in 21 years do not happen."""


def span(days: tuple[date, date]) -> tuple[float, float]:
    """First and last day of a story as day numbers, the last day included."""
    first, last = days
    return float(sc.day_number(first)), sc.day_number(last) + 1.0


def _duty(table: pd.DataFrame, draws: Draws, copies: int) -> Floats:
    """Share of time each pump runs; the class keeps its mean although the pairs share theirs."""
    sharing = table["sharing"].to_numpy()
    mean = table["service_class"].map({k: v.duty for k, v in sc.CLASSES.items()}).to_numpy(float)
    pairs = [sharing == "alternating", sharing == "main", sharing == "spare"]
    duty = np.select(pairs, [0.5, 0.85, 0.15], np.nan)
    own = np.isnan(duty)
    drawn = own & table["story"].isin(["", "mass renewal"]).to_numpy()
    for name in sc.CLASSES:
        members = (table["service_class"] == name).to_numpy()
        wanted = mean[members].sum()
        settled = np.where(own, mean, duty)[members & ~drawn].sum()
        mean[members & drawn] = (wanted - settled) / (members & drawn).sum()
    pumps = table["pump"].to_numpy()
    noise = 0.15 * draws.normal(copies, pumps.max() + 1)[:, pumps]
    noise[:, (table["story"] == "bad actor").to_numpy()] = 0.0
    return np.where(own, np.clip(mean + noise, 0.15, 0.95), duty).ravel()


def planned_ends(table: pd.DataFrame, draws: Draws, copies: int) -> tuple[Floats, Ints]:
    """Planned renewals of each pump, both ends together: days and kinds, (positions, events)."""
    pumps = table["pump"].to_numpy()
    shape = (copies, pumps.max() + 1)
    gaps = draws.exponential(*shape, _RENEWALS) * sc.OTHER_WORK_YEARS * 365.25
    other = np.cumsum(gaps, axis=2)
    by_age = draws.uniform(*shape, _RENEWALS) <= sc.BY_AGE_SHARE
    first = table.drop_duplicates("pump")
    at_skarrow = (first["site"] == sc.SKARROW).to_numpy()
    mass = (first["story"] == "mass renewal").to_numpy()
    outages = []
    for start, _ in sc.OUTAGES:
        share = np.where(mass & (start.year == sc.MASS_YEAR), sc.MASS_SHARE, sc.OUTAGE_SHARE)
        day = sc.day_number(start) + 2.0 + 18.0 * draws.uniform(*shape)
        taken = at_skarrow & (draws.uniform(*shape) <= share)
        outages.append(np.where(taken, day, np.inf))
    days = np.concatenate([other, np.stack(outages, axis=2)], axis=2)
    kinds = np.full(days.shape, OUTAGE)
    kinds[..., :_RENEWALS] = np.where(by_age, BY_AGE, OTHER)
    events = days.shape[2]
    return days[:, pumps].reshape(-1, events), kinds[:, pumps].reshape(-1, events)


def drawn_positions(table: pd.DataFrame, draws: Draws, stories: bool, copies: int) -> pd.DataFrame:
    """Add to each position what is drawn once: duty, first start, change and retirement."""
    pumps = table["pump"].to_numpy()
    shape = (copies, pumps.max() + 1)
    late = draws.uniform(*shape) <= 0.2
    start = 365.0 * draws.uniform(*shape)
    start = np.where(late, 365.0 + 2_555.0 * draws.uniform(*shape), start)[:, pumps].ravel()
    duty = _duty(table, draws, copies)
    change = draws.uniform(copies, len(table)).ravel()
    serial = draws.uniform(copies, len(table)).ravel() <= sc.SERIAL_SHARE
    retired = np.full(start.shape, np.inf)
    out = pd.concat([table] * copies, ignore_index=True) if copies > 1 else table.copy()
    if stories:
        low, high = span(sc.CONVERSION)
        converted = np.where(out["story"] == "plan 53B", low + (high - low - 1) * change, np.inf)
        plain = (table["sharing"] == "own") & (table["story"] == "") & ~table["two_ended"]
        plain &= table["service_class"].isin(sc.MOVING_CLASSES) & (table["site"] == sc.SKARROW)
        moving = draws.sample(
            np.flatnonzero(plain).tolist(), sc.RETIRED_POSITIONS + sc.NEW_POSITIONS
        )
        row = np.arange(len(out)) % len(table)
        new, gone = moving[: sc.NEW_POSITIONS], moving[sc.NEW_POSITIONS :]
        start = np.where(np.isin(row, new), 365.25 * (12.5 + 1.5 * change), start)
        retired = np.where(np.isin(row, gone), 365.25 * (14.0 + 5.0 * change), retired)
    else:
        converted = np.full(start.shape, np.inf)
        serial[:] = False
    return out.assign(
        duty=duty,
        first_start_d=start,
        retired_d=retired,
        converted_d=converted,
        serial_known=serial,
    )
