"""Two clocks for each position: calendar days and run hours.

In: `Register`, `seallife.meters`. Out: `RunClock`. Next: `seallife.lives`, `seallife.history`.

Run hours come from the pump's meter where its readings can be believed, and from the pump's
duty where not; each stretch between two readings says which, and how far it may be off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.intake import Fleet
from seallife.meters import day_number, read_meters
from seallife.register import Register
from seallife.schema import HOURS_PER_DAY
from seallife.settings import Rules

__all__ = ["RunClock", "build_clock", "day_number"]

_METER_OFF = 0.02  # relative: hour meters themselves
_SHARE_OFF, _WORD_OFF = 0.10, 0.25  # a share said or measured elsewhere; one from a mere word
_LEAST_SHARE = 0.02
_FIRST_DAY, _LAST_DAY = -36_525, 73_050  # 1870 to 2170: no date of a record lies outside

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class RunClock:
    """Cumulative run hours of every position, as broken lines on one flat array.

    Attributes
    ----------
    position_id : tuple of str
        Positions in order; the numbers below count along it.
    offsets : ndarray of int, shape (positions + 1,)
        Where each position's nodes begin.
    days, hours, metered : ndarray, shape (nodes,)
        Day number, run hours up to it, and hours up to it that a meter saw.
    source : pandas.Series
        Position -> 'meter', 'duty share', 'duty word': where its hours mostly come from.
    share : pandas.DataFrame
        Position -> share, share_low, share_high: share of time run where no meter tells, and the
        range it may lie in.
    starts : pandas.Series
        Position -> starts a year [1/a]; NaN where nobody counts.
    findings : pandas.DataFrame
        Meter readings that could not be believed.
    """

    position_id: tuple[str, ...]
    offsets: Ints
    days: Floats
    hours: Floats
    metered: Floats
    source: pd.Series
    share: pd.DataFrame
    starts: pd.Series
    findings: pd.DataFrame

    def at(self, position: pd.Series, day: Floats) -> tuple[Floats, Floats]:
        """How many hours had each position run by a day, and how many of them were metered?

        Parameters
        ----------
        position : pandas.Series of str, shape (n,)
        day : ndarray, shape (n,)
            Day numbers, see `day_number`.

        Returns
        -------
        hours, metered : ndarray, shape (n,)
            [h] since an arbitrary origin: only differences mean something.
        """
        number = pd.Index(self.position_id).get_indexer(pd.Index(position)).astype(float)
        span = float(_LAST_DAY - _FIRST_DAY + 1)
        node_position = np.repeat(np.arange(len(self.position_id)), np.diff(self.offsets))
        # One increasing axis for all positions: each has a span of its own.
        axis = node_position * span + self.days
        where = number * span + np.clip(day, _FIRST_DAY, _LAST_DAY)
        bad = number < 0
        hours = np.interp(where, axis, self.hours)
        metered = np.interp(where, axis, self.metered)
        hours[bad], metered[bad] = np.nan, np.nan
        return np.where(np.isnan(day), np.nan, hours), np.where(np.isnan(day), np.nan, metered)

    def hours_a_day(
        self, position: pd.Series, now: pd.Timestamp, recent_days: float = 365.0
    ) -> Floats:
        """How many hours a day has each position run lately?

        Parameters
        ----------
        position : pandas.Series of str, shape (n,)
        now : Timestamp
            First day after those looked at.
        recent_days : float

        Returns
        -------
        ndarray, shape (n,)
            [h/d] 0 where nothing is known of the position.
        """
        end = np.full(len(position), float(day_number(pd.Series([now]))[0]))
        hours = self.at(position, end)[0] - self.at(position, end - recent_days)[0]
        return np.asarray(np.nan_to_num(hours) / recent_days)

    def spread(self, position: pd.Series, hours: Floats, metered: Floats) -> tuple[Floats, Floats]:
        """Between which bounds may hours of a stretch lie?

        Parameters
        ----------
        position : pandas.Series of str, shape (n,)
        hours, metered : ndarray, shape (n,)
            [h] of the stretch, and how many of them a meter saw; differences of `at`.

        Returns
        -------
        low, high : ndarray, shape (n,)
            [h] Metered hours 2 % either way; the rest at the bounds of the position's share (common
            practice, no source): no interval at any level.
        """
        share = self.share.reindex(position)
        days = (hours - metered) / share["share"].to_numpy()
        low = metered * (1 - _METER_OFF) + days * share["share_low"].to_numpy()
        high = metered * (1 + _METER_OFF) + days * share["share_high"].to_numpy()
        return low, high


def build_clock(fleet: Fleet, register: Register) -> RunClock:
    """How many hours has each position run, and how is that known?

    Notes
    -----
    Steps of a meter count where they can be believed, see `seallife.meters.read_meters`.
    Everything else runs at the pump's share of time run: from its own meter's believable steps,
    else from the register, else from its duty word. A share from a meter or the register may be
    0.10 off, one from a word 0.25, within 0.02 to 1.
    """
    positions = register.table
    meters = read_meters(fleet, register)
    steps = meters.steps
    good = steps[steps["believed"]]
    by_pump = good.groupby("pump_key")[["hours", "days"]].sum()
    metered_share = (by_pump["hours"] / (by_pump["days"] * HOURS_PER_DAY)).clip(0.0, 1.0)
    share, source = _duty(positions, metered_share, fleet.settings.rules)
    rate = share.to_numpy() * HOURS_PER_DAY
    nodes = _nodes(positions, steps, rate)
    starts = positions.set_index("position_id")["pump_key"].map(meters.starts).astype(float)
    ranges = _ranges(share, source)
    return RunClock(*nodes, source, ranges, starts, meters.findings)


def _duty(
    positions: pd.DataFrame, metered_share: pd.Series, rules: Rules
) -> tuple[pd.Series, pd.Series]:
    """Share of time run of each position, and where it is from."""
    words = {
        "running": rules.duty_running,
        "alternating": rules.duty_alternating,
        "standby": rules.duty_standby,
    }
    meter = positions["pump_key"].map(metered_share)
    meter = meter.where(meter > 0)
    register = positions["duty_share"].where(positions["duty_share"].between(0, 1))
    register = register.where(register > 0)
    word = positions["duty"].map(words).fillna(rules.duty_alternating)
    share = meter.fillna(register).fillna(word)
    source = pd.Series("duty word", index=positions.index)
    source = source.mask(register.notna(), "duty share").mask(meter.notna(), "meter")
    return share, source.set_axis(positions["position_id"])


def _ranges(share: pd.Series, source: pd.Series) -> pd.DataFrame:
    """How far may the share of time run be off?"""
    middle = share.to_numpy()
    off = np.where(source == "duty word", _WORD_OFF, _SHARE_OFF)
    low, high = (np.clip(middle + side * off, _LEAST_SHARE, 1.0) for side in (-1, 1))
    return pd.DataFrame(
        {
            "share": middle,
            "share_low": np.minimum(low, middle),
            "share_high": np.maximum(high, middle),
        },
        index=source.index,
    )


def _nodes(
    positions: pd.DataFrame, steps: pd.DataFrame, rate: Floats
) -> tuple[tuple[str, ...], Ints, Floats, Floats, Floats]:
    """Lay the broken lines: two far ends a position, and a node at each meter reading."""
    n = len(positions)
    by_pump = steps.groupby("pump_key").indices
    reading_of = [by_pump.get(k, np.empty(0, dtype=np.int64)) for k in positions["pump_key"]]
    counts = np.array([len(r) for r in reading_of], dtype=np.int64)
    offsets = np.concatenate([[0], np.cumsum(counts + 2)]).astype(np.int64)
    taken = np.concatenate(reading_of) if n else np.empty(0, dtype=np.int64)
    position = np.repeat(np.arange(n), counts + 2)
    days = np.empty(offsets[-1])
    inner = np.ones(offsets[-1], dtype=bool)
    inner[offsets[:-1]], inner[offsets[1:] - 1] = False, False
    days[inner] = steps["day"].to_numpy()[taken]
    days[offsets[:-1]], days[offsets[1:] - 1] = _FIRST_DAY, _LAST_DAY
    believed = np.zeros(offsets[-1], dtype=bool)
    believed[inner] = steps["believed"].to_numpy()[taken]
    gap = np.diff(days, prepend=days[:1])
    gap[offsets[:-1]] = 0.0
    increment = gap * rate[position]
    step_hours = np.zeros(offsets[-1])
    step_hours[inner] = np.nan_to_num(steps["hours"].to_numpy()[taken])
    increment = np.where(believed, step_hours, increment)
    return (
        tuple(positions["position_id"]),
        offsets,
        days,
        np.cumsum(increment),
        np.cumsum(np.where(believed, step_hours, 0.0)),
    )
