"""The lives of a project's positions, cut at its dates.

In: `Spans` of the fleet, `Projects`. Out: `ProjectSpans`. Next: `seallife.history.projectviews`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.changes import Changes
from seallife.classes import Classes
from seallife.clocks import day_number
from seallife.history.ageshape import AgeShape, age_shape
from seallife.history.spans import Spans, spans_of
from seallife.life.groups import Floats, Ints
from seallife.life.usable import Clock
from seallife.lives import LifeTable
from seallife.observation import Observation

__all__ = ["Fleetwide", "ProjectSpans"]

_STANDS_OUT = 0.20
"""p-value at which the failures of a time count as a run of bad luck. At 0.10 the worst of 14
sections, changed whole, is called improved in 9 % of fleets where nothing was done, at 0.20 in 7 %,
and real improvements are found as often (`tests/improvement_study.py`)."""


class Fleetwide(NamedTuple):
    """What does not depend on the project; arrays are per position.

    Attributes
    ----------
    positions, groups, strata : Index
        Names by number: positions, service classes, "site / class".
    group, stratum : ndarray of int
    site : ndarray of str
    spans : Spans
        All lives.
    never : ndarray of bool
        Positions that were never changed.
    rates : AgeShape
    """

    positions: pd.Index
    groups: pd.Index
    strata: pd.Index
    group: Ints
    stratum: Ints
    site: NDArray[np.object_]
    spans: Spans
    never: NDArray[np.bool_]
    rates: AgeShape

    @classmethod
    def of(
        cls,
        lives: LifeTable,
        changes: Changes,
        watched: Observation,
        classes: Classes,
        clock: Clock,
    ) -> Fleetwide:
        """Read the tables once for all projects."""
        table, made = lives.table, changes.table
        about = watched.stretches.drop_duplicates("position_id").set_index("position_id")["site"]
        ids = pd.Index(sorted({*table["position_id"], *made["position_id"], *about.index}))
        class_of = classes.table.set_index("position_id")["service_class"].reindex(ids).fillna("")
        site_of = about.reindex(ids).fillna("")
        # the class of a position is that of its lives: one table, one word
        rows = table.assign(
            service_class=table["position_id"].map(class_of), site=table["position_id"].map(site_of)
        )
        groups = pd.Index(sorted(class_of.unique()))
        names = site_of + " / " + class_of
        strata = pd.Index(sorted(names.unique()))
        spans = spans_of(rows, ids, groups, strata, clock)
        begun = day_number(made.groupby("position_id")["begins"].min().reindex(ids))
        first = np.where(np.isnan(begun), np.inf, begun)
        untouched = spans.between(np.full(len(ids), -np.inf), first)
        return cls(
            ids,
            groups,
            strata,
            groups.get_indexer(pd.Index(class_of)).astype(np.int64),
            strata.get_indexer(pd.Index(names)).astype(np.int64),
            site_of.to_numpy(dtype=object),
            spans,
            np.isinf(first),
            age_shape(untouched, len(groups)),
        )


@dataclass(frozen=True, eq=False)
class ProjectSpans:
    """The lives of a project's positions around their change.

    Attributes
    ----------
    whole : Spans
        All time on record before the change.
    window : Spans
        Of it the time whose failures may have chosen the positions.
    before, after : Spans
        What is compared.
    left_out : bool
        Whether ``before`` is without ``window``.
    inside : ndarray of bool, shape (positions,)
        Positions of the project.
    edges : tuple of float
        Middle day on which the window begins, and of the change.
    """

    whole: Spans
    window: Spans
    before: Spans
    after: Spans
    left_out: bool
    inside: NDArray[np.bool_]
    edges: tuple[float, float]

    @classmethod
    def of(cls, fleet: Fleetwide, places: pd.DataFrame, chosen: str) -> ProjectSpans:
        """Cut the lives of the positions at the dates of ``places``."""
        at = fleet.positions.get_indexer(pd.Index(places["position_id"]))
        count = len(fleet.positions)
        inside = np.zeros(count, dtype=bool)
        inside[at] = True

        def per_position(column: str, blank: float) -> Floats:
            out = np.full(count, np.nan)
            out[at] = np.where(places[column].isna(), blank, day_number(places[column]))
            return np.where(inside, out, np.nan)

        since, until = per_position("since", -np.inf), per_position("until", np.inf)
        start, end = per_position("window_start", np.nan), per_position("window_end", np.nan)
        begins = per_position("begins", np.nan)
        mine = fleet.spans.rows(inside[fleet.spans.position])
        start, end = np.maximum(start, since), np.maximum(end, since)
        whole = mine.between(since, begins)
        window = mine.between(start, end)
        rest = mine.between(since, start).joined(mine.between(end, begins))
        left_out = len(window) > 0 and (
            chosen != "whole group" or _stands_out(window, rest, fleet.rates)
        )
        return cls(
            whole,
            window,
            rest if left_out else whole,
            mine.between(begins, until),
            left_out,
            inside,
            (float(np.median(start[at])), float(np.median(begins[at]))),
        )


def _stands_out(window: Spans, rest: Spans, rates: AgeShape) -> bool:
    """Were there more failures in the window than the rest of the record leads to expect?"""
    from scipy.special import bdtrc, pdtrc

    due = [float(rates.expected(s).sum()) for s in (window, rest)]
    if due[1] <= 0:
        return bool(window.failures) and bool(pdtrc(window.failures - 1, due[0]) <= _STANDS_OUT)
    both = window.failures + rest.failures
    beyond = bdtrc(window.failures - 1, both, due[0] / sum(due)) if window.failures else 1.0
    return bool(beyond <= _STANDS_OUT)
