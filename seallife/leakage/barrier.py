"""How much barrier liquid do a dual seal's faces lose?

In: top-ups, or pressure and temperature of a vessel. Out: mL/h. Next: reports on leakage.

What leaves a barrier system went past the inner seal, the outer seal or a fitting: the loss is the
sum of all. Which of them leaks shows only in process liquid found dirty, or in a visible leak.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.errors import InputError
from seallife.leakage.formulas import KELVIN
from seallife.leakage.records import Bools, in_order, marks, numbers, positive, times
from seallife.life.groups import Floats, Ints
from seallife.schema import HOURS_PER_DAY

__all__ = [
    "BarrierRates",
    "pressure_decay_rate",
    "top_up_rate",
]

_SUM = "sum of what passed the inner seal, the outer seal and the fittings"


@dataclass(frozen=True, eq=False)
class BarrierRates:
    """Loss of barrier liquid, between records and over whole stretches.

    Attributes
    ----------
    table : DataFrame
        Between two records: ``segment``, ``stretch``, ``start``, ``end``, ``row`` (number of the
        later record as given), ``hours``, ``volume_ml``, ``ml_per_h``, ``status``, ``message``.
    totals : DataFrame
        Over each stretch, from its reference to its last record: ``segment``, ``stretch``,
        ``start``, ``end``, ``records``, ``hours``, ``volume_ml``, ``ml_per_h``. The figure to
        follow: errors of single records cancel in it.
    clock : str
        'running hours' or 'calendar hours'.
    method : str
    source : str
    """

    table: pd.DataFrame
    totals: pd.DataFrame
    clock: str
    method: str
    source: str

    def __len__(self) -> int:
        return len(self.table)


def top_up_rate(
    time: ArrayLike,
    volume_ml: ArrayLike,
    run_hours: ArrayLike | None = None,
    reset: ArrayLike | None = None,
    segment: ArrayLike | None = None,
) -> BarrierRates:
    """How much barrier liquid was lost per hour, as told by what was filled in?

    Parameters
    ----------
    time : array_like, shape (n,)
        When the pot was filled up to its mark: dates, or days counted from any day.
    volume_ml : array_like, shape (n,)
        What was filled in [mL].
    run_hours : array_like, shape (n,), optional
        Hour meter of the pump at each refill [h]. None takes calendar hours.
    reset : array_like of bool, shape (n,), optional
        Refills after a renewal, an oil change or cleaning of the pot: a new reference, whose
        volume is no leakage.
    segment : array_like, shape (n,), optional
        Label of the seal life of each refill; its first refill is a reference only.

    Returns
    -------
    BarrierRates
        Of both seals and the fittings together.

    Raises
    ------
    InputError
        If lengths differ, a value is missing, a volume is negative, or an hour meter runs
        backwards within a stretch.

    Notes
    -----
    Two refills to one mark are equal states: what was filled in at the second was lost since
    the first. A refill that did not reach the mark shows too little now and too much next time;
    ``totals`` are free of that but for the last. Where the pump did not run, the loss is given
    without a rate; it counts in the total.

    Examples
    --------
    >>> rates = top_up_rate([0, 10, 30], [500, 240, 480])
    >>> rates.table["ml_per_h"].tolist()
    [1.0, 1.0]
    """
    day, shown = times(time)
    n = len(day)
    volume = numbers(volume_ml, n, "volume_ml", low=0.0)
    meter = day * HOURS_PER_DAY if run_hours is None else numbers(run_hours, n, "run_hours")
    fresh = marks(reset, n, "reset")
    label, order, follows = in_order(day, segment)
    follows &= ~fresh[order]
    hours = np.diff(meter[order], prepend=np.nan)
    back = follows & (hours < 0)
    if back.any():
        raise InputError(
            "is less than at the refill before",
            where=f"run_hours[{int(order[np.argmax(back)])}]",
            hint="correct it, or mark the refill as reset where the meter was changed",
        )
    lost = volume[order]
    words = np.where(hours > 0, "ok", "no hours")
    clock = "calendar hours" if run_hours is None else "running hours"
    return _rates(
        (
            label[order],
            order,
            shown.iloc[order],
            np.cumsum(~follows) - 1,
            follows,
            hours,
            lost,
            words,
        ),
        {"no hours": "No hours passed since the refill before: a loss without a rate."},
        clock,
        f"refills to one mark; {_SUM}",
        "volume balance between equal states",
    )


def pressure_decay_rate(
    time: ArrayLike,
    pressure_bar_abs: ArrayLike,
    temp_c: ArrayLike,
    gas_volume_l: float,
    segment: ArrayLike | None = None,
    refill: ArrayLike | None = None,
    *,
    gauge_step_bar: float = 0.1,
) -> BarrierRates:
    """How much barrier liquid was lost per hour, as told by the pressure of an accumulator?

    Parameters
    ----------
    time : array_like, shape (n,)
        Dates, or days counted from any day.
    pressure_bar_abs : array_like, shape (n,)
        Absolute pressure [bar].
    temp_c : array_like, shape (n,)
        Temperature of the gas [degC].
    gas_volume_l : float
        Volume of the gas just after a refill [L].
    segment : array_like, shape (n,), optional
        Label of the seal life of each reading.
    refill : array_like of bool, shape (n,), optional
        Readings taken after a refill: a new reference. None finds them: the pressure at equal
        temperature rose by more than three steps of the gauge.
    gauge_step_bar : float
        What the gauge can tell apart [bar].

    Returns
    -------
    BarrierRates
        Of both seals and the fittings together, in calendar hours: an accumulator loses at rest
        too. A change of less than a step of the gauge has the status ``within a step``.

    Raises
    ------
    InputError
        If lengths differ, a value is missing, or a pressure or volume is not above 0.

    Notes
    -----
    The loss over a refill is not known and belongs to no stretch. A refill smaller than three
    steps of the gauge is not found and makes the loss look smaller.

    Examples
    --------
    >>> rates = pressure_decay_rate([0, 20], [20, 19], [20, 20], 10)
    >>> f"{rates.table['ml_per_h'].iloc[0]:.1f} mL/h"
    '1.1 mL/h'

    Source
    ------
    Ideal gas law, see `seallife.leakage.formulas.volume_lost_l`.
    """
    day, shown = times(time)
    n = len(day)
    pressure, celsius = (
        numbers(pressure_bar_abs, n, "pressure_bar_abs"),
        numbers(temp_c, n, "temp_c"),
    )
    positive(pressure, "pressure_bar_abs")
    kelvin = positive(celsius + KELVIN, "temp_c")
    volume = float(positive(gas_volume_l, "gas_volume_l"))
    step = float(positive(gauge_step_bar, "gauge_step_bar"))
    label, order, follows = in_order(day, segment)
    p, t = pressure[order], kelvin[order]
    # at the temperature of the reading before
    risen = np.append(0.0, p[1:] * t[:-1] / t[1:] - p[:-1]) if n else p
    fresh = risen > 3 * step if refill is None else marks(refill, n, "refill")[order]
    follows &= ~fresh
    stretch = np.cumsum(~follows) - 1
    first = np.flatnonzero(~follows)[stretch] if n else stretch
    gas = volume * (p[first] / t[first]) * (t / p)
    lost = np.diff(gas, prepend=np.nan) * 1_000.0
    hours = np.diff(day[order], prepend=np.nan) * HOURS_PER_DAY
    words = np.where(hours > 0, np.where(np.abs(risen) < step, "within a step", "ok"), "no hours")
    return _rates(
        (label[order], order, shown.iloc[order], stretch, follows, hours, lost, words),
        {
            "no hours": "Two readings of one time: a difference without a rate.",
            "within a step": "The pressure changed by less than the gauge can tell apart.",
        },
        "calendar hours",
        f"gas volume at equal temperature; {_SUM}",
        "ideal gas law",
    )


def _rates(
    columns: tuple[Any, Ints, pd.Series[Any], Any, Bools, Floats, Floats, Any],
    messages: dict[str, str],
    clock: str,
    method: str,
    source: str,
) -> BarrierRates:
    """Lay out losses between records and over stretches."""
    label, order, shown, stretch, follows, hours, lost, words = columns
    table = pd.DataFrame(
        {
            "segment": label,
            "stretch": stretch,
            "start": shown.shift().to_numpy() if len(shown) else shown.to_numpy(),
            "end": shown.to_numpy(),
            "row": order,
            "hours": hours,
            "volume_ml": lost,
            "ml_per_h": np.where(hours > 0, lost / np.where(hours > 0, hours, 1.0), np.nan),
            "status": words,
        }
    )[follows].reset_index(drop=True)
    table["message"] = table["status"].map(messages).fillna("").astype(object)
    grouped = table.groupby(["segment", "stretch"], sort=False)
    totals = grouped.agg(
        start=("start", "first"),
        end=("end", "last"),
        records=("end", "size"),
        hours=("hours", "sum"),
        volume_ml=("volume_ml", "sum"),
    ).reset_index()
    totals["ml_per_h"] = totals["volume_ml"] / totals["hours"].where(totals["hours"] > 0)
    return BarrierRates(table, totals, clock, method, source)
