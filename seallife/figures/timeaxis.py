"""A time axis whose ticks stand at round figures: dates from day numbers, or years from days.

In: times as plain numbers. Out: values, ticks and words for plotly. Next:
`seallife.figures.recurrence`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.errors import InputError

__all__ = ["TimeAxis"]

Floats = npt.NDArray[np.float64]

_TICKS = 5


class TimeAxis:
    """The time axis: calendar days as dates, or any unit as a number of years."""

    def __init__(self, dates: bool, divide_by: float, unit: str) -> None:
        if not (np.isfinite(divide_by) and divide_by > 0):
            raise InputError(f"is {divide_by!r}", where="divide_by", hint="give a number above 0")
        self.dates, self.by = dates, 1.0 if dates else divide_by
        self.title = "date" if dates else unit

    def show(self, time: Floats) -> list[Any]:
        """Times as plotly takes them."""
        if self.dates:
            return _days(time).strftime("%Y-%m-%d").tolist()
        return list((time / self.by).round(4).tolist())

    def band_at(self, time: Floats) -> npt.NDArray[Any]:
        """Times as `seallife.figures.style.band` takes them."""
        return _days(time).to_numpy() if self.dates else time / self.by

    def ticks(self, first: float, last: float) -> Floats:
        """Where ticks stand: whole years by the calendar, even steps else."""
        if not self.dates:
            step = _round_step((last - first) / self.by / _TICKS) * self.by
            return np.asarray(np.arange(np.ceil(first / step), last / step + 1e-9) * step)
        ends = _days(np.array([first, last]))
        years = pd.date_range(ends[0], ends[1], freq="YS")
        if not len(years):
            return np.array([first])
        step = max(-(-len(years) // _TICKS), 1)
        return (years[::step] - pd.Timestamp(0)).days.to_numpy(dtype=float)

    def words(self, ticks: Floats) -> list[str]:
        """What the ticks say."""
        if self.dates:
            return [f"{day:%Y}" for day in _days(ticks)]
        return [f"{tick / self.by:.3g}" for tick in ticks]


def _round_step(step: float) -> float:
    """Next step of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(step))
    return float(next(m * power for m in (1, 2, 5, 10) if m * power >= step * (1 - 1e-9)))


def _days(time: Floats) -> pd.DatetimeIndex:
    """Days since 1970-01-01 as dates."""
    return pd.to_datetime(np.floor(time), unit="D")
