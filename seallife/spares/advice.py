"""What should be ordered now, and what by when?

In: `DemandPaths`, a table of stores. Out: `OrderAdvice`. Next: reports on spares.

An order placed today helps from the day it arrives. Until then the store must do with what it has
and what is on the way: the seals needed up to that day decide whether to order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints, segment_max
from seallife.life.result import TableResult, worded_status
from seallife.spares.paths import DemandPaths
from seallife.spares.restock import (
    LEAD_SPREAD,
    REJECT_SHARE,
    Restock,
    need_share,
    read_restock,
    spread_times,
    with_all_pools,
)
from seallife.spares.shortfall import first_short
from seallife.spares.steps import Steps, store_steps

__all__ = ["OrderAdvice", "order_advice"]

_SOURCE = "simulated demand over the lead time; Zipkin, Foundations of Inventory Management (2000)"


@dataclass(frozen=True, eq=False)
class OrderAdvice(TableResult):
    """What to order of each pool, by when and why.

    Attributes
    ----------
    table : DataFrame
        Per ``pool``: ``lead_time_d``; ``need_low``, ``need``, ``need_high`` (seals that the store
        must find before a new one can come, repaired ones counted as back); ``fail`` and
        ``planned`` (mean numbers of them); ``on_hand``, ``on_order``; ``level`` that gives the
        share asked; ``action`` ('order now', 'order later', 'enough', 'cannot tell yet');
        ``order`` pieces now, ``order_within_d`` days left for an order (0 where it is due; NaN
        where none is foreseen); ``no_shortage_before`` (share of futures in which nobody waits
        before a new one comes, whatever is ordered); ``cost`` of the order; ``why``; ``status``,
        ``message``.
    share : float
    runs, seed : int
    """

    share: float
    runs: int
    seed: int


def order_advice(
    paths: DemandPaths,
    stores: pd.DataFrame,
    *,
    share: float = 0.95,
    positions: ArrayLike | None = None,
    spread: float = LEAD_SPREAD,
    reject_share: float = REJECT_SHARE,
    kinds: Sequence[int] = (0, 1, 2),
    level: float = 0.80,
    seed: int = 1,
) -> OrderAdvice:
    """What should be ordered now, and until when can an order wait?

    Parameters
    ----------
    paths : DemandPaths
    stores : DataFrame
        See `seallife.spares.restock.read_restock`; levels in use are not asked for.
    share : float
        Share of futures in which the store must not run out before a new one comes.
    positions : array_like, one a row of ``stores``, optional
        Seals in service that draw on each pool, for the sentence; the column ``positions`` of the
        table where None and there is one.
    spread, reject_share, kinds, seed
        As of `seallife.spares.stockpaths.stores_ahead`.
    level : float
        Of the range from ``need_low`` to ``need_high``.

    Returns
    -------
    OrderAdvice

    Raises
    ------
    InputError
        The table or a parameter cannot be used.

    Notes
    -----
    What is on order or in repair counts as there: it comes before a new one can.
    ``no_shortage_before`` says what may go wrong in the meantime, and no order changes it.
    """
    need_share(share, "share")
    need_share(level, "level")
    paths = with_all_pools(paths, stores)
    restock = read_restock(stores, paths.pools, spread=spread, reject_share=reject_share)
    p, runs = len(paths.pools), paths.runs
    lead = np.repeat(restock.lead_time_d[:, None], runs, axis=1)
    lead = spread_times(lead, spread, np.random.default_rng([seed, 1]))
    alone = restock.without_orders()
    steps = store_steps(paths, alone.on_shelf_now(), kinds=kinds, seed=seed)
    need = np.sort(_most_missing(steps, lead), axis=1)
    wanted = need[:, _place(share, runs)]
    out = np.minimum(first_short(steps, restock.position), paths.days)
    slack = np.sort(out - lead, axis=1)
    seen = np.sort(paths.days - lead, axis=1)
    within = slack[:, runs - 1 - _place(share, runs)]
    far = within >= seen[:, 0]
    order = np.maximum(wanted - restock.position, 0)
    short = restock.known & (seen[:, runs - 1 - _place(share, runs)] <= 0)
    told = restock.known & ~short
    now = order > 0
    waits = store_steps(paths, alone, kinds=kinds, seed=seed)
    before = (_most_missing(waits, lead) <= restock.on_hand[:, None]).mean(axis=1)
    tails = [_place(q, runs) for q in ((1 - level) / 2, 0.5, (1 + level) / 2)]
    fail = _mean_needed(paths, restock, [k for k in kinds if k == 0])
    planned = _mean_needed(paths, restock, [k for k in kinds if k > 0])
    action = np.where(now, "order now", np.where(far, "enough", "order later"))
    price = restock.unit_cost
    status, message = worded_status(
        p,
        [
            *restock.cases,
            (
                short,
                "futures too short",
                f"A new one may take longer than the {paths.days:.0f} d that are foreseen.",
            ),
            (np.isnan(price), "price not given", "The price is not known: no cost is given."),
        ],
    )

    def of_told(values: Floats | Ints) -> Floats:
        return np.where(told, values, np.nan)

    table = pd.DataFrame(
        {
            "pool": paths.pools,
            "lead_time_d": np.where(restock.lead_time_d > 0, restock.lead_time_d, np.nan),
            **{
                name: of_told(need[:, place])
                for name, place in zip(("need_low", "need", "need_high"), tails, strict=True)
            },
            "fail": of_told(fail),
            "planned": of_told(planned),
            "on_hand": of_told(restock.on_hand),
            "on_order": of_told(restock.on_order),
            "level": of_told(wanted),
            "action": np.where(told, action, "cannot tell yet"),
            "order": of_told(order),
            "order_within_d": np.where(told & ~far, np.maximum(within, 0.0), np.nan),
            "no_shortage_before": of_told(before),
            "cost": of_told(order * price),
        }
    )
    fitted = _positions(positions, stores, paths)
    table["why"] = _why(table, fitted, restock, share)
    table["status"], table["message"] = status, restock.said(message)
    method = (
        f"enough in {share:.0%} of {runs} futures until a new one comes, lead times lognormal with "
        f"a spread of {spread:.0%}"
    )
    return OrderAdvice(table, level, method, _SOURCE, share, runs, seed)


def _place(share: float, runs: int) -> int:
    """Place of a quantile among sorted futures: the first that so many do not exceed."""
    return int(np.clip(np.ceil(share * runs - 1e-9) - 1, 0, runs - 1))


def _most_missing(steps: Steps, lead: Floats) -> Ints:
    """Most seals missing at a time before a new one comes, shape (p, runs)."""
    early = steps.day <= np.repeat(lead.ravel(), np.diff(steps.offsets))
    top = segment_max(np.where(early, steps.missing, 0).astype(np.float64), steps.offsets)
    return np.maximum(top, 0).astype(np.int64).reshape(lead.shape)


def _mean_needed(paths: DemandPaths, restock: Restock, kinds: Sequence[int]) -> Floats:
    """Mean number of seals needed in the lead time."""
    return np.asarray(paths.needed(restock.lead_time_d, kinds).mean(axis=1))


def _positions(positions: ArrayLike | None, stores: pd.DataFrame, paths: DemandPaths) -> Floats:
    """Seals in service of each pool; NaN where not known."""
    if positions is None:
        positions = stores["positions"] if "positions" in stores else np.full(len(stores), np.nan)
    array = np.asarray(positions, dtype=np.float64)
    if array.shape != (len(stores),):
        raise InputError(f"has shape {array.shape}", where="positions", hint="give one a row")
    given = pd.Series(array, index=pd.Index(stores["pool"]))
    return np.asarray(given.reindex(paths.pools), dtype=np.float64)


def _why(table: pd.DataFrame, fitted: Floats, restock: Restock, share: float) -> list[str]:
    """One sentence a pool, made from its figures."""
    columns = ["lead_time_d", "fail", "planned", "on_hand", "on_order", "level", "action"]
    rows = table[columns].itertuples(index=False, name=None)
    out = []
    for row, seals, fixed, days, lost in zip(
        rows, fitted, restock.repairable, restock.repair_time_d, restock.reject_share, strict=True
    ):
        lead, fail, planned, held, coming, level, action = row
        if action == "cannot tell yet":
            out.append("")
            continue
        number = _number(fail)
        of = f" of {seals:.0f} seals" if seals > 0 else f" seal{'s' * (number != '1')}"
        text = (
            f"{number}{of} {_are(number)} expected to fail in the {lead:.0f} d that a new one takes"
        )
        text += f", {_number(planned)} to be renewed as planned" if planned > 0 else ""
        text += f"; {1 - lost:.0%} come back repaired in {days:.0f} d" if fixed else ""
        text += f"; {held:.0f} in the store"
        text += f", {coming:.0f} on the way" if coming > 0 else ""
        text = text[0].upper() + text[1:]
        enough = f"{level:.0f}"
        out.append(f"{text}; {enough} {_are(enough)} enough in {share:.0%} of futures.")
    return out


def _are(number: str) -> str:
    return "is" if number == "1" else "are"


def _number(mean: float) -> str:
    """A mean number for a sentence."""
    if mean < 0.05:
        return "none" if mean == 0 else "fewer than 0.1"
    return f"{mean:.0f}" if mean >= 9.95 else f"{mean:.1f}".removesuffix(".0")
