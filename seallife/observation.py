"""When was each position watched? Stretches of time in which a removal would be in the records.

In: `Fleet`, `Register`. Out: `Observation`. Next: `seallife.events`, `seallife.lives`,
`seallife.history`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from seallife.classes import EXCLUDED, Classes
from seallife.errors import InputError, did_you_mean
from seallife.findings import join_findings, make_findings
from seallife.intake import Fleet
from seallife.register import Register, tag_key
from seallife.schema import TABLES
from seallife.settings import Window

__all__ = ["Observation", "observe", "was_packed"]

_SILENT_DAYS = 90  # a site without an order for so long before the data's end has stopped sending
_PACKED = (  # words for a pump without mechanical seal, in the languages of the word lists
    r"(?i)pack(?:ed|ing)|gland|stopfbuchs|presse-?[ée]toupe|tresse|empaquetadura|prensaestopa"
    r"|gaxeta|baderna|premistoppa|pakking"
)
_ONE_DAY = pd.Timedelta(days=1)


@dataclass(frozen=True)
class Observation:
    """Time at risk.

    Attributes
    ----------
    windows : pandas.DataFrame
        site, start, end (first day after the last): where records exist.
    stretches : pandas.DataFrame
        position_id, site, start, end (exclusive), starts_with ('commissioned', 'records begin',
        'gap'), ends_with ('data end', 'gap', 'retired'); ordered by position and start.
    findings : pandas.DataFrame
        Windows that had to be found from the records, positions never at risk.
    """

    windows: pd.DataFrame
    stretches: pd.DataFrame
    findings: pd.DataFrame


def observe(fleet: Fleet, register: Register, classes: Classes) -> Observation:
    """Over which stretches of time was each seal position at risk and on record?

    A stretch runs from commissioning or the begin of records to retirement or the end of data,
    and is cut at gaps in the records. A position without a shaft seal is never at risk; one that
    was packed before a dated change is at risk from that day.

    Raises
    ------
    InputError
        No position was ever at risk, or a window is of a site that the register lacks.
    """
    windows, findings = _windows(fleet, register)
    rows = register.table[["position_id", "record_id", "site", "commissioned", "retired"]]
    sealless = (classes.table["service_class"] == EXCLUDED).to_numpy()
    findings.append(
        make_findings(
            "no shaft seal",
            "note",
            rows.loc[sealless, "record_id"],
            "'{value}' is packed or sealless",
            value=rows.loc[sealless, "position_id"],
            action="no exposure, no life",
            set_aside=True,
        )
    )
    rows, conversions = _first_sealed(rows[~sealless], fleet["changes"])
    findings.append(conversions)
    parts = rows.merge(windows, on="site", how="left")
    from_start = parts["commissioned"] >= parts["start"]
    late = parts["commissioned"] > parts["start"]
    retired = parts["retired"] < parts["end"]
    begin_word = pd.Series("records begin", index=parts.index).mask(from_start, "commissioned")
    parts["starts_with"] = begin_word.mask(parts["after_gap"] & ~late, "gap")
    parts["ends_with"] = parts["ends_with"].mask(retired, "retired")
    parts["start"] = parts["start"].mask(late, parts["commissioned"])
    parts["end"] = parts["end"].mask(retired, parts["retired"])
    kept = parts[parts["start"] < parts["end"]].sort_values(["position_id", "start"])
    never = rows[~rows["position_id"].isin(kept["position_id"])]
    findings.append(
        make_findings(
            "never at risk",
            "note",
            never["record_id"],
            "'{value}' was not in use while records were kept",
            value=never["position_id"],
            action="no exposure, no life",
            set_aside=True,
        )
    )
    if kept.empty:
        raise InputError(
            "no seal position was in use while records were kept",
            where="positions",
            hint="look at commissioned and retired, and at [[windows]] in fleet.toml",
        )
    columns = ["position_id", "site", "start", "end", "starts_with", "ends_with"]
    sites = windows.groupby("site", as_index=False).agg(start=("start", "min"), end=("end", "max"))
    return Observation(sites, kept[columns].reset_index(drop=True), join_findings(findings))


def was_packed(changes: pd.DataFrame) -> pd.Series:
    """Which changes turned a packed position into one with a mechanical seal?"""
    before = changes["from_state"].str.contains(_PACKED)
    return changes["what"].eq("seal") & before & ~changes["to_state"].str.contains(_PACKED)


def _first_sealed(rows: pd.DataFrame, changes: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Let a position that was packed begin with the day of its first seal."""
    converted = changes[was_packed(changes)]
    day = rows["position_id"].map(converted.groupby("position_id")["date"].max())
    late = day.notna() & ~(day <= rows["commissioned"])
    return rows.assign(commissioned=rows["commissioned"].mask(late, day)), make_findings(
        "packed before",
        "note",
        rows.loc[late, "record_id"],
        "it was packed until {value}; its first seal begins there",
        column="commissioned",
        value=day[late],
        action="time at risk from that day",
    )


def _windows(fleet: Fleet, register: Register) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """One row a site and stretch between gaps: site, start, end, after_gap, ends_with."""
    given = {w.site: w for w in fleet.settings.windows}
    sites = sorted(register.table["site"].unique())
    _no_strange_sites(given, sites)
    seen = _signs_of_life(fleet, register)
    findings: list[pd.DataFrame] = []
    rows = []
    last = fleet.settings.data_end
    for site in sites:
        window = given.get(site)
        span = seen.get(site)
        start = pd.Timestamp(window.start) if window else span[0] if span else None
        # Neither a window nor the data may reach past the other's end.
        end = min((e for e in (window and window.end, last) if e), default=None)
        stop = pd.Timestamp(end) if end else span[1] if span else None
        if window is None:
            findings.append(_guessed_window(site, start, stop))
        elif span and stop is not None and (stop - span[1]).days > _SILENT_DAYS:
            findings.append(_silent_site(site, span[1], stop))
        if start is None or stop is None:
            continue
        for gap_start, gap_end in sorted(window.gaps) if window else ():
            rows.append((site, start, pd.Timestamp(gap_start), "gap"))
            start = pd.Timestamp(gap_end) + _ONE_DAY
        rows.append((site, start, stop + _ONE_DAY, "data end"))
    windows = pd.DataFrame(rows, columns=["site", "start", "end", "ends_with"])
    windows["after_gap"] = windows["site"].duplicated()
    return windows, findings


def _no_strange_sites(given: Mapping[str, Window], sites: list[str]) -> None:
    strange = [site for site in given if site not in sites]
    if strange:
        near = did_you_mean(strange[0], sites)
        raise InputError(
            f"windows: no position of the register stands at site '{strange[0]}'{near}",
            where="fleet.toml",
            hint=f"sites of the register are {', '.join(sites[:8])}",
        )


def _signs_of_life(
    fleet: Fleet, register: Register
) -> dict[str, tuple[pd.Timestamp, pd.Timestamp]]:
    """First and last event date of each site's orders or removals."""
    positions = register.table
    sites = positions.drop_duplicates("pump_key").set_index("pump_key")["site"]
    by_name = positions.set_index("position_id")["site"]
    found = []
    for name in ("work_orders", "removals"):
        table = fleet[name]
        by_tag = table["tag"].map(tag_key).map(sites)
        site = table["site"].where(table["site"].isin(positions["site"]), by_tag)
        if name == "removals":
            site = table["position_id"].map(by_name).fillna(site)
        dates = [c.name for c in TABLES[name].columns if c.kind == "date" and c.name != "closed"]
        found += [pd.DataFrame({"site": site, "day": table[column]}) for column in dates]
    seen = pd.concat(found).dropna().groupby("site")["day"].agg(["min", "max"])
    return {str(k): (a, b) for k, a, b in zip(seen.index, seen["min"], seen["max"], strict=True)}


def _guessed_window(
    site: str, start: pd.Timestamp | None, stop: pd.Timestamp | None
) -> pd.DataFrame:
    known = start is not None and stop is not None
    span = f"{start:%Y-%m-%d} to {stop:%Y-%m-%d}" if known else "none"
    return make_findings(
        "record window not given",
        "ask",
        [site],
        f"nothing says since when {site} keeps records; "
        + (
            f"taken as {span}, from the first record to the last; name it under [[windows]]"
            if known
            else "it has no dated record, so its positions are in no result"
        ),
        value=span,
        action="window taken from the records" if known else "site left out",
    )


def _silent_site(site: str, last: pd.Timestamp, stop: pd.Timestamp) -> pd.DataFrame:
    return make_findings(
        "records stop early",
        "ask",
        [site],
        f"the last record of {site} is of {last:%Y-%m-%d}, long before the end of data "
        f"{stop:%Y-%m-%d}; if the export stopped there, lives after it are made too long",
        value=f"{last:%Y-%m-%d}",
        threshold=f"{_SILENT_DAYS} days",
        action="kept as given",
    )
