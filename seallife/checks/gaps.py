"""Stretches without any record, too long to be chance.

In: `Records`. Out: findings with the line for ``fleet.toml``.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.checks.records import Records
from seallife.findings import join_findings, make_findings

__all__ = ["silent_stretches"]

_SHORTEST = 28  # days; holidays and outages make shorter silences
_FEWEST = 20  # days with records; fewer give no rate
_CHANCE = 1e-3  # of any such silence at a site, if records came at random


def silent_stretches(records: Records) -> pd.DataFrame:
    """When did a whole site record nothing, against all chance?

    Notes
    -----
    If days with records come at a constant rate r, one of n silences is as long as d days with a
    chance of about n exp(-r d). Days are counted, not orders: orders come in clusters. The silence
    after the last record is looked at with the windows, see `seallife.observation`.

    Source
    ------
    Exponential gaps of a Poisson process, any textbook; first order of Bonferroni's inequality.
    """
    orders = records.orders
    own = records.fleet["removals"]
    site = own["site"].where(own["site"] != "", records.register.table["site"].iloc[0])
    days = pd.concat(
        [orders[["site", "day"]], pd.DataFrame({"site": site, "day": own["date"]})]
    ).dropna()
    stretches = records.watched.stretches
    given = {w.site: w for w in records.fleet.settings.windows}
    parts = []
    for name, seen in days.groupby("site"):
        if name not in given:
            continue
        free = stretches[stretches["site"] == name]
        parts.append(_of_site(str(name), seen["day"], free, list(given[str(name)].gaps)))
    return join_findings(parts)


def _of_site(
    site: str, seen: pd.Series, stretches: pd.DataFrame, gaps: list[tuple[object, object]]
) -> pd.DataFrame:
    """Silences of one site inside its windows, the declared gaps taken out."""
    start, stop = stretches["start"].min(), stretches["end"].max()
    inside = seen[(seen >= start) & (seen < stop)].dt.normalize()
    marks = np.unique(inside.to_numpy("datetime64[D]"))
    if len(marks) < _FEWEST:
        return join_findings([])
    begin = np.concatenate([[np.datetime64(start, "D") - 1], marks[:-1]])
    silent = (marks - begin).astype(int) - 1
    blank = np.zeros(len(marks), int)
    for low, high in gaps:
        first = np.maximum(np.datetime64(pd.Timestamp(str(low)), "D"), begin + 1)
        last = np.minimum(np.datetime64(pd.Timestamp(str(high)), "D"), marks - 1)
        blank += np.maximum((last - first).astype(int) + 1, 0)
    silent = silent - blank
    # Silences that are no chance would lower the rate: the longest are left out, and the median
    # does not feel them. The slower of the two rates is the careful one.
    usual = np.sort(silent)[: -max(1, len(silent) // 100)]
    mean, median = float(usual.mean()), float(np.median(silent))
    rate = min(np.log1p(1 / max(mean, 0.1)), np.log(2) / (median + 1))
    chance = len(marks) * np.exp(-rate * silent)
    found = np.flatnonzero((silent >= _SHORTEST) & (chance < _CHANCE))
    known = [f"[{a}, {b}]" for a, b in gaps]
    lines = [f"[{begin[i] + 1}, {marks[i] - 1}]" for i in found]
    # Silence from the first day on: the window was given too early.
    mend = [
        f"start = {marks[i]}" if i == 0 else f"gaps = [{', '.join([*known, line])}]"
        for i, line in zip(found, lines, strict=True)
    ]
    return make_findings(
        "no record for long",
        "ask",
        [site] * len(found),
        [
            f"{site} recorded nothing from {begin[i] + 1} to {marks[i] - 1} ({silent[i]} days); if "
            f"records were lost put under its [[windows]]: {line}"
            for i, line in zip(found, mend, strict=True)
        ],
        column="windows",
        value=lines,
        threshold=f"chance below {_CHANCE:g}",
        action="counted as time at risk without a removal",
    )
