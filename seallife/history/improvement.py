"""Did the change work? From the list of changes to a verdict per project.

In: `Changes`, `LifeTable`, `Removals`, `Observation`, `Classes`. Out: `Improvements`. Next:
`seallife.figures.improvement`.

Raw counts before and after mislead in three ways, and each has its remedy here. Positions chosen
for their failures were unlucky, too: the time that chose them is left out (`projects`), and a
record shrunk to the class is shown beside (`shrunk`). Things change everywhere: unchanged
positions are followed over the same days (`unchanged`). New seals are young: failures are compared
with those due at the seals' ages (`ageshape`).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.changes import Changes
from seallife.classes import Classes
from seallife.clocks import day_number
from seallife.errors import InputError
from seallife.events import Removals
from seallife.history.improvementwords import say
from seallife.history.projects import Selection, read_projects
from seallife.history.projectspans import Fleetwide, ProjectSpans
from seallife.history.projectviews import judge_project
from seallife.life.discovery import discovery_rate
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult
from seallife.life.usable import Clock
from seallife.lives import LifeTable
from seallife.observation import Observation
from seallife.schema import ENDED_BY

__all__ = ["Improvements", "improvements_of"]

_METHOD = (
    "failures after a change over those before, at equal age of the seals and against unchanged "
    "positions over the same time; years that chose the positions left out"
)
_SOURCE = (
    "Breslow & Day (1987), sections 2.1 and 3.3 (failures against those expected by age and time); "
    "Brown, Cai & DasGupta (2001) (limits); Hauer (1997) (choice by bad luck); "
    "Benjamini & Hochberg (1995) (several projects)"
)
_COLUMNS = (
    "project",
    "what",
    "service_class",
    "positions",
    "first_change",
    "last_change",
    "chosen",
    "window",
    "window_start",
    "failures_before",
    "years_before",
    "failures_window",
    "years_window",
    "failures_after",
    "years_after",
    "ratio",
    "low",
    "high",
    "p",
    "p_adjusted",
    "needed_years",
    "at_change",
    "no_life",
    "unplaced_before",
    "unplaced_after",
    "dispersion",
    "own_share",
    "verdict",
    "status",
    "message",
)


@dataclass(frozen=True, eq=False)
class Improvements(TableResult):
    """What became of each project.

    Attributes
    ----------
    table : DataFrame
        Per project, in the order of their first change: ``project``, ``what`` was changed,
        ``service_class`` (all of its positions), ``positions``, ``first_change``, ``last_change``;
        ``chosen`` (how: see `Projects`), ``window`` ('left out', 'kept', 'none': the time whose
        failures may have chosen the positions), ``window_start``; raw counts
        ``failures_before``, ``years_before``, of which ``failures_window``, ``years_window`` in
        that time; ``failures_after``, ``years_after`` [position-years];

        ``ratio``, ``low``, ``high``, ``p`` of the failure rate at equal age against unchanged
        positions, ``p_adjusted`` for the number of projects (false discovery rate);
        ``needed_years`` more after the change to tell a ratio of 0.5 four times in five (infinite
        where no time would do); ``at_change`` (failures before whose repair was the change
        itself), ``no_life`` (failures on the day the seal went in, in no count),
        ``unplaced_before``, ``unplaced_after`` (removals without a position that may have been
        failures here); ``dispersion`` of counts; ``own_share`` (weight of the class itself in what
        happened meanwhile, the rest from other classes of the site); ``verdict`` ('improved',
        'worse', 'no evidence', 'cannot tell yet'), ``status``, ``message``.
    views : DataFrame
        Per project and way of looking: ``project``, ``view``, ``ratio``, ``low``, ``high``,
        ``used`` (for the verdict).
    rates : DataFrame
        Per project, ``group`` ('changed', 'unchanged') and ``period`` ('before', 'chosen by',
        'after'): ``failures``, ``years``, ``rate`` [failures per position-year], ``low``,
        ``high``. The rate of unchanged positions is weighted as the changed ones were at risk.
    clock : str
        Clock of the ages.
    selection_days, resamples, seed : int
    unknown_as : str
        How a removal of unknown reason counts.
    """

    views: pd.DataFrame
    rates: pd.DataFrame
    clock: Clock
    selection_days: int
    resamples: int
    seed: int
    unknown_as: str


def improvements_of(
    changes: Changes,
    raw: pd.DataFrame,
    lives: LifeTable,
    removals: Removals,
    watched: Observation,
    classes: Classes,
    *,
    clock: Clock = "run_h",
    level: float = 0.90,
    selection_days: int = 730,
    selection: Selection | None = None,
    resamples: int = 4_000,
    seed: int = 1,
) -> Improvements:
    """Did each change of seals, flush plans, process or operation make seals fail less often?

    Parameters
    ----------
    changes : Changes
    raw : DataFrame
        The list of changes as read, ``fleet["changes"]``: names of projects and reasons.
    lives, removals, watched, classes
        Results of the study.
    clock : {'run_h', 'calendar_d'}
        Clock of the ages.
    level : float
        Two-sided level of all intervals; a verdict of a change also needs a false discovery rate
        of 1 - level among the projects.
    selection_days : int
        Time before a change that may have chosen its positions, where nothing else is known [d].
    selection : mapping, optional
        Project -> (first day, last day) by which its positions were chosen, or None where
        failures did not choose them.
    resamples, seed : int
        Draws behind each interval.

    Returns
    -------
    Improvements
        Changes without a project stand together by what was changed and what to.

    Raises
    ------
    InputError
        If a table lacks a column, or an argument cannot be used.

    Source
    ------
    See ``source`` of the result, and the modules named at the top of this one.
    """
    check_level(level)
    if resamples < 200:
        raise InputError(f"is {resamples}", where="resamples", hint="give 200 or more")
    projects = read_projects(changes, raw, selection_days=selection_days, selection=selection)
    fleet = Fleetwide.of(lives, changes, watched, classes, clock)
    rows: list[dict[str, Any]] = []
    views: list[pd.DataFrame] = []
    rates: list[pd.DataFrame] = []
    for _, about in projects.table.iterrows():
        name = str(about["project"])
        places = projects.places[projects.places["project"] == name]
        spans = ProjectSpans.of(fleet, places, str(about["chosen"]))
        counts = _uncounted(places, removals, lives, fleet, spans)
        lost = (counts["unplaced_before"], counts["unplaced_after"])
        # a seed of its own, so that one project more moves no other
        own_seed = (seed, zlib.crc32(name.encode()))
        found = judge_project(fleet, spans, lost, level=level, draws=resamples, seed=own_seed)
        rows.append({**{str(k): v for k, v in about.items()}, **found.row, **counts})
        views.append(found.views.assign(project=name))
        rates.append(found.rates.assign(project=name))
    adjusted = discovery_rate([row["p"] for row in rows])
    for row, view, p in zip(rows, views, adjusted, strict=True):
        row["p_adjusted"] = float(p)
        row["verdict"], row["message"] = say(row, view, level, len(rows))
    return Improvements(
        pd.DataFrame(rows, columns=list(_COLUMNS)),
        level,
        _METHOD,
        _SOURCE,
        _joined(views, ["project", "view", "ratio", "low", "high", "used"]),
        _joined(rates, ["project", "group", "period", "failures", "years", "rate", "low", "high"]),
        clock,
        selection_days,
        resamples,
        seed,
        lives.unknown_as,
    )


def _joined(parts: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    """All rows of all projects; an empty table where there are none."""
    if not parts:
        return pd.DataFrame(columns=columns)
    return pd.concat(parts, ignore_index=True)[columns]


def _uncounted(
    places: pd.DataFrame,
    removals: Removals,
    lives: LifeTable,
    fleet: Fleetwide,
    spans: ProjectSpans,
) -> dict[str, Any]:
    """Failures near a project that stand in none of its counts."""
    events = removals.table
    failed = events["ended"].replace("unknown", lives.unknown_as) == "failed"
    here = failed & events["position_id"].isin(places["position_id"])
    made = {i for ids in places["removal_ids"] for i in ids.split()}
    at_change = here & events["removal_id"].isin(made)
    no_life = here & ~at_change & ~events["removal_id"].isin(lives.table["removal_id"])
    lost = removals.unplaced
    sites = np.unique(fleet.site[spans.inside].astype(str)).tolist()
    lost = lost[(lost["reason"].map(ENDED_BY) != "withdrawn") & lost["site"].isin([*sites, ""])]
    failures = fleet.spans.rows(
        fleet.spans.failed & np.isin(fleet.site[fleet.spans.position], sites)
    )
    first, last = places["begins"].min(), places["begins"].max()
    per_side = []
    for side, out, near in (
        (spans.before, lost["end"] < last, failures.end < _day(last)),
        (spans.after, lost["end"] >= first, failures.end >= _day(first)),
    ):
        share = min(1.0, side.failures / max(int(near.sum()), 1))
        # one without a date may lie on either side
        per_side.append(int(np.ceil(int((out | lost["end"].isna()).sum()) * share - 1e-9)))
    return {
        "at_change": int(at_change.sum()),
        "no_life": int(no_life.sum()),
        "unplaced_before": per_side[0],
        "unplaced_after": per_side[1],
    }


def _day(date: pd.Timestamp) -> float:
    return float(day_number(pd.DatetimeIndex([date]))[0])
