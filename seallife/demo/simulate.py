"""The true lives of the invented fleet, as nobody on site will ever see them.

In: a seed. Out: `TrueFleet`. Next: `seallife.demo.truth`, `seallife.demo.orders`.

Life number k of all positions is drawn at once, then life k + 1 from where each k ended.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.layout import positions_table
from seallife.demo.plans import (
    CAUSES,
    ENDINGS,
    IN_SERVICE,
    RETIRED,
    UPGRADE,
    drawn_positions,
    planned_ends,
    span,
)

__all__ = ["CAUSES", "ENDINGS", "TrueFleet", "simulate_fleet", "simulate_lives", "to_date"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

_END = float(sc.day_number(sc.DATA_END))
_AGE = CAUSES.index("age")


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
        2005-01-01, infinite where never) and serial_known.
    lives : DataFrame
        All lives since 2005: position (row of ``positions``), number, start_d, end_d [d since
        2005-01-01], hours [run h], ending (see `ENDINGS`), failed, defective, lot, rebuilt,
        back_d (start of the next life), aged_d (when a life that ends with the records would have
        failed of age, if of that; infinite for others).
    """

    seed: int
    stories: bool
    positions: pd.DataFrame
    lives: pd.DataFrame


def to_date(days: Floats | pd.Series) -> NDArray[np.datetime64]:
    """Which calendar day is it, so many days after the start of the simulation?"""
    whole = np.floor(np.asarray(days, dtype=float)).astype(np.int64)
    return np.asarray(np.datetime64(sc.SIMULATION_START, "D") + whole)


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
) -> tuple[pd.DataFrame, dict[str, NDArray[Any]]]:
    """How do the seals of ``copies`` whole fleets live from 2005 to the end of the records?

    Returns
    -------
    positions : DataFrame
        As in `TrueFleet`; fleet c holds rows c * 420 to c * 420 + 419.
    lives : dict of arrays
        The columns of ``TrueFleet.lives``, sorted by position and number; ``ending`` as a number.
    """
    table, draws = positions_table(), Draws(seed, 1)
    positions = drawn_positions(table, draws, stories, copies)
    days, kinds = planned_ends(table, draws, copies)
    extra = np.stack([positions["converted_d"], positions["retired_d"]], axis=1)
    days = np.concatenate([days, extra], axis=1)
    kinds = np.concatenate([kinds, np.full(extra.shape, UPGRADE)], axis=1)
    kinds[:, -1] = RETIRED
    law = _Parameters.of(positions, stories)
    hours_a_day = 24.0 * positions["duty"].to_numpy()
    plan53 = (positions["story"] == "plan 53B").to_numpy() & stories
    skarrow = (positions["site"] == sc.SKARROW).to_numpy() & stories
    lot_class = skarrow & positions["service_class"].isin(sc.LOT_CLASSES).to_numpy()
    serial = positions["serial_known"].to_numpy()
    converted = positions["converted_d"].to_numpy()
    bad_low, bad_high = span(sc.BAD_FITTING)
    lot_low, lot_high = span(sc.LOT_INSTALLS)

    at = np.arange(len(positions))
    start, number = positions["first_start_d"].to_numpy(), 1
    pieces: list[dict[str, NDArray[Any]]] = []
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
        ending = np.where(end >= _END, IN_SERVICE, ending)
        back = end + 1.0 + 4.0 * draws.exponential(at.size)
        pieces.append(
            {
                "position": at,
                "number": np.full(at.size, number),
                "start_d": start,
                "end_d": end,
                "hours": (end - start) * hours_a_day[at],
                "ending": ending,
                "back_d": back,
                "aged_d": np.where((cause == _AGE) & (fails <= planned), fails, np.inf),
                "defective": defective,
                "lot": lot,
                "rebuilt": rebuilt,
            }
        )
        goes_on = (ending < RETIRED) & (back < _END)
        at, start, number = at[goes_on], back[goes_on], number + 1
    columns = {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}
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
