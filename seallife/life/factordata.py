"""Lives with factors, checked: which lives, classes and factors a regression can use.

In: the caller's arrays and table. Out: `FactorData`. Next: `seallife.life.regression`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.design import Design, Steps, read_design
from seallife.life.groups import Floats, Ints
from seallife.life.lifedata import check_level, read_lives
from seallife.life.newton import numbered

__all__ = ["ENOUGH", "FEWEST", "FactorData", "read_factors", "read_labels"]

ENOUGH = 10
"""Failures per term below which a row is marked."""
FEWEST = 2
"""Failures per term below which nothing is fitted."""


@dataclass(frozen=True, eq=False)
class FactorData:
    """Lives used, with their design.

    Attributes
    ----------
    age, entry : ndarray, shape (m,)
        ``entry`` is 0 where watched from new.
    failed : ndarray of bool, shape (m,)
    design : Design
    cluster : ndarray of int, shape (m,), or None
    stratum : ndarray of int, shape (m,)
    strata : list of str
        Name of each stratum.
    left_out : DataFrame
        ``factor`` and ``reason`` of each factor and stratum not used.
    refused : str
        Why nothing is fitted, or nothing.
    """

    age: Floats
    entry: Floats
    failed: NDArray[np.bool_]
    design: Design
    cluster: Ints | None
    stratum: Ints
    strata: list[str]
    left_out: pd.DataFrame
    refused: str

    @property
    def failures(self) -> int:
        """Failures among the lives used."""
        return int(self.failed.sum())

    @property
    def resting(self) -> NDArray[np.bool_]:
        """Columns that rest on a single cluster by the design alone, shape (p,).

        A factor that is the same everywhere but in one cluster, or a group that lies in one, has
        no other to compare with, whatever a likelihood makes of it.
        """
        x, terms = self.design.x, self.design.terms
        out = np.zeros(len(terms), bool)
        if self.cluster is None or not len(x):
            return out
        ends = np.full((2, self.clusters, len(terms)), np.inf)
        np.minimum.at(ends[0], self.cluster, x)
        np.minimum.at(ends[1], self.cluster, -x)
        for j, term in enumerate(terms):
            sides = [x[:, j] == 1, (x[:, self.design.columns[term.factor]] == 0).all(axis=1)]
            if term.label and min(len(np.unique(self.cluster[s])) for s in sides) < 2:
                out[j] = True
            # does anything differ without the cluster that holds the least, or the greatest?
            for gone in ends[:, :, j].argmin(axis=1):
                least, most = np.delete(ends[:, :, j], gone, axis=1).min(axis=1, initial=np.inf)
                out[j] |= not -most - least > 1e-12
        return out

    @property
    def clusters(self) -> int:
        """Clusters among the lives used; 0 where none were given."""
        return 0 if self.cluster is None else len(np.unique(self.cluster))


def read_factors(
    age: ArrayLike,
    failed: ArrayLike,
    factors: pd.DataFrame,
    entry_age: ArrayLike | None,
    cluster: ArrayLike | None,
    stratum: ArrayLike | None,
    steps: Steps | None,
    level: float,
    *,
    own_law: bool,
) -> FactorData:
    """Check the input of a regression.

    Parameters
    ----------
    age, failed, factors, entry_age, cluster, stratum, steps, level
        As for `seallife.life.regression.fit_weibull_factors`.
    own_law : bool
        Whether each stratum needs a law of its own, so two failures at ages that others outlive.

    Raises
    ------
    InputError
        Naming the argument, the first bad row and the next step.
    """
    check_level(level)
    data = read_lives(age, failed, entry_age=entry_age)
    n = len(data.age)
    entry = np.zeros(n) if data.entry is None else data.entry
    names = read_labels(stratum, "stratum", n)
    kept, told = _strata(data.age, data.failed, names, own_law)
    # lives of a class without a law of its own count nowhere, as if they had not been given
    design = read_design(factors, data.failed, steps, among=kept)
    rows = design.rows
    left_out = pd.concat([design.left_out, told], ignore_index=True)
    # what was left out for a missing value may have taken a class's failures with it
    again, more = _strata(data.age[rows], data.failed[rows], names[rows], own_law)
    if not again.all():
        left_out = pd.concat([left_out, more], ignore_index=True)
        whole = np.zeros(n, bool)
        whole[np.flatnonzero(rows)[again]] = True
        design, rows = replace(design, x=design.x[again], rows=whole), whole
    names = names[rows]
    groups = read_labels(cluster, "cluster", n)[rows] if cluster is not None else None
    return FactorData(
        data.age[rows],
        entry[rows],
        data.failed[rows],
        design,
        None if groups is None else numbered(groups),
        numbered(names),
        sorted(set(names.tolist())),
        left_out,
        _refusal(data.age[rows], data.failed[rows], design, own_law),
    )


def read_labels(labels: ArrayLike | None, name: str, n: int) -> NDArray[np.object_]:
    """Labels as text; one for all where none are given.

    Raises
    ------
    InputError
        If a label is missing or their number is wrong.
    """
    if labels is None:
        return np.full(n, "all", dtype=object)
    array = np.asarray(labels, dtype=object)
    if array.shape != (n,):
        raise InputError(
            f"has shape {array.shape} where age has shape ({n},)", where=name, hint="match age"
        )
    blank = np.asarray(pd.isna(array))
    if blank.any():
        raise InputError(
            "a label is missing",
            where=f"{name}[{int(np.argmax(blank))}]",
            hint="give unknown ones a name of their own",
        )
    return np.array([str(label) for label in array.tolist()], dtype=object)


def _strata(
    age: Floats, failed: NDArray[np.bool_], names: NDArray[np.object_], own_law: bool
) -> tuple[NDArray[np.bool_], pd.DataFrame]:
    """Which lives are of a stratum that can be used, and why the others are not."""
    keep, told = np.ones(len(age), bool), []
    for name in sorted(set(names.tolist())):
        rows = names == name
        died = age[rows & failed]
        why = ""
        if not len(died):
            why = "no failure"
        elif own_law and len(died) < 2:
            why = "a single failure tells no shape"
        elif own_law and died.min() >= age[rows].max():
            why = "all failures at the oldest age tell no shape"
        if why and len(set(names.tolist())) > 1:
            keep &= ~rows
            told.append((f"stratum {name}", f"{why}; its {int(rows.sum()):,} lives are left out"))
    return keep, pd.DataFrame(told, columns=["factor", "reason"])


def _refusal(age: Floats, failed: NDArray[np.bool_], design: Design, own_law: bool) -> str:
    """Why nothing can be fitted, or nothing."""
    r, p = int(failed.sum()), len(design.terms)
    if not r:
        return "No failure among the lives used: nothing can be told."
    if own_law and (r < 2 or age[failed].min() >= age.max()):
        return f"All failures ({r}) came at the oldest age, or there is only one: no shape is told."
    if p and r < FEWEST * p:
        return f"{r} failures for {p} figures, fewer than {FEWEST} each: give fewer factors."
    return ""
