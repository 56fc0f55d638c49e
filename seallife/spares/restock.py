"""How is each store filled up again?

In: a table of stock pools. Out: `Restock`. Next: `seallife.spares.steps`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.life.groups import Floats, Ints
from seallife.spares.paths import DemandPaths

__all__ = [
    "LEAD_SPREAD",
    "REJECT_SHARE",
    "Restock",
    "need_share",
    "read_restock",
    "spread_times",
    "with_all_pools",
]

LEAD_SPREAD = 0.25
"""Standard deviation of lead and repair times over their mean, where not known."""

REJECT_SHARE = 0.20
"""Share of seals beyond repair, where not known; 10 to 30 % is usual."""

_NEVER = -(2**31)  # a reorder level that no store falls to

_NUMBERS = ("on_hand", "on_order", "stock_low", "stock_high", "lead_time_d", "repair_time_d")


@dataclass(frozen=True, eq=False)
class Restock:
    """Stock pools and the rules by which they are filled up; arrays of shape (p,).

    Attributes
    ----------
    on_hand, on_order : ndarray of int
        In the store, and on the way to it (ordered or in repair).
    arrives_d : ndarray
        Days from now to what is on the way; NaN where not known.
    reorder, up_to : ndarray of int
        An order is placed when what is there and on the way falls to ``reorder``, and fills it up
        to ``up_to``. One-for-one where they differ by 1.
    levels_given : ndarray of bool
        False where the table has neither.
    lead_time_d, repair_time_d, reject_share : ndarray
    repairable : ndarray of bool
    unit_cost : ndarray
        Of a new one; NaN where not known.
    spread : float
        Standard deviation of both times over their mean.
    cases : list of (rows, status, message)
        Pools that cannot be followed, for `worded_status`.
    notes : ndarray of str
        What was assumed of each pool, as sentences.
    """

    on_hand: Ints
    on_order: Ints
    arrives_d: Floats
    reorder: Ints
    up_to: Ints
    levels_given: NDArray[np.bool_]
    lead_time_d: Floats
    repair_time_d: Floats
    reject_share: Floats
    repairable: NDArray[np.bool_]
    unit_cost: Floats
    spread: float
    cases: list[tuple[NDArray[np.bool_], str, str]]
    notes: NDArray[np.object_]

    @property
    def known(self) -> NDArray[np.bool_]:
        """Pools that can be followed."""
        return np.asarray(~np.any([rows for rows, _, _ in self.cases], axis=0))

    @property
    def position(self) -> Ints:
        """In the store and on the way."""
        return self.on_hand + self.on_order

    @property
    def protection_d(self) -> Floats:
        """Mean time from a seal used to the one in its place."""
        rejected = self.repair_time_d + self.reject_share * self.lead_time_d
        return np.where(self.repairable, rejected, self.lead_time_d)

    def said(self, message: Sequence[str]) -> list[str]:
        """What was assumed of each pool before what is to be said of it."""
        return [f"{note}{text}".strip() for note, text in zip(self.notes, message, strict=True)]

    def filled(self) -> Restock:
        """The same with a full shelf and nothing on the way."""
        return replace(self, on_hand=self.up_to, on_order=np.zeros_like(self.on_order))

    def without_orders(self) -> Restock:
        """The same with no order placed, whatever happens."""
        return replace(self, reorder=np.full_like(self.reorder, _NEVER))

    def on_shelf_now(self) -> Restock:
        """The same with what is on the way on the shelf."""
        return replace(self, on_hand=self.position, on_order=np.zeros_like(self.on_order))


def read_restock(
    stores: pd.DataFrame,
    pools: pd.Index[str],
    *,
    spread: float = LEAD_SPREAD,
    reject_share: float = REJECT_SHARE,
) -> Restock:
    """How is each pool's store filled up?

    Parameters
    ----------
    stores : DataFrame
        Per ``pool``: ``on_hand``, ``lead_time_d``; where known ``on_order``, ``arrives_d``,
        ``stock_low`` (reorder level), ``stock_high`` (order up to), ``repairable``,
        ``repair_time_d``, ``reject_share``, ``unit_cost``. NaN where not known.
    pools : Index, shape (p,)
        Pools in the order wanted; those not in the table get a status.
    spread : float
        Standard deviation of lead and repair times over their mean.
    reject_share : float
        Share beyond repair where the table does not say.

    Returns
    -------
    Restock

    Raises
    ------
    InputError
        A column is missing, a number is negative, a share lies outside 0 to 1, or a reorder level
        is above its order-up-to level.
    """
    where = "stores"
    need_columns(stores, ("pool", "on_hand", "lead_time_d"), where, "see read_pools")
    if not (np.isfinite(spread) and spread >= 0):
        raise InputError(f"is {spread}", where="spread", hint="give 0 or more")
    rows = stores.set_index("pool").reindex(pools)
    listed = pools.isin(stores["pool"])

    def numbers(name: str) -> Floats:
        if name not in rows:
            return np.full(len(pools), np.nan)
        values = rows[name].to_numpy(dtype=np.float64, na_value=np.nan)
        if np.any(values < 0) or np.any(np.isinf(values)):
            raise InputError("is below 0 or without end", where=f"{where}.{name}")
        return values

    on_hand, on_order, low, high, lead, repair = (numbers(name) for name in _NUMBERS)
    repairable = (
        rows["repairable"].eq(True).to_numpy(dtype=bool)
        if "repairable" in rows
        else np.zeros(len(pools), dtype=bool)
    )
    rejected = numbers("reject_share")
    assumed = repairable & np.isnan(rejected)
    rejected = np.where(assumed, reject_share, rejected)
    if not np.all((rejected <= 1) | np.isnan(rejected)):
        raise InputError("is above 1", where=f"{where}.reject_share", hint="give 0.2 for 20 %")
    position = np.nan_to_num(on_hand) + np.nan_to_num(on_order)
    no_levels = np.isnan(low) & np.isnan(high)
    up_to = np.where(no_levels, position, np.where(np.isnan(high), low + 1, high))
    reorder = np.where(np.isnan(low), up_to - 1, low)
    if np.any(reorder > up_to):
        row = pools[int(np.argmax(reorder > up_to))]
        raise InputError(
            f"the reorder level of {row} is above its order-up-to level",
            where=where,
            hint="look whether the two are swapped",
        )
    reorder = np.minimum(reorder, up_to - 1)  # min and max the same: one for one
    cases = [
        (~listed, "not in the stores", "The stores do not list this item."),
        (listed & np.isnan(on_hand), "stock not given", "The number in the store is not known."),
        (
            listed & np.isnan(lead),
            "lead time not given",
            "Nothing can be said before the lead time of a new one is known.",
        ),
        (
            listed & repairable & np.isnan(repair),
            "repair time not given",
            "Seals are repaired, and the time that it takes is not known.",
        ),
    ]
    notes = np.full(len(pools), "", dtype=object)
    for chosen, note in (
        (no_levels, "No levels given: each seal used is taken as replaced at once. "),
        (assumed, f"Share beyond repair taken as {reject_share:.0%}. "),
    ):
        notes[chosen & listed] += note
    return Restock(
        _whole(on_hand),
        _whole(on_order),
        numbers("arrives_d"),
        _whole(reorder),
        _whole(up_to),
        ~no_levels,
        np.nan_to_num(lead),
        np.where(repairable, np.nan_to_num(repair), 0.0),
        np.where(repairable, rejected, 0.0),
        repairable,
        numbers("unit_cost"),
        spread,
        cases,
        notes,
    )


def with_all_pools(paths: DemandPaths, stores: pd.DataFrame) -> DemandPaths:
    """The same futures, with pools that only the stores know added behind.

    Raises
    ------
    InputError
        The table has no column ``pool``, or names a pool twice.
    """
    need_columns(stores, ("pool",), "stores", "see read_pools")
    names = pd.Index(stores["pool"])
    if not names.is_unique:
        raise InputError("names a pool twice", where="stores.pool", hint="give one row a pool")
    return replace(paths, pools=paths.pools.append(names[~names.isin(paths.pools)]))


def need_share(value: float, where: str) -> None:
    """Refuse what is no share between 0 and 1.

    Raises
    ------
    InputError
        The value is not above 0 and below 1.
    """
    if not 0 < value < 1:
        raise InputError(f"is {value}", where=where, hint="give a share between 0 and 1, as 0.95")


def spread_times(mean: Floats, spread: float, rng: np.random.Generator) -> Floats:
    """Times around their means, lognormal; the means themselves where there is no spread."""
    if not spread:
        return mean
    sigma = np.sqrt(np.log1p(spread**2))
    return np.asarray(mean * rng.lognormal(-(sigma**2) / 2, sigma, mean.shape))


def _whole(values: Floats) -> Ints:
    """Whole numbers, 0 where not known; a part of a seal counts for none."""
    return np.floor(np.nan_to_num(values)).astype(np.int64)
