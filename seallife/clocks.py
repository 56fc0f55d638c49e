"""Two clocks for each position: calendar days and run hours.

In: `Fleet`, `Register`. Out: `RunClock`. Next: `seallife.lives`, `seallife.history`.

Run hours come from the pump's meter where its readings can be believed, and from the pump's
duty where not; each stretch between two readings says which.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.findings import Severity, join_findings, make_findings
from seallife.intake import Fleet
from seallife.register import Register, match_tags
from seallife.schema import HOURS_PER_DAY
from seallife.settings import Rules

__all__ = ["RunClock", "build_clock", "day_number"]

_METER_TURNS = 10.0 ** np.arange(4, 7)  # meters of 4, 5 and 6 digits start again at these
_SLACK_H = 24.0  # a reading may be taken at another time of day
_STUCK_STEPS = 3  # so many steps of zero in a row on a pump said to run: the meter stands
_FIRST_DAY, _LAST_DAY = -36_525, 73_050  # 1870 to 2170: no date of a record lies outside

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def day_number(dates: pd.Series | pd.DatetimeIndex) -> Floats:
    """Days since 1970-01-01; NaN for NaT.

    Examples
    --------
    >>> day_number(pd.Series(pd.to_datetime(["1970-01-02", None]))).tolist()
    [1.0, nan]
    """
    values = np.asarray(dates, dtype="datetime64[ns]")
    days = (values - np.datetime64(0, "ns")) / np.timedelta64(1, "D")
    return np.where(np.isnat(values), np.nan, days)


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
    findings : pandas.DataFrame
        Meter readings that could not be believed.
    """

    position_id: tuple[str, ...]
    offsets: Ints
    days: Floats
    hours: Floats
    metered: Floats
    source: pd.Series
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


def build_clock(fleet: Fleet, register: Register) -> RunClock:
    """How many hours has each position run, and how is that known?

    Notes
    -----
    Between two readings of a meter the step is believed if it lies between zero and 24 h a day.
    A step back is read as a meter that has turned over or was replaced where that makes it
    believable. A meter that stands still three times in a row on a pump that is said to run is
    not believed. Everything else runs at the pump's share of time run: from its own meter's
    believable steps, else from the register, else from its duty word.
    """
    positions = register.table
    steps, findings = _meter_steps(fleet, register)
    good = steps[steps["believed"]]
    by_pump = good.groupby("pump_key")[["hours", "days"]].sum()
    metered_share = (by_pump["hours"] / (by_pump["days"] * HOURS_PER_DAY)).clip(0.0, 1.0)
    share, source = _duty(positions, metered_share, fleet.settings.rules)
    rate = share.to_numpy() * HOURS_PER_DAY
    pump_number = pd.Series(positions["pump_key"].drop_duplicates().to_numpy())
    nodes = _nodes(positions, steps, rate, pump_number)
    return RunClock(*nodes, source=source, findings=findings)


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


def _meter_steps(fleet: Fleet, register: Register) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Turn readings into steps between readings, believed or not, with a finding for each not."""
    raw = fleet["run_hours"]
    match = match_tags(raw["tag"], raw["site"], register)
    rows = raw.assign(pump_key=match["pump_key"], day=day_number(raw["reading_date"]))
    unused = rows["reading"].isna() | rows["day"].isna()
    unknown = (rows["pump_key"] == "") & ~unused
    rows = rows[~unused & ~unknown].sort_values(["pump_key", "day", "reading"], kind="stable")
    again = rows.duplicated(["pump_key", "day"], keep="last")
    findings = [
        _meter_finding("meter reading incomplete", "ask", raw[unused], "has no date or value"),
        _meter_finding("not in register", "ask", raw[unknown], "its tag is not in the register"),
        _meter_finding("read twice on one day", "note", rows[again], "a later one is used"),
    ]
    rows = rows[~again]
    same = (rows["pump_key"] == rows["pump_key"].shift()).to_numpy()
    days = np.where(same, rows["day"].diff(), np.nan)
    period = (rows["kind"] == "period").to_numpy()
    step = np.where(period, rows["reading"], rows["reading"].diff())
    step = np.where(same, step, np.nan)
    most = days * HOURS_PER_DAY + _SLACK_H
    turned, replaced = np.zeros(len(rows), bool), np.zeros(len(rows), bool)
    for turn in _METER_TURNS:
        fits = (step < 0) & (step + turn >= 0) & (step + turn <= most) & ~turned
        step, turned = np.where(fits, step + turn, step), turned | fits
    new = (step < 0) & (rows["reading"].to_numpy() <= most)
    step, replaced = np.where(new, rows["reading"], step), new
    stuck = same & (step == 0) & _long_run(same & (step == 0), rows["pump_key"].to_numpy())
    standby = rows["pump_key"].map(
        register.table.drop_duplicates("pump_key").set_index("pump_key")["duty"] == "standby"
    )
    stuck &= ~standby.to_numpy(dtype=bool)
    wild = same & ((step < 0) | (step > most))
    out = rows[["record_id", "pump_key", "day"]].assign(
        days=days, hours=step, believed=same & ~stuck & ~wild & ~replaced
    )
    findings += [
        _meter_finding("meter turned over", "note", rows[turned], "the step was mended"),
        _meter_finding("meter replaced", "doubt", rows[replaced], "hours since are from duty"),
        _meter_finding("meter stands still", "doubt", rows[stuck], "hours since are from duty"),
        _meter_finding("meter step impossible", "ask", rows[wild], "hours since are from duty"),
    ]
    return out, join_findings(findings)


def _meter_finding(check: str, severity: Severity, rows: pd.DataFrame, tail: str) -> pd.DataFrame:
    set_aside = severity == "ask" and check != "meter step impossible"
    return make_findings(
        check,
        severity,
        rows["record_id"],
        f"meter reading {{value}} h: {check}; {tail}",
        column="reading",
        value=rows["reading"],
        action="set aside" if set_aside else tail,
        set_aside=set_aside or check == "read twice on one day",
    )


def _long_run(flag: npt.NDArray[np.bool_], key: npt.NDArray[np.object_]) -> npt.NDArray[np.bool_]:
    """True inside unbroken runs of at least `_STUCK_STEPS` flags of one key."""
    if not len(flag):
        return flag
    new = np.r_[True, (flag[1:] != flag[:-1]) | (key[1:] != key[:-1])]
    run = np.cumsum(new) - 1
    long: npt.NDArray[np.bool_] = np.bincount(run)[run] >= _STUCK_STEPS
    return flag & long


def _nodes(
    positions: pd.DataFrame, steps: pd.DataFrame, rate: Floats, pumps: pd.Series
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
