"""Which positions did each project change, since when, and how were they chosen?

In: `Changes`, the list of changes as read. Out: `Projects`. Next: `seallife.history.improvement`.

Positions chosen because they had failed often have been unlucky as well as bad, and luck does not
last. The time whose failures may have chosen them is left out of "before":

- the time the list of changes gives (``chosen_from``, ``chosen_to``), or the caller;
- from the first calendar year that the reason names to the change, where the reason says that the
  positions were chosen by their failures;
- else ``selection_days`` before the change. Where the reason says that a whole group was changed
  this is done only if the failures of that time stand out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from seallife.changes import Changes
from seallife.errors import InputError

__all__ = ["NO_PROJECT", "Projects", "Selection", "read_projects"]

NO_PROJECT = "no project"
"""Begin of the name of changes that belong to no project."""

Selection = Mapping[str, tuple[object, object] | None]
"""Project -> first and last day of the time by which its positions were chosen; None: by other
means than their failures."""

_BY_FAILURES = re.compile(
    r"(?i)\b(worst|bad actors?|poor(?:est)? performers?|(?:most|many|frequent|repeat(?:ed)?|"
    r"high(?:est)?|too many) (?:\w+ )?(?:failures?|repairs?|leaks?)|failed (?:most|often)|"
    r"repeat offenders?|short(?:est)? (?:li[fv]es?|mtb[fr])|low(?:est)? mtb[fr]|"
    r"schlechteste\w*|häufig\w*|ausfallträchtig\w*|pires?|défaillances|récurrent\w*|peores|"
    r"frecuentes|recurrente\w*|piores|frequentes|peggiori|ricorrenti|slechtste)\b"
)
_WHOLE_GROUP = re.compile(
    r"(?i)\b(all(?:e[nrs]?)?|every|each|whole|entire|sämtliche\w*|gesamte\w*|tou(?:s|tes)|tod[ao]s|"
    r"tutt[ei]|elke)\b"
)
_YEAR = re.compile(r"(?<!\d)(19[5-9]\d|20\d\d)(?!\d)")
_LONGEST_YEARS = 10  # before the change: a year further back names something else


@dataclass(frozen=True, eq=False)
class Projects:
    """Projects of changes.

    Attributes
    ----------
    table : DataFrame
        Per project, in the order of their first change: ``project``, ``what`` (kinds of change),
        ``positions``, ``first_change``, ``last_change``, ``chosen`` ('given', 'by failures',
        'whole group', 'not said', 'otherwise'), ``reason`` as written.
    places : DataFrame
        Per project and position: ``project``, ``position_id``, ``begins``; ``since`` and ``until``
        (changes of other projects before and after it, NaT where none); ``window_start``,
        ``window_end`` (half open) of the time that may have chosen it; ``removal_ids`` (of the
        change itself, blank between).
    """

    table: pd.DataFrame
    places: pd.DataFrame


def read_projects(
    changes: Changes,
    raw: pd.DataFrame,
    *,
    selection_days: int = 730,
    selection: Selection | None = None,
) -> Projects:
    """Which positions did each project change, since when, and how were they chosen?

    Parameters
    ----------
    changes : Changes
    raw : DataFrame
        The list of changes as read: ``record_id`` and, where known, ``project``, ``to_state``,
        ``reason``, ``chosen_from``, ``chosen_to``.
    selection_days : int
        Length of the time before a change that may have chosen its positions [d], where nothing
        else is known.
    selection : mapping, optional
        Project -> (first day, last day) by which its positions were chosen, or None where failures
        did not choose them. Goes before all else.

    Raises
    ------
    InputError
        ``selection_days`` is negative, or ``selection`` names an unknown project or no dates.
    """
    if selection_days < 0:
        raise InputError(f"is {selection_days}", where="selection_days", hint="give days >= 0")
    if "record_id" not in raw:
        raise InputError("has no column record_id", where="raw", hint="give fleet['changes']")
    rows = _with_names(changes.table, raw)
    rows = rows.sort_values(["begins", "position_id", "record_id"], kind="stable")
    by = rows.groupby(["project", "position_id"], sort=False)
    places = by.agg(
        begins=("begins", "min"),
        given_from=("chosen_from", "min"),
        given_to=("chosen_to", "max"),
        removal_ids=("removal_id", lambda ids: " ".join(sorted({i for i in ids if i}))),
    ).reset_index()
    places = places.join(_neighbours(places))
    whole = rows.groupby("project", sort=False)
    table = whole.agg(
        what=("what", lambda kinds: ", ".join(dict.fromkeys(kinds))),
        positions=("position_id", "nunique"),
        first_change=("begins", "min"),
        last_change=("begins", "max"),
        reason=("reason", lambda words: "; ".join(dict.fromkeys(w for w in words if w))),
    ).reset_index()
    given = _asked(selection or {}, table["project"].tolist())
    pairs = zip(table["project"], table["reason"], strict=True)
    table = table.assign(chosen=[_chosen(p, r, places, given) for p, r in pairs])
    places = _with_windows(places, table, given, selection_days)
    columns = ["project", "what", "positions", "first_change", "last_change", "chosen", "reason"]
    return Projects(table[columns], places)


def _with_names(table: pd.DataFrame, raw: pd.DataFrame) -> pd.DataFrame:
    """Changes with the words of the list; those of no project go by what became of them."""
    words = ["project", "to_state", "reason"]
    dates = ["chosen_from", "chosen_to"]
    told = raw.reindex(columns=["record_id", *words, *dates])
    rows = table.drop(columns="to_state", errors="ignore").merge(told, on="record_id", how="left")
    for name in words:
        rows[name] = rows[name].fillna("").astype(str).str.strip()
    for name in dates:
        rows[name] = pd.to_datetime(rows[name])
    became = rows["what"] + (": " + rows["to_state"]).where(rows["to_state"] != "", "")
    named = rows["project"] != ""
    return rows.assign(project=rows["project"].where(named, f"{NO_PROJECT}, " + became))


def _neighbours(places: pd.DataFrame) -> pd.DataFrame:
    """Nearest earlier and later change of another project at the position of each."""
    pairs = places[["position_id", "begins"]].reset_index()
    pairs = pairs.merge(pairs, on="position_id", suffixes=("", "_other"))
    earlier = pairs[pairs["begins_other"] < pairs["begins"]]
    later = pairs[pairs["begins_other"] > pairs["begins"]]
    return pd.DataFrame(
        {
            "since": earlier.groupby("index")["begins_other"].max(),
            "until": later.groupby("index")["begins_other"].min(),
        }
    ).reindex(places.index)


def _asked(selection: Selection, known: list[str]) -> dict[str, tuple[pd.Timestamp, ...]]:
    """The caller's windows as dates, () where failures did not choose."""
    out: dict[str, tuple[pd.Timestamp, ...]] = {}
    for project, window in selection.items():
        if project not in known:
            hint = f"known are {', '.join(known[:8])}" if known else "there are no projects"
            raise InputError(f"names no project {project!r}", where="selection", hint=hint)
        if window is None:
            out[project] = ()
            continue
        try:
            first, last = (pd.Timestamp(day) for day in window)  # type: ignore[arg-type]
            good = bool(first <= last)
        except (TypeError, ValueError):
            good = False
        if not good:
            raise InputError(
                f"{project!r}: {window!r} is no first and last day",
                where="selection",
                hint='give ("2018-01-01", "2019-12-31"), or None',
            )
        out[project] = (first, last)
    return out


def _chosen(
    project: str,
    reason: str,
    places: pd.DataFrame,
    given: Mapping[str, tuple[pd.Timestamp, ...]],
) -> str:
    """How were the positions of one project chosen?"""
    if project in given:
        return "given" if given[project] else "otherwise"
    mine = places["project"] == project
    if places.loc[mine, ["given_from", "given_to"]].notna().any().any():
        return "given"
    if _BY_FAILURES.search(reason):
        return "by failures"
    return "whole group" if _WHOLE_GROUP.search(reason) else "not said"


def _with_windows(
    places: pd.DataFrame,
    table: pd.DataFrame,
    given: Mapping[str, tuple[pd.Timestamp, ...]],
    selection_days: int,
) -> pd.DataFrame:
    """Add the time that may have chosen each position; empty where none did."""
    about = table.set_index("project")
    chosen = places["project"].map(about["chosen"])
    begins = places["begins"]
    start = begins - pd.Timedelta(days=selection_days)
    named = [
        _first_year(str(about["reason"][p]), b.year) if c == "by failures" else None
        for p, b, c in zip(places["project"], begins, chosen, strict=True)
    ]
    start = pd.Series(named, index=places.index, dtype="datetime64[ns]").fillna(start)
    start = places["given_from"].fillna(start)
    end = (places["given_to"] + pd.Timedelta(days=1)).fillna(begins)
    for project, window in given.items():
        mine = places["project"] == project
        start = start.mask(mine, window[0] if window else begins)
        end = end.mask(mine, window[1] + pd.Timedelta(days=1) if window else begins)
    end = end.where(end < begins, begins)
    start = start.where(start < end, end)
    columns = ["project", "position_id", "begins", "since", "until", "window_start", "window_end"]
    return places.assign(window_start=start, window_end=end)[[*columns, "removal_ids"]]


def _first_year(reason: str, last: int) -> pd.Timestamp | None:
    """First day of the earliest year named, of the ten before the change."""
    years = {int(y) for y in _YEAR.findall(reason)}
    years = {y for y in years if last - _LONGEST_YEARS <= y <= last}
    # the year of the change alone may be that of its budget
    return pd.Timestamp(min(years), 1, 1) if years - {last} else None
