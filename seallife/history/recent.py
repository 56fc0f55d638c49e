"""Did the last year bring fewer failures than the years before, beyond chance?

In: failures and exposure by month, failures without a place. Out: one verdict a group. Next:
`seallife.history.mtbr`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from seallife.history.rates import compare_rates
from seallife.history.windows import spells

__all__ = ["recent_verdicts"]

_AFTER, _UNTIL = 12, 48  # months ago: the last year, and the three before it
_WIDENED = "mtbf_dispersion"


def recent_verdicts(
    monthly: pd.DataFrame,
    unplaced: pd.DataFrame,
    *,
    level: float = 0.90,
    breaks: Sequence[pd.Timestamp] = (),
) -> pd.DataFrame:
    """Did the failure rate of the last twelve months change against up to three years before?

    Parameters
    ----------
    monthly : pandas.DataFrame
        by, group, month (its first day), failures, exposure_years, expected; whole months only.
        Intervals are widened by mtbf_dispersion, where there is one.
    unplaced : pandas.DataFrame
        site, end of removals that may have been failures and could not be placed on a position or
        a day. Time at risk counts the seals they belong to, so that they are missing above the
        line only.
    level : float
        Two-sided level of the ratio's interval.
    breaks : sequence of Timestamp
        Days on which what is recorded or counted changed: only the time since the last of them is
        compared.

    Returns
    -------
    pandas.DataFrame
        by, group, failures_before, years_before, failures_after, years_after, unplaced_before,
        unplaced_after (how many of the unplaced may belong there), and `compare_rates` of the
        placed ones; age_ratio with limits: the same ratio of failures over those expected at the
        seals' ages; since (day of the break that cuts the time compared, else NaT). A verdict of
        a change that the unplaced could undo is 'cannot tell yet', and so is all where a break
        leaves no time before the last twelve months.

    Notes
    -----
    A removal without a date may lie on either side; one without a site at each site. Which unit or
    class they belong to is not known: as many are taken as the group has of its side's failures.
    """
    last = monthly.loc[monthly["exposure_years"] > 0, "month"].max()
    if pd.isna(last):
        last = monthly["month"].max()
    ago = _months_before(last, monthly["month"])
    since = _since(last, monthly["month"][ago.between(0, _UNTIL - 1)], breaks)
    # a month that a break falls into holds both kinds of record
    kept = monthly["month"] >= since if since is not None else ago >= 0
    sides = (kept & (ago < _AFTER), kept & (ago >= _AFTER) & (ago < _UNTIL))
    lost_ago = _months_before(last, unplaced["end"])
    dateless = unplaced["end"].isna()
    # a failure before the break is on neither side
    late = unplaced["end"] >= since if since is not None else ~dateless
    lost = [
        unplaced.loc[dateless | late & (lost_ago < _AFTER) & (lost_ago >= 0), "site"],
        unplaced.loc[dateless | late & (lost_ago >= _AFTER) & (lost_ago < _UNTIL), "site"],
    ]
    whole = [
        float(monthly.loc[side & (monthly["by"] == "all"), "failures"].sum()) for side in sides
    ]
    rows = []
    for (by, group), part in monthly.groupby(["by", "group"], sort=False):
        after, before = (part[side[part.index]] for side in sides)
        n1, n0 = after["failures"].sum(), before["failures"].sum()
        t1, t0 = after["exposure_years"].sum(), before["exposure_years"].sum()
        u1, u0 = (
            _share(sites, str(by), str(group), n / total if total else 0.0)
            for sites, n, total in zip(lost, (n1, n0), whole, strict=True)
        )
        dispersion = float(part[_WIDENED].iloc[0]) if _WIDENED in part else 1.0
        got = compare_rates((n0, n1), (t0, t1), level=level, dispersion=dispersion)
        if got["verdict"] in {"improved", "worse"}:
            turned = (n0, n1 + u1) if got["verdict"] == "improved" else (n0 + u0, n1)
            other = compare_rates(turned, (t0, t1), level=level, dispersion=dispersion)
            if other["verdict"] != got["verdict"]:
                count = u1 if got["verdict"] == "improved" else u0
                got["message"] = (
                    f"{got['verdict']} by the records placed, but {count} more that may be "
                    "failures lack a pump or a date and could undo it"
                )
                got["verdict"], got["more_years"] = "cannot tell yet", math.nan
        if since is not None:
            told = f"the records changed on {since:%Y-%m-%d}"
            if t0 > 0:
                got["message"] = f"{got['message']}; {told}, and only the time since is compared"
            else:
                got["message"] = f"{told}, and nothing before that can be compared"
                got["more_years"] = math.nan
        aged = compare_rates(
            (n0, n1),
            (before["expected"].sum(), after["expected"].sum()),
            level=level,
            dispersion=dispersion,
        )
        rows.append(
            {
                "by": by,
                "group": group,
                "failures_before": n0,
                "years_before": t0,
                "failures_after": n1,
                "years_after": t1,
                "unplaced_before": u0,
                "unplaced_after": u1,
                **got,
                "age_ratio": aged["ratio"],
                "age_ratio_low": aged["low"],
                "age_ratio_high": aged["high"],
                "since": pd.NaT if since is None else since,
            }
        )
    return pd.DataFrame(rows)


def _since(
    last: pd.Timestamp, months: pd.Series, breaks: Sequence[pd.Timestamp]
) -> pd.Timestamp | None:
    """Last break among the months compared, not counting one at their very begin."""
    if months.empty or spells(months, breaks).nunique() < 2:
        return None
    days = pd.to_datetime(list(breaks))
    return days[days <= last + pd.offsets.MonthEnd(0)].max()


def _months_before(last: pd.Timestamp, days: pd.Series) -> pd.Series:
    day = pd.to_datetime(days)
    return (last.year - day.dt.year) * 12 + last.month - day.dt.month


def _share(sites: pd.Series, by: str, group: str, share: float) -> int:
    """How many of the unplaced may belong to a group: all of its site's, or its share of all."""
    if by == "all":
        return len(sites)
    if by == "site":
        return int((sites.isin([group, ""])).sum())
    return math.ceil(len(sites) * share - 1e-9)
