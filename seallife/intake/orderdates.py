"""When did a seal come out and the pump go back, and how well is that known?

In: work orders. Out: one pair of dates an order. Next: `seallife.orders`.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from seallife.findings import make_findings

__all__ = ["order_dates"]

_CLOSING_SHARE = 0.95  # share of orders closed within the delay assumed where only closing is known
_SWAP_DAYS = 60  # start and end this far the wrong way round are taken as swapped
_EVENT_DATES = ("date_raised", "malfunction_start", "work_start", "work_end")
_CHANCE = 1e-6  # of so many orders on one day of the month, below which it stands for the month
_MONTH_DAYS = 30.4
_TOO_LATE = pd.Timedelta(days=366)  # an export may be younger than the end of data, but not so much


def order_dates(
    orders: pd.DataFrame, data_end: dt.date | None
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """When did the seal's life end and the pump return, in each order?

    The leak's first sight comes first, then the start of work, then the order's date. The
    closing date is administrative and often months late: it only bounds the date from above.

    Parameters
    ----------
    orders : pandas.DataFrame
        Work orders with the schema's date columns.
    data_end : datetime.date or None
        A date long after it cannot be.

    Returns
    -------
    dates : pandas.DataFrame
        end, end_low (NaT where the day is known), back, date_kind; index of ``orders``.
    findings : list of pandas.DataFrame
    """
    orders, findings = _possible(orders, data_end)
    start, back = orders["work_start"], orders["work_end"]
    swapped = (back < start) & (start - back <= pd.Timedelta(days=_SWAP_DAYS))
    findings.append(
        make_findings(
            "end before start",
            "doubt",
            orders.loc[swapped, "record_id"],
            "work ends before it starts; the two dates were taken as swapped",
            column="work_end",
            value=orders.loc[swapped, "work_end"],
            action="dates swapped",
        )
    )
    far = (back < start) & ~swapped
    findings.append(
        make_findings(
            "end before start",
            "doubt",
            orders.loc[far, "record_id"],
            f"work ends on {{value}}, more than {_SWAP_DAYS} days before it starts",
            column="work_end",
            value=orders.loc[far, "work_end"],
            action="end of work left out",
        )
    )
    start, back = start.mask(swapped, back), back.mask(far).mask(swapped, start)
    end = orders["malfunction_start"].fillna(start).fillna(orders["date_raised"])
    kind = pd.Series("", index=orders.index, dtype=object)
    for column, word in (
        ("date_raised", "order raised"),
        ("work_start", "work start"),
        ("malfunction_start", "fault seen"),
    ):
        kind[orders[column].notna()] = word
    only_end = end.isna() & back.notna()
    end, kind = end.fillna(back), kind.mask(only_end, "work end")
    low = pd.Series(pd.NaT, index=orders.index, dtype="datetime64[ns]")
    only_closed = end.isna() & orders["closed"].notna()
    delay = _closing_delay(orders)
    low[only_closed] = orders["closed"][only_closed] - delay
    end, kind = end.fillna(orders["closed"]), kind.mask(only_closed, "closed")
    findings.append(
        make_findings(
            "only the closing date",
            "doubt",
            orders.loc[only_closed, "record_id"],
            f"only the closing date {{value}} is known; the removal lies in the {delay.days} days "
            "before it",
            column="closed",
            value=orders.loc[only_closed, "closed"],
            threshold=f"{_CLOSING_SHARE:.0%} of orders here close within {delay.days} days",
            action="end of life known as a stretch",
        )
    )
    monthly = _month_only(orders) & ~only_closed
    findings.append(_said_monthly(orders, end, monthly))
    first = end.dt.to_period("M").dt.start_time
    last = (first + pd.offsets.MonthEnd(1)).where(first.notna())
    # The order was closed after the work, so the stretch ends there at the latest.
    last = last.mask((orders["closed"] >= end) & (orders["closed"] < last), orders["closed"])
    low, end = low.mask(monthly, first), end.mask(monthly, last)
    back = back.mask(monthly, end)
    late = back < end
    dates = pd.DataFrame(
        {
            "end": end.dt.normalize(),
            "end_low": low.dt.normalize(),
            "back": back.mask(late).fillna(start.where(start >= end)).fillna(end).dt.normalize(),
            "date_kind": kind.mask(monthly, "month only"),
        }
    )
    return dates, findings


def _possible(
    orders: pd.DataFrame, data_end: dt.date | None
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Leave out dates that cannot be yet."""
    findings: list[pd.DataFrame] = []
    if data_end is None:
        return orders, findings
    for column in _EVENT_DATES:
        late = orders[column] > pd.Timestamp(data_end) + _TOO_LATE
        if late.any():
            findings.append(
                make_findings(
                    "date in the future",
                    "doubt",
                    orders.loc[late, "record_id"],
                    f"{{value}} lies more than a year after the end of data, {data_end:%Y-%m-%d}",
                    column=column,
                    value=orders.loc[late, column],
                    action="date left out",
                )
            )
            orders = orders.assign(**{column: orders[column].mask(late)})
    return orders, findings


def _month_only(orders: pd.DataFrame) -> pd.Series:
    """Which orders are known to the month only: all dates on the 1st (or 15th), in a file where
    that is far more frequent than chance allows?
    """  # noqa: D205
    days = pd.DataFrame({c: orders[c].dt.day for c in _EVENT_DATES})
    dated = days.notna().any(axis=1)
    file = orders["record_id"].str.split(":").str[1]
    found = pd.Series(False, index=orders.index)
    if not dated.any():
        return found
    from scipy.special import betainc

    for day in (1, 15):
        on_day = dated & (days.eq(day) | days.isna()).all(axis=1)
        by = pd.DataFrame({"n": dated, "k": on_day}).groupby(file).sum()
        by = by[by["k"] > 0]
        # Binomial chance of as many or more, as a beta integral.
        chance = betainc(by["k"], by["n"] - by["k"] + 1.0, 1 / _MONTH_DAYS)
        found |= on_day & file.isin(by.index[chance < _CHANCE])
    return found


def _said_monthly(orders: pd.DataFrame, end: pd.Series, monthly: pd.Series) -> pd.DataFrame:
    return make_findings(
        "only the month",
        "doubt",
        orders.loc[monthly, "record_id"],
        "all dates fall on {value}, as too many of this file do; only the month is known",
        column="work_start",
        value=end[monthly].dt.strftime("the %d. of %B %Y"),
        threshold=f"chance below {_CHANCE:g}",
        action="end of life known as a stretch",
    )


def _closing_delay(orders: pd.DataFrame) -> pd.Timedelta:
    """How long after the work do orders here close? Half a year where none can tell."""
    worked = orders["work_end"].fillna(orders["work_start"])
    delay = (orders["closed"] - worked).dt.days
    delay = delay[delay >= 0]
    days = int(np.ceil(delay.quantile(_CLOSING_SHARE))) if len(delay) >= 20 else 182
    return pd.Timedelta(days=max(days, 1))
