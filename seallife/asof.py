"""What was on record on the evening of an earlier day?

In: `Fleet`. Out: `Fleet`, as if exported then. Next: `seallife.study`, `seallife.scorecard`.

A forecast can be judged only against a time it did not see. Each record is here from the day by
which it could have been written; what a record says is never changed, only dates that lie ahead.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import NamedTuple

import pandas as pd

from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.observation import was_packed
from seallife.register import build_register
from seallife.settings import Settings, Window

__all__ = ["as_of"]

_ONE_DAY = pd.Timedelta(days=1)


class _Day(NamedTuple):
    """The day asked for, and the last day of all records, if it is known."""

    day: pd.Timestamp
    last: pd.Timestamp | None

    def passed(self, dates: pd.Series) -> pd.Series:
        """Which dates had come by that evening? One that is missing had not."""
        return dates < self.day + _ONE_DAY

    def known(self, dates: pd.Series) -> pd.Series:
        """Leave out dates that lay ahead."""
        return dates.where(self.passed(dates))


def as_of(fleet: Fleet, date: dt.date | str) -> Fleet:
    """What was on record on the evening of this day?

    Parameters
    ----------
    fleet : Fleet
        From `seallife.intake.read_fleet`; not changed.
    date : date or str
        Not after the fleet's ``data_end``; on that day the fleet itself is returned.

    Returns
    -------
    Fleet
        ``data_end`` is the day. Positions commissioned later, or packed until later, are not
        there, those retired later are in use. A work order and a removal are there once their last
        date has come: whether work under way would end in a seal taken out was not known. Meter
        readings, readings of leakage and changes are there by their date, limits by their first
        day. Kept whole: outages, whose calendar is known years ahead; the other columns of the
        register, which say what a position is today; corrections by hand, as they say what should
        have been on record. The store's stock of today is left out.

    Raises
    ------
    InputError
        The day is no date or lies after the end of records, or no position was in use by then.

    Notes
    -----
    A site whose window begins later keeps its positions and has no record. Texts and codes of an
    order are taken as written when its work was done: nothing tells when they were.
    """
    at = _Day(_day(date), _timestamp(fleet.settings.data_end))
    if at.last is not None and at.day >= at.last:
        if at.day > at.last:
            raise InputError(
                f"is {at.day:%Y-%m-%d}, records end {at.last:%Y-%m-%d}",
                where="date",
                hint="give an earlier day",
            )
        return fleet
    tables = {
        name: _CUTS[name](table, at) if name in _CUTS else table
        for name, table in fleet.tables.items()
        if name != "stores"
    }
    tables["positions"] = _sealed(fleet, tables["positions"], at)
    if tables["positions"].empty:
        raise InputError(
            f"no seal position was in use by {at.day:%Y-%m-%d}",
            where="positions",
            hint="give a later day, or look at commissioned",
        )
    gone = _gone(fleet.tables, tables)
    return replace(
        fleet,
        settings=_settings(fleet.settings, tables["positions"], at),
        tables=tables,
        findings=_without(fleet.findings, gone),
        overrides=_without(fleet.overrides, gone),
    )


def _day(date: dt.date | str) -> pd.Timestamp:
    try:
        day = pd.Timestamp(date)
    except (TypeError, ValueError):
        day = None
    if day is None or pd.isna(day):
        raise InputError(f"is {date!r}, no date", where="date", hint="write 2024-01-31")
    return day.tz_localize(None).normalize()


def _timestamp(day: dt.date | None) -> pd.Timestamp | None:
    return None if day is None else pd.Timestamp(day)


def _positions(rows: pd.DataFrame, at: _Day) -> pd.DataFrame:
    """Leave out what came later; nobody knew yet what would be retired."""
    rows = rows[at.passed(rows["commissioned"]) | rows["commissioned"].isna()]
    retired = at.known(rows["retired"])
    ahead = rows["retired"].notna() & retired.isna()
    return rows.assign(
        retired=retired,
        status=rows["status"].mask(ahead, ""),
        seal_installed=at.known(rows["seal_installed"]),
    )


def _sealed(fleet: Fleet, rows: pd.DataFrame, at: _Day) -> pd.DataFrame:
    """Leave out positions that had packing until a later day: they had no seal yet."""
    changes = fleet["changes"]
    later = changes[was_packed(changes) & ~at.passed(changes["date"])]
    if later.empty:
        return rows
    register = build_register(fleet).table
    packed = register.loc[register["position_id"].isin(later["position_id"]), "record_id"]
    return rows[~rows["record_id"].isin(packed)]


def _done(*columns: str) -> Callable[[pd.DataFrame, _Day], pd.DataFrame]:
    """Keep jobs whose last date had come.

    A seal whose job is under way counts as in service. Its order would say little that evening:
    its finish, findings, codes and parts came later, and orders that were only raised are mostly
    not about a seal that came out.
    """

    def cut(rows: pd.DataFrame, at: _Day) -> pd.DataFrame:
        dates = rows[list(columns)]
        if at.last is not None:
            # What lies after the end of all records is a slip of the pen, not a job not yet done.
            dates = dates.where(dates < at.last + _ONE_DAY)
        last = dates.max(axis=1)
        if "closed" in rows:
            # Closing is paper work, often months late: it tells only where nothing else does.
            last = last.fillna(rows["closed"])
            rows = rows.assign(closed=at.known(rows["closed"]))
        return rows[at.passed(last)]

    return cut


def _by(column: str) -> Callable[[pd.DataFrame, _Day], pd.DataFrame]:
    """Keep records dated no later than the day."""
    return lambda rows, at: rows[at.passed(rows[column])]


def _limits(rows: pd.DataFrame, at: _Day) -> pd.DataFrame:
    """A limit without a first day was always in force."""
    return rows[at.passed(rows["valid_from"]) | rows["valid_from"].isna()]


_CUTS: Mapping[str, Callable[[pd.DataFrame, _Day], pd.DataFrame]] = {
    "positions": _positions,
    "work_orders": _done("date_raised", "malfunction_start", "work_start", "work_end"),
    "removals": _done("date", "back_in_service"),
    "run_hours": _by("reading_date"),
    "leak_readings": _by("date"),
    "leak_limits": _limits,
    "changes": _by("date"),
}
"""Table -> what of it was on record; tables not named here are kept whole."""


def _gone(before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame]) -> pd.Series:
    """Ids of records that are not there yet."""
    ids = [rows["record_id"] for rows in before.values()]
    kept = [rows["record_id"] for rows in after.values()]
    every = pd.concat(ids)
    gone: pd.Series = every[~every.isin(pd.concat(kept))]
    return gone


def _without(rows: pd.DataFrame, gone: pd.Series) -> pd.DataFrame:
    return rows[~rows["record_id"].isin(gone)]


def _settings(settings: Settings, positions: pd.DataFrame, at: _Day) -> Settings:
    """End the data, and each window and gap, with the day."""
    sites = set(positions["site"].where(positions["site"] != "", settings.name))
    day = at.day.date()
    windows = tuple(_window(w, day) for w in settings.windows if w.site in sites)
    return settings.model_copy(update={"data_end": day, "windows": windows})


def _window(window: Window, day: dt.date) -> Window:
    """Cut a window at a day; of one not yet begun all is a gap, so that nobody guesses at it."""
    if window.start > day:
        return Window(site=window.site, start=day, end=day, gaps=((day, day),))
    end = day if window.end is None else min(window.end, day)
    gaps = tuple((first, min(last, end)) for first, last in window.gaps if first <= end)
    return Window(site=window.site, start=window.start, end=end, gaps=gaps)
