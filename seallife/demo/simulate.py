"""The true lives of the invented fleet, as nobody on site will ever see them.

In: a seed. Out: `TrueFleet`. Next: `seallife.demo.truth`, `seallife.demo.orders`.

Life number k of all positions is drawn at once, then life k + 1 from where each k ended.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.layout import positions_table

__all__ = ["CAUSES", "ENDINGS", "TrueFleet", "simulate_fleet", "simulate_lives", "to_date"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

CAUSES = ("infant", "random", "age", "lot")
"""Why a seal failed; a life's ``ending`` is one of these or of the planned `ENDINGS`."""
ENDINGS = (*CAUSES, "other pump part", "planned by age", "planned in outage", "upgrade")
ENDINGS = (*ENDINGS, "pump retired", "in service")
_OTHER, _BY_AGE, _OUTAGE, _UPGRADE, _RETIRED, _IN_SERVICE = range(4, 10)

_END = float(sc.day_number(sc.DATA_END))


@dataclass(frozen=True)
class TrueFleet:
    """The invented fleet with known truth.

    Attributes
    ----------
    seed : int
        Seed of all random numbers.
    stories : bool
        False: the plain law of each class, nothing else.
    positions : DataFrame
        `layout.positions_table` with duty, first_start_d, retired_d, converted_d (days since
        2005-01-01, NaN where never) and serial_known.
    lives : DataFrame
        All lives since 2005: position (row of ``positions``), number, start_d, end_d [d since
        2005-01-01], hours [run h], ending (see `ENDINGS`), failed, defective, lot, rebuilt,
        back_d (start of the next life).
    """

    seed: int
    stories: bool
    positions: pd.DataFrame
    lives: pd.DataFrame


def to_date(days: Floats | pd.Series) -> NDArray[np.datetime64]:
    """Which calendar day is it, so many days after the start of the simulation?"""
    whole = np.floor(np.asarray(days, dtype=float)).astype(np.int64)
    return np.datetime64(sc.SIMULATION_START, "D") + whole


def _span(days: tuple[object, object]) -> tuple[float, float]:
    """First and last day of a story as day numbers, the last day included."""
    first, last = days
    return sc.day_number(first), sc.day_number(last) + 1.0  # type: ignore[arg-type]


def _duty(table: pd.DataFrame, draws: Draws, copies: int) -> Floats:
    """Share of time each pump runs; the class keeps its mean although the pairs share theirs."""
    sharing = table["sharing"].to_numpy()
    mean = table["service_class"].map({k: v.duty for k, v in sc.CLASSES.items()}).to_numpy(float)
    duty = np.select(
        [sharing == "alternating", sharing == "main", sharing == "spare"], [0.5, 0.85, 0.15], np.nan
    )
    own = np.isnan(duty)
    drawn = own & table["story"].isin(["", "mass renewal"]).to_numpy()
    for name in sc.CLASSES:
        members = (table["service_class"] == name).to_numpy()
        settled = members & ~drawn
        known = np.where(np.isnan(duty), mean, duty)[settled].sum()
        mean[members & drawn] = (mean[members].mean() * members.sum() - known) / max(
            (members & drawn).sum(), 1
        )
    pumps = table["pump"].to_numpy()
    noise = 0.15 * draws.normal(copies, pumps.max() + 1)[:, pumps]
    noise[:, (table["story"] == "bad actor").to_numpy()] = 0.0
    return np.where(own, np.clip(mean + noise, 0.15, 0.95), duty).ravel()


def _planned_ends(table: pd.DataFrame, draws: Draws, copies: int) -> tuple[Floats, Ints]:
    """Planned renewals of each pump, both ends together: days and kinds, (positions, events)."""
    pumps = table["pump"].to_numpy()
    shape = (copies, pumps.max() + 1)
    gaps = draws.exponential(*shape, 10) * sc.OTHER_WORK_YEARS * 365.25
    other = np.cumsum(gaps, axis=2)
    by_age = draws.uniform(*shape, 10) <= sc.BY_AGE_SHARE
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
    kinds = np.full(days.shape, _OUTAGE)
    kinds[..., :10] = np.where(by_age, _BY_AGE, _OTHER)
    events = days.shape[2]
    return days[:, pumps].reshape(-1, events), kinds[:, pumps].reshape(-1, events)


def _positions(table: pd.DataFrame, draws: Draws, stories: bool, copies: int) -> pd.DataFrame:
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
        low, high = _span(sc.CONVERSION)
        converted = np.where(out["story"] == "plan 53B", low + (high - low - 1) * change, np.inf)
        plain = (table["sharing"] == "own") & (table["story"] == "") & ~table["two_ended"]
        plain &= table["service_class"].isin(sc.MOVING_CLASSES) & (table["site"] == sc.SKARROW)
        moving = draws.sample(
            np.flatnonzero(plain).tolist(), sc.RETIRED_POSITIONS + sc.NEW_POSITIONS
        )
        mark = np.isin(np.arange(len(out)) % len(table), moving[: sc.NEW_POSITIONS])
        start = np.where(mark, 365.25 * (12.5 + 1.5 * change), start)
        mark = np.isin(np.arange(len(out)) % len(table), moving[sc.NEW_POSITIONS :])
        retired = np.where(mark, 365.25 * (14.0 + 5.0 * change), retired)
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


@dataclass(frozen=True)
class _Parameters:
    """The law of each position, as arrays."""

    defective: Floats
    random_h: Floats
    shape: Floats
    scale_h: Floats

    @classmethod
    def of(cls, positions: pd.DataFrame, stories: bool) -> _Parameters:
        names = list(sc.CLASSES)
        code = positions["service_class"].map({n: i for i, n in enumerate(names)}).to_numpy()
        laws = [*sc.CLASSES.values(), sc.BAD_ACTOR]
        if stories:
            code = np.where(positions["story"] == "bad actor", len(names), code)
        columns = ("defective", "random_h", "shape", "scale_h")
        return cls(*(np.array([getattr(law, c) for law in laws])[code] for c in columns))


def _life_hours(
    draws: Draws,
    law: _Parameters,
    at: Ints,
    hazard: Floats,
    p: Floats,
    random_h: Floats,
    lot: Flags,
) -> tuple[Floats, Ints, Flags]:
    """Draw one life for each of the positions ``at``: run hours, cause number, defective."""
    defective = draws.uniform(at.size) <= p
    unit = draws.exponential(4, at.size) / hazard
    ages = np.stack(
        [
            np.where(defective, sc.INFANT_SCALE_H * unit[0] ** (1 / sc.INFANT_SHAPE), np.inf),
            random_h * unit[1],
            law.scale_h[at] * unit[2] ** (1 / law.shape[at]),
            np.where(lot, sc.LOT_SCALE_H * unit[3] ** (1 / sc.LOT_SHAPE), np.inf),
        ]
    )
    cause = ages.argmin(axis=0)
    return ages[cause, np.arange(at.size)], cause, defective


def simulate_lives(
    seed: int, stories: bool, copies: int
) -> tuple[pd.DataFrame, dict[str, NDArray]]:
    """How do the seals of ``copies`` whole fleets live from 2005 to the end of the records?

    Returns
    -------
    positions : DataFrame
        As in `TrueFleet`; fleet c holds rows c * 420 to c * 420 + 419.
    lives : dict of arrays
        The columns of ``TrueFleet.lives``, sorted by position and number; ``ending`` as a number.
    """
    table, draws = positions_table(), Draws(seed, 1)
    positions = _positions(table, draws, stories, copies)
    days, kinds = _planned_ends(table, draws, copies)
    extra = np.stack([positions["converted_d"], positions["retired_d"]], axis=1)
    days = np.concatenate([days, extra], axis=1)
    kinds = np.concatenate([kinds, np.full(extra.shape, _UPGRADE)], axis=1)
    kinds[:, -1] = _RETIRED
    law = _Parameters.of(positions, stories)
    hours_a_day = 24.0 * positions["duty"].to_numpy()
    plan53 = (positions["story"] == "plan 53B").to_numpy() & stories
    skarrow = (positions["site"] == sc.SKARROW).to_numpy() & stories
    lot_class = skarrow & positions["service_class"].isin(sc.LOT_CLASSES).to_numpy()
    serial = positions["serial_known"].to_numpy()
    converted = positions["converted_d"].to_numpy()
    bad_low, bad_high = _span(sc.BAD_FITTING)
    lot_low, lot_high = _span(sc.LOT_INSTALLS)

    at = np.arange(len(positions))
    start, number, pieces = positions["first_start_d"].to_numpy(), 1, []
    while at.size:
        bad = skarrow[at] & (start >= bad_low) & (start < bad_high)
        lot = lot_class[at] & (start >= lot_low) & (start < lot_high)
        rebuilt = serial[at] & (draws.uniform(at.size) <= sc.REBUILT_SHARE) & (number > 1)
        random_h = np.where(
            plan53[at],
            np.where(start >= converted[at], sc.CONVERSION_RANDOM_H[1], sc.CONVERSION_RANDOM_H[0]),
            law.random_h[at],
        )
        hours, cause, defective = _life_hours(
            draws,
            law,
            at,
            np.where(rebuilt, sc.REBUILT_HAZARD, 1.0),
            np.where(bad, sc.BAD_FITTING_DEFECTIVE, law.defective[at]),
            random_h,
            lot,
        )
        ahead = np.where(days[at] > start[:, None], days[at], np.inf)
        nearest = ahead.argmin(axis=1)
        rows = np.arange(at.size)
        fails, planned = start + hours / hours_a_day[at], ahead[rows, nearest]
        end = np.minimum(np.minimum(fails, planned), _END)
        ending = np.where(fails <= planned, cause, kinds[at][rows, nearest])
        ending = np.where(end >= _END, _IN_SERVICE, ending)
        back = end + 1.0 + 4.0 * draws.exponential(at.size)
        pieces.append(
            (at, np.full(at.size, number), start, end, (end - start) * hours_a_day[at], ending)
            + (back, defective, lot, rebuilt)
        )
        goes_on = (ending < _RETIRED) & (back < _END)
        at, start, number = at[goes_on], back[goes_on], number + 1
    names = ("position", "number", "start_d", "end_d", "hours", "ending", "back_d")
    names += ("defective", "lot", "rebuilt")
    columns = {n: np.concatenate([p[i] for p in pieces]) for i, n in enumerate(names)}
    order = np.lexsort((columns["number"], columns["position"]))
    return positions, {n: c[order] for n, c in columns.items()}


def simulate_fleet(seed: int = sc.DEFAULT_SEED, *, stories: bool = True) -> TrueFleet:
    """What truly happened to each seal of the invented fleet?

    Parameters
    ----------
    seed : int
        Same seed, same fleet, on every machine.
    stories : bool
        False leaves out all stories but the mass renewal, so that each class follows its law.

    Examples
    --------
    >>> fleet = simulate_fleet(7)
    >>> len(fleet.positions), bool(fleet.lives["failed"].any())
    (420, True)
    """
    positions, columns = simulate_lives(seed, stories, 1)
    lives = pd.DataFrame(columns)
    lives.insert(6, "failed", lives["ending"] < len(CAUSES))
    lives["ending"] = np.array(ENDINGS, dtype=object)[lives["ending"]]
    return TrueFleet(seed, stories, positions, lives)
