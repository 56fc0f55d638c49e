"""Does leakage foretell failure here? The record of the alarms, held against what happened.

In: readings with the state of the alarm, seal lives. Out: `AlarmRecord`. Next:
`seallife.leakanswers`.

An alarm is judged by what was known when it was given. Seals in alarm for half of all time would
"foretell" half of all failures by chance: the share of time in alarm stands beside the share
foretold. Many failures show nothing before, and no threshold brings those back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seallife.errors import InputError, need_columns
from seallife.history.rates import mtbr, share_limits
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR

__all__ = ["AlarmRecord", "cheapest_rate", "foretold_failures"]

_READINGS = ("life_id", "day", "judged", "alarm")
_LIVES = ("life_id", "end", "exit_day")
_MONTH = DAYS_PER_YEAR / 12
_METHOD = (
    "state of the alarm at the last reading before each failure; false: no failure of that seal "
    "within the window; exact limits"
)
_SOURCE = "Clopper & Pearson (1934), Biometrika 26 (shares); exact Poisson limits (false alarms)"


@dataclass(frozen=True, eq=False)
class AlarmRecord(TableResult):
    """What became of failures and alarms.

    Attributes
    ----------
    table : DataFrame
        Per group: ``group``; ``failures`` of seals that were watched, of them ``foretold`` (in
        alarm at the last reading), ``in_time`` (with ``lead_d`` days or more), ``silent`` (read,
        no alarm), ``not_read`` (last reading too long before); ``share`` foretold of those read,
        with limits, ``in_time_share`` with limits; ``lead_low``, ``lead_median``, ``lead_high``
        [d] (quartiles of those foretold); ``alarms``, of them ``false``, ``undecided`` (the records
        end within the window); ``months`` watched, ``false_per_100`` position-months with limits;
        ``time_in_alarm`` (share of readings: what chance would foretell); ``status``, ``message``.
    failures : DataFrame
        Per failure of a watched seal: ``life_id``, ``group``, ``told`` ('in alarm', 'no alarm',
        'not read'), ``lead_d``, ``last_read_d`` (days from the last reading).
    episodes : DataFrame
        Per alarm: ``life_id``, ``group``, ``start``, ``stop`` (day numbers of first and last
        reading in alarm), ``outcome`` ('failure', 'false', 'undecided'), ``lead_d``.
    window_d, lead_d, stale_d : float
    """

    failures: pd.DataFrame
    episodes: pd.DataFrame
    window_d: float
    lead_d: float
    stale_d: float


def foretold_failures(
    readings: pd.DataFrame,
    lives: pd.DataFrame,
    *,
    group: str = "",
    window_d: float = 180.0,
    lead_d: float = 14.0,
    stale_d: float = 62.0,
    level: float = 0.90,
) -> AlarmRecord:
    """What share of failures was foretold, how long before, and how many alarms were false?

    Parameters
    ----------
    readings : DataFrame
        Each reading of a seal in service: ``life_id``, ``day`` (number), ``judged`` (the seal had
        a baseline by then), ``alarm`` (it stood in alarm after this reading).
    lives : DataFrame
        ``life_id``, ``end`` ('failed', 'withdrawn', 'in service', 'lost'), ``exit_day`` (number).
    group : str
        Column of ``lives`` by which the record is split; '' for the whole only.
    window_d : float
        An alarm counts as true where that seal fails within so many days of its begin.
    lead_d : float
        Days that it takes to act.
    stale_d : float
        A reading older than this at the failure tells nothing of it.
    level : float

    Returns
    -------
    AlarmRecord
        The row 'all' first.

    Raises
    ------
    InputError
        A column is missing, or a reading belongs to no life.

    Notes
    -----
    A seal pulled on rising leakage counts as failed: where alarms lead to renewals in good order,
    true alarms look false. Seals under suspicion are read more often, so readings in alarm are
    more than their share of time.

    Examples
    --------
    >>> days = pd.DataFrame({"life_id": "A", "day": [0.0, 30, 60, 90], "judged": True,
    ...                      "alarm": [False, False, True, True]})
    >>> lives = pd.DataFrame({"life_id": ["A"], "end": ["failed"], "exit_day": [100.0]})
    >>> row = foretold_failures(days, lives)["all"]
    >>> f"{row['foretold']} of {row['failures']} foretold, {row['lead_median']:.0f} days before"
    '1 of 1 foretold, 40 days before'
    """
    need_columns(readings, _READINGS, "readings")
    need_columns(lives, (*_LIVES, *([group] if group else [])), "lives")
    known = lives.set_index("life_id")
    lost = ~readings["life_id"].isin(known.index)
    if lost.any():
        raise InputError(
            f"{readings.loc[lost, 'life_id'].iloc[0]!r} is no life", where="readings.life_id"
        )
    rows = readings[readings["judged"].astype(bool)].sort_values(["life_id", "day"], kind="stable")
    rows = rows.join(known[["end", "exit_day"]], on="life_id")
    rows = rows[rows["day"] < rows["exit_day"]]
    episodes = _episodes(rows, window_d)
    failures = _failures(rows, episodes, stale_d)
    gap = rows.groupby("life_id")["day"].diff()
    rows["months"] = gap.clip(upper=stale_d).fillna(0.0) / _MONTH
    for part in (rows, failures, episodes):
        part["group"] = part["life_id"].map(known[group]).astype(str) if group else "all"
    names = ["all", *sorted(rows["group"].unique())] if group else ["all"]
    table = pd.DataFrame(
        [_row(n, rows, failures, episodes, lead_d) for n in names], columns=[*_COUNTED]
    )
    return AlarmRecord(
        _with_limits(table, level),
        level,
        _METHOD,
        _SOURCE,
        failures.reset_index(drop=True),
        episodes.reset_index(drop=True),
        window_d,
        lead_d,
        stale_d,
    )


def cheapest_rate(
    records: Mapping[float, AlarmRecord], missed_cost: float, false_cost: float
) -> pd.DataFrame:
    """Which rate of false alarms costs least, given what a missed failure and a false alarm cost?

    Parameters
    ----------
    records : mapping
        Stated rate of false alarms -> record of the alarms at that rate, of one set of readings.
    missed_cost : float
        What a failure costs more that was not foretold in time.
    false_cost : float
        What a false alarm costs: a second reading, a look, at worst a needless renewal.

    Returns
    -------
    DataFrame
        ``rate``, ``missed``, ``false`` (per 100 position-months), ``cost`` (of both, per 100
        position-months, in the unit given), ``cheapest``. Costs only: a leak over a limit is acted
        on whatever this says.

    Raises
    ------
    InputError
        No record, or a cost below 0.
    """
    if not records:
        raise InputError("is empty", where="records")
    for name, value in (("missed_cost", missed_cost), ("false_cost", false_cost)):
        if not value >= 0:
            raise InputError(f"is {value}, not 0 or more", where=name)
    rows = []
    for rate, record in sorted(records.items()):
        r = record["all"]
        per = 100 / r["months"] if r["months"] > 0 else np.nan
        rows.append((rate, (r["failures"] - r["in_time"]) * per, r["false"] * per))
    table = pd.DataFrame(rows, columns=["rate", "missed", "false"])
    table["cost"] = table["missed"] * missed_cost + table["false"] * false_cost
    return table.assign(cheapest=table["cost"] == table["cost"].min())


def _episodes(rows: pd.DataFrame, window_d: float) -> pd.DataFrame:
    """Runs of readings in alarm of one seal, and what followed."""
    alarm = rows["alarm"].astype(bool)
    same = rows["life_id"] == rows["life_id"].shift()
    begins = alarm & ~(same & alarm.shift(fill_value=False))
    run = rows[alarm].assign(run=begins.cumsum()[alarm])
    out = run.groupby("run").agg(
        life_id=("life_id", "first"),
        start=("day", "first"),
        stop=("day", "last"),
        end=("end", "first"),
        exit_day=("exit_day", "first"),
        readings=("day", "size"),
    )
    lead = out["exit_day"] - out["start"]
    failed = (out["end"] == "failed") & (lead <= window_d)
    # what the records do not show to the end of the window is not decided
    cut = (out["end"] != "failed") & (out["exit_day"] - out["start"] < window_d)
    out["outcome"] = np.select([failed, cut], ["failure", "undecided"], "false")
    out["lead_d"] = lead.where(failed)
    return out.drop(columns=["end"]).reset_index(drop=True)


def _failures(rows: pd.DataFrame, episodes: pd.DataFrame, stale_d: float) -> pd.DataFrame:
    """How each failure of a watched seal was told."""
    last = rows[rows["end"] == "failed"].groupby("life_id").tail(1)
    last = last.set_index("life_id")
    begun = episodes.groupby("life_id").tail(1).set_index("life_id")["start"]
    out = pd.DataFrame({"exit_day": last["exit_day"]})
    out["last_read_d"] = last["exit_day"] - last["day"]
    in_alarm = last["alarm"].astype(bool)
    out["told"] = np.select(
        [out["last_read_d"] > stale_d, in_alarm], ["not read", "in alarm"], "no alarm"
    )
    lead = out["exit_day"] - begun.reindex(out.index)
    out["lead_d"] = lead.where(out["told"] == "in alarm")
    return out.reset_index()


_COUNTED = (
    *("group", "failures", "foretold", "in_time", "silent", "not_read"),
    *("lead_low", "lead_median", "lead_high"),
    *("alarms", "false", "undecided", "months", "time_in_alarm"),
)


def _row(
    name: str, rows: pd.DataFrame, failures: pd.DataFrame, episodes: pd.DataFrame, lead_d: float
) -> tuple[object, ...]:
    """Counts of one group."""
    mine, failed, alarms = (
        part if name == "all" else part[part["group"] == name]
        for part in (rows, failures, episodes)
    )
    told = failed["told"].value_counts()
    lead = failed["lead_d"].dropna()
    quarters = lead.quantile([0.25, 0.5, 0.75]).tolist() if len(lead) else [np.nan] * 3
    outcome = alarms["outcome"].value_counts()
    return (
        name,
        len(failed),
        int(told.get("in alarm", 0)),
        int((lead >= lead_d).sum()),
        int(told.get("no alarm", 0)),
        int(told.get("not read", 0)),
        *quarters,
        len(alarms),
        int(outcome.get("false", 0)),
        int(outcome.get("undecided", 0)),
        float(mine["months"].sum()),
        float(mine["alarm"].astype(bool).mean()) if len(mine) else np.nan,
    )


def _with_limits(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Add shares and rates with exact limits, and what cannot be told."""
    read = table["foretold"] + table["silent"]
    some = read > 0
    for name, part in (("share", table["foretold"]), ("in_time_share", table["in_time"])):
        low, high = share_limits(part, read.clip(lower=1), level)
        table[name] = (part / read.clip(lower=1)).where(some)
        table[f"{name}_low"], table[f"{name}_high"] = low, high
        table.loc[~some, [f"{name}_low", f"{name}_high"]] = np.nan
    watched = table["months"] > 0
    got = mtbr(table["months"].where(watched, 1.0), table["false"], level=level)
    for end, other in (("", "mean_time"), ("_low", "high"), ("_high", "low")):
        rate = 100 / got[other].to_numpy()
        table[f"false_per_100{end}"] = np.where(watched, rate, np.nan)
    table.loc[watched & (table["false"] == 0), ["false_per_100", "false_per_100_low"]] = 0.0
    status, message = worded_status(
        len(table),
        [
            ((~watched).to_numpy(), "not watched", "No seal was read often enough."),
            ((~some).to_numpy(), "no failures", "No failure of a seal that was read: no share."),
        ],
    )
    return table.assign(status=status, message=message)
