"""Hour meters: from readings to steps that can be believed, with a finding for each that cannot.

In: `Fleet`, `Register`. Out: `Meters`. Next: `seallife.clocks`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.findings import Severity, join_findings, make_findings
from seallife.intake import Fleet
from seallife.register import Register, match_tags
from seallife.schema import DAYS_PER_YEAR, HOURS_PER_DAY

__all__ = ["Meters", "day_number", "read_meters"]

_METER_TURNS = 10.0 ** np.arange(4, 7)  # meters of 4, 5 and 6 digits start again at these
_SLACK_H = 24.0  # a reading may be taken at another time of day
_STUCK_STEPS = 3  # so many steps of zero in a row on a pump said to run: the meter stands
_KIND_STEPS = 4  # fewer steps do not tell a total from hours of a period
_PERIOD_FALLS = 0.2  # a total never falls; hours of a period do about every second time
_SAME_SHARE = 0.8  # two pumps with so many readings in common have one meter

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Meters:
    """Hour meters as understood.

    Attributes
    ----------
    steps : pandas.DataFrame
        One row a reading in use, by pump and day: record_id, pump_key, day (number), days and
        hours since the reading before (NaN at a pump's first), believed.
    starts : pandas.Series
        Pump key -> starts a year [1/a], where the readings count starts.
    findings : pandas.DataFrame
        Readings that could not be believed, and meters read in another way than they say.
    """

    steps: pd.DataFrame
    starts: pd.Series
    findings: pd.DataFrame


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


def read_meters(fleet: Fleet, register: Register) -> Meters:
    """Which hours did each pump run between two readings, as far as its meter can be believed?

    Notes
    -----
    A reading that neither neighbour allows while they allow each other is a slip of the pen and is
    set aside. A step is believed if it lies between zero and 24 h a day. A step back is read as a
    meter that has turned over or was replaced where that makes it believable. A meter that stands
    still three times in a row on a pump that is said to run is not believed, nor is one that two
    pumps share. Whether a meter gives totals or hours of a period is seen from its readings where
    they contradict what is said, or nothing is.
    """
    raw = fleet["run_hours"]
    match = match_tags(raw["tag"], raw["site"], register)
    rows = raw.assign(pump_key=match["pump_key"], day=day_number(raw["reading_date"]))
    unused = rows["reading"].isna() | rows["day"].isna()
    unknown = (rows["pump_key"] == "") & ~unused
    rows = rows[~unused & ~unknown].sort_values(["pump_key", "day", "reading"], kind="stable")
    again = rows.duplicated(["pump_key", "day"], keep="last")
    findings = [
        _finding("meter reading incomplete", "ask", raw[unused], "has no date or value"),
        _finding("not in register", "ask", raw[unknown], "its tag is not in the register"),
        _finding("read twice on one day", "note", rows[again], "a later one is used"),
    ]
    rows = rows[~again]
    rows, kinds = _with_kind(rows)
    slips = _mistyped(rows)
    findings += [kinds, _finding("meter reading mistyped", "doubt", rows[slips], _SLIP)]
    rows = rows[~slips]
    steps, doubts = _steps(rows, register)
    return Meters(steps, _starts(rows), join_findings([*findings, *doubts]))


_SLIP = "neither reading next to it allows it, and they allow each other; left out"


def _steps(rows: pd.DataFrame, register: Register) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Steps between readings, mended where one rule makes them believable."""
    days, step, most = _differences(rows)
    same = ~np.isnan(days)
    turned = np.zeros(len(rows), bool)
    for turn in _METER_TURNS:
        fits = (step < 0) & (step + turn >= 0) & (step + turn <= most) & ~turned
        step, turned = np.where(fits, step + turn, step), turned | fits
    replaced = (step < 0) & (rows["reading"].to_numpy() <= most)
    step = np.where(replaced, rows["reading"], step)
    stuck = same & (step == 0) & _long_run(same & (step == 0), rows["pump_key"].to_numpy())
    standby = rows["pump_key"].map(
        register.table.drop_duplicates("pump_key").set_index("pump_key")["duty"] == "standby"
    )
    stuck &= ~standby.to_numpy(dtype=bool)
    wild = same & ((step < 0) | (step > most))
    shared, sharing = _shared(rows)
    steps = rows[["record_id", "pump_key", "day"]].assign(
        days=days, hours=step, believed=same & ~stuck & ~wild & ~replaced & ~shared
    )
    return steps, [
        sharing,
        _finding("meter turned over", "note", rows[turned], "the step was mended"),
        _finding("meter replaced", "doubt", rows[replaced], "hours since are from duty"),
        _finding("meter stands still", "doubt", rows[stuck], "hours since are from duty"),
        _finding("meter step impossible", "ask", rows[wild], "hours since are from duty"),
    ]


def _differences(rows: pd.DataFrame) -> tuple[Floats, Floats, Floats]:
    """Days, hours and most hours possible since the pump's reading before; NaN at its first."""
    same = (rows["pump_key"] == rows["pump_key"].shift()).to_numpy()
    days = np.where(same, rows["day"].diff(), np.nan)
    step = np.where(rows["period"], rows["reading"], rows["reading"].diff())
    return days, np.where(same, step, np.nan), days * HOURS_PER_DAY + _SLACK_H


def _with_kind(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Decide for each pump whether readings are totals or hours since the reading before."""
    rows = rows.assign(period=rows["kind"] == "period")
    days, step, most = _differences(rows.assign(period=False))
    seen = ~np.isnan(days)
    reading = rows["reading"].to_numpy()
    about = pd.DataFrame(
        {
            "steps": seen,
            "falls": seen & (step < 0),
            "short": seen & (reading <= most),
        }
    )
    by = about.groupby(rows["pump_key"].to_numpy()).sum()
    falls, short = by["falls"] / by["steps"], by["short"] / by["steps"]
    enough = by["steps"] >= _KIND_STEPS
    period = rows["pump_key"].map(enough & (falls >= _PERIOD_FALLS) & (short >= 0.95))
    total = rows["pump_key"].map(enough & (falls <= 0.1) & (short <= 0.5))
    now = (rows["period"] & ~total.to_numpy(bool)) | period.to_numpy(bool)
    first = (now != rows["period"]) & ~rows["pump_key"].mask(now == rows["period"]).duplicated()
    words = pd.Series(np.where(now, "hours of a period", "totals"), index=rows.index)
    said = rows["kind"].mask(rows["kind"] == "", "nothing")
    findings = make_findings(
        "meter kind seen from readings",
        "doubt",
        rows.loc[first, "record_id"],
        [
            f"the readings of '{tag}' are {word}, though the kind given is {kind}"
            for tag, word, kind in zip(
                rows.loc[first, "tag"], words[first], said[first], strict=True
            )
        ],
        column="kind",
        value=rows.loc[first, "kind"],
        action="read as the readings show",
    )
    return rows.assign(period=now), findings


def _mistyped(rows: pd.DataFrame) -> Bools:
    """Find totals that both neighbours rule out, while the neighbours agree with each other."""
    day, reading = rows["day"].to_numpy(), rows["reading"].to_numpy()
    key, total = rows["pump_key"].to_numpy(), ~rows["period"].to_numpy(bool)
    bad = np.zeros(len(rows), bool)
    if len(rows) < 3:
        return bad

    def fits(earlier: slice, later: slice) -> Bools:
        """Can the later reading follow the earlier one?"""
        step, most = reading[later] - reading[earlier], day[later] - day[earlier]
        possible: Bools = (step >= 0) & (step <= most * HOURS_PER_DAY + _SLACK_H)
        return possible

    before, here, after = slice(None, -2), slice(1, -1), slice(2, None)
    bad[here] = (key[before] == key[after]) & ~fits(before, here) & ~fits(here, after)
    bad[here] &= fits(before, after) & total[here]
    return bad


def _shared(rows: pd.DataFrame) -> tuple[Bools, pd.DataFrame]:
    """Find pumps with one meter: nearly all readings of one are the other's, day for day."""
    about = rows[["pump_key", "day", "reading"]]
    twins = about[(about["reading"] > 0) & about.duplicated(["day", "reading"], keep=False)]
    pairs = twins.merge(twins, on=["day", "reading"])
    pairs = pairs[pairs["pump_key_x"] != pairs["pump_key_y"]]
    common = pairs.groupby(["pump_key_x", "pump_key_y"])["reading"].agg(["size", "nunique"])
    count = about.groupby("pump_key").size()
    of_each = count.reindex(common.index.get_level_values(0)).to_numpy(float)
    one_meter = (common["nunique"] >= _KIND_STEPS) & (common["size"] >= _SAME_SHARE * of_each)
    with_other = common[one_meter].reset_index().drop_duplicates("pump_key_x")
    tag = rows.drop_duplicates("pump_key").set_index("pump_key")
    mine = tag.loc[with_other["pump_key_x"]]
    findings = make_findings(
        "meter shared by pumps",
        "ask",
        mine["record_id"],
        [
            f"'{a}' and '{b}' show the same readings; whose hours are they?"
            for a, b in zip(mine["tag"], tag.loc[with_other["pump_key_y"], "tag"], strict=True)
        ],
        column="reading",
        value=mine["tag"],
        threshold=f"{_SAME_SHARE:.0%} of readings the same",
        action="not believed; hours are from duty",
    )
    return rows["pump_key"].isin(with_other["pump_key_x"]).to_numpy(), findings


def _starts(rows: pd.DataFrame) -> pd.Series:
    """Starts a year of each pump, where a column counts them; counters set back are left out."""
    if "starts" not in rows or not len(rows):
        return pd.Series(dtype=float)
    same = (rows["pump_key"] == rows["pump_key"].shift()).to_numpy()
    step = np.where(rows["period"], rows["starts"], rows["starts"].diff())
    good = same & (step >= 0)
    by = pd.DataFrame({"starts": step, "days": rows["day"].diff()})[good]
    total = by.groupby(rows["pump_key"][good]).sum()
    return total["starts"] / total["days"] * DAYS_PER_YEAR


def _finding(check: str, severity: Severity, rows: pd.DataFrame, tail: str) -> pd.DataFrame:
    left_out = {"meter reading incomplete", "not in register", "read twice on one day"}
    set_aside = check in {*left_out, "meter reading mistyped"}
    return make_findings(
        check,
        severity,
        rows["record_id"],
        f"meter reading {{value}} h: {check}; {tail}",
        column="reading",
        value=rows["reading"],
        action="set aside" if set_aside else tail,
        set_aside=set_aside,
    )


def _long_run(flag: Bools, key: npt.NDArray[np.object_]) -> Bools:
    """True inside unbroken runs of at least `_STUCK_STEPS` flags of one key."""
    if not len(flag):
        return flag
    new = np.r_[True, (flag[1:] != flag[:-1]) | (key[1:] != key[:-1])]
    run = np.cumsum(new) - 1
    long: Bools = np.bincount(run)[run] >= _STUCK_STEPS
    return flag & long
