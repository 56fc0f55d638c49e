"""Factors of lives as columns of numbers, and which factors cannot be used, and why.

In: a table of factors, one row a life. Out: `Design`. Next: `seallife.life.regression`.

A number stands for itself, in standard deviations from its mean while it is fitted; words stand for
groups, each against the most frequent one. Nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats

__all__ = ["MOST_MISSING", "Design", "Steps", "Term", "read_design"]

MOST_MISSING = 0.20
"""A factor with a larger share of lives without a value is left out."""

Steps = Mapping[str, tuple[float, str]]
"""Factor -> step for which a ratio is stated, and that step in words: (10, '10 °C')."""


@dataclass(frozen=True)
class Term:
    """One figure to be estimated: a step of a number, or a group against the reference group.

    Attributes
    ----------
    factor, label : str
        ``label`` is the group, '' for a number.
    against : str
        Reference group, '' for a number.
    step : float
        Step of a number, 1 for a group.
    words : str
        What is compared.
    scale : float
        Standard deviation by which the column was divided, 1 for a group.
    """

    factor: str
    label: str
    against: str
    step: float
    words: str
    scale: float


@dataclass(frozen=True, eq=False)
class Design:
    """Columns of numbers.

    Attributes
    ----------
    x : ndarray, shape (m, p)
        One row a life used, one column a term.
    rows : ndarray of bool, shape (n,)
        Which lives are used.
    terms : tuple of Term
    centre : ndarray, shape (p,)
        Mean taken off each column, 0 for a group.
    silent : tuple of (Term, int)
        Groups without a failure, and their lives: no ratio can be told.
    missing : int
        Lives left out for a missing value.
    left_out : DataFrame
        ``factor`` and ``reason`` of each factor that is not used.
    """

    x: Floats
    rows: NDArray[np.bool_]
    terms: tuple[Term, ...]
    centre: Floats
    silent: tuple[tuple[Term, int], ...]
    missing: int
    left_out: pd.DataFrame

    @property
    def columns(self) -> dict[str, list[int]]:
        """Columns of each factor."""
        out: dict[str, list[int]] = {}
        for j, term in enumerate(self.terms):
            out.setdefault(term.factor, []).append(j)
        return out

    def encode(self, factors: pd.DataFrame) -> Floats:
        """Give columns for other values of the same factors.

        Raises
        ------
        InputError
            If a factor, or a value of one, is missing or was not seen.
        """
        known = {t.factor for t in self.terms}
        lacking = sorted(known - set(factors.columns))
        if lacking:
            raise InputError(f"has no column {', '.join(lacking)}", where="factors")
        x = np.zeros((len(factors), len(self.terms)))
        for factor, columns in self.columns.items():
            first = self.terms[columns[0]]
            values = _values(factors[factor], factor)
            if values.isna().any():
                raise InputError("has a missing value", where=f"factors[{factor!r}]")
            if not first.label:
                j = columns[0]
                x[:, j] = (values.to_numpy(dtype=float) - self.centre[j]) / first.scale
                continue
            seen = {first.against, *(self.terms[j].label for j in columns)}
            strange = sorted(set(values) - seen)
            if strange:
                raise InputError(
                    f"holds {strange[0]!r}, which had no failure or was not seen",
                    where=f"factors[{factor!r}]",
                    hint=f"known here: {', '.join(sorted(seen))}",
                )
            for j in columns:
                x[:, j] = values == self.terms[j].label
        return x


def read_design(
    factors: pd.DataFrame,
    failed: NDArray[np.bool_],
    steps: Steps | None = None,
    among: NDArray[np.bool_] | None = None,
) -> Design:
    """Which factors can be used, and what are they as numbers?

    Parameters
    ----------
    factors : DataFrame, shape (n, k)
        Numbers, or words and flags for groups; missing values allowed.
    failed : ndarray of bool, shape (n,)
    steps : mapping, optional
        See `Steps`.
    among : ndarray of bool, shape (n,), optional
        Lives to be used at all.

    Raises
    ------
    InputError
        If ``factors`` has another number of rows, a name twice or an infinite number.
    """
    if not isinstance(factors, pd.DataFrame) or len(factors) != len(failed):
        size = len(factors) if hasattr(factors, "__len__") else "no"
        raise InputError(
            f"has {size} rows where age has {len(failed)}",
            where="factors",
            hint="give a DataFrame with one row per life",
        )
    names = [str(c) for c in factors.columns]
    if len(set(names)) < len(names):
        raise InputError("has a column twice", where="factors", hint="name each factor once")
    columns = {n: _values(factors.iloc[:, i], n) for i, n in enumerate(names)}
    table = pd.DataFrame(columns).set_axis(range(len(failed)), axis=0)
    chosen = np.ones(len(table), bool) if among is None else among
    out: list[tuple[str, str]] = []
    for name in names:
        blank = int(table.loc[chosen, name].isna().sum())
        if blank > MOST_MISSING * chosen.sum():
            out.append((name, f"not known for {blank:,} of {chosen.sum():,} lives; left out"))
    table = table.drop(columns=[n for n, _ in out])
    rows = chosen & table.notna().all(axis=1).to_numpy(dtype=bool)
    missing = int(chosen.sum() - rows.sum())
    silent: list[tuple[str, str, int]] = []
    settled = False
    while not settled:
        settled = True
        for name in table.columns[[_wordy(table[c]) for c in table.columns]]:
            died = table.loc[rows & failed, name].value_counts()
            lives = table.loc[rows, name].value_counts()
            for label in sorted(set(lives.index) - set(died.index)):
                if len(died):
                    silent.append((name, label, int(lives[label])))
                    rows = rows & (table[name] != label).to_numpy(dtype=bool)
                    settled = False
    return _encoded(table, rows, failed, out, silent, missing, steps or {})


def _encoded(
    table: pd.DataFrame,
    rows: NDArray[np.bool_],
    failed: NDArray[np.bool_],
    out: list[tuple[str, str]],
    silent: list[tuple[str, str, int]],
    missing: int,
    steps: Steps,
) -> Design:
    """Columns of the factors that vary and say something of their own."""
    used = table[rows]
    x, centre = np.zeros((len(used), 0)), np.zeros(0)
    known = np.ones((len(used), 1)) / np.sqrt(max(len(used), 1))  # what is told, as unit columns
    terms: list[Term] = []
    reference: dict[str, str] = {}
    for name in map(str, table.columns):
        own, middle, new = _columns(used[name], name, steps, failed[rows])
        if new and new[0].against:
            reference[name] = new[0].against
        if not new:
            one = used[name].iloc[0] if len(used) else "nothing"
            out.append((name, f"is {one} for all lives used; left out"))
            reference[name] = str(one)
            continue
        rest = own - known @ (known.T @ own)
        rest -= known @ (known.T @ rest)
        unit, left = np.linalg.qr(rest)
        if np.abs(np.diag(left)).min() < 1e-8 * np.sqrt(len(used)) or len(left) < own.shape[1]:
            before = ", ".join(dict.fromkeys(t.factor for t in terms))
            out.append((name, f"follows from {before}; left out"))
            continue
        known = np.hstack([known, unit])
        x, centre = np.hstack([x, own]), np.append(centre, middle)
        terms += new
    left_out = pd.DataFrame(out, columns=["factor", "reason"])
    gone = set(left_out["factor"])
    quiet = tuple(
        (Term(f, g, reference.get(f, ""), 1.0, _against(f, g, reference.get(f, "")), 1.0), n)
        for f, g, n in silent
        if f not in gone
    )
    return Design(x, rows, tuple(terms), centre, quiet, missing, left_out)


def _columns(
    values: pd.Series, name: str, steps: Steps, failed: NDArray[np.bool_]
) -> tuple[Floats, Floats, list[Term]]:
    """Columns of one factor, their centres and terms; none where it does not vary."""
    none = np.zeros((len(values), 0)), np.zeros(0), list[Term]()
    if not _wordy(values):
        number = values.to_numpy(dtype=np.float64)
        if not len(number) or np.ptp(number) <= 1e-12 * np.abs(number).max():
            return none
        middle, scale = float(number.mean()), float(number.std())
        step, words = steps.get(name, (1.0, f"1 {name.replace('_', ' ')}"))
        if not (np.isfinite(step) and step > 0):
            raise InputError(f"is {step!r}", where=f"steps[{name!r}]", hint="give a step above 0")
        term = Term(name, "", "", float(step), f"each {words} more", scale)
        return ((number - middle) / scale)[:, None], np.array([middle]), [term]
    count = values.value_counts()
    labels = sorted(count.index)
    if len(labels) < 2:
        return none
    # the first in the alphabet where two are as frequent, so that the order of rows says nothing
    first = min(labels, key=lambda g: (-count[g], g))
    others = [g for g in labels if g != first]
    terms = [Term(name, g, first, 1.0, _against(name, g, first), 1.0) for g in others]
    own = np.stack([(values == g).to_numpy(dtype=float) for g in others], axis=1)
    return own, np.zeros(len(others)), terms


def _against(name: str, label: str, first: str) -> str:
    """Put a comparison of groups into words."""
    return f"{name.replace('_', ' ')}: {label} against {first}"


def _wordy(values: pd.Series) -> bool:
    return bool(values.dtype == object)


def _values(column: pd.Series, name: str) -> pd.Series:
    """Floats for a number, text for everything else; a blank text is a missing value."""
    flag = pd.api.types.is_bool_dtype(column)
    if pd.api.types.is_numeric_dtype(column) and not flag:
        number = pd.to_numeric(column).astype("Float64").astype(float)
        if np.isinf(number).any():
            raise InputError(
                "holds an infinite number",
                where=f"factors[{name!r}]",
                hint="leave a value that is not known empty",
            )
        return number
    words = column.astype(object)
    known = words.notna() & (words.astype(str).str.strip() != "")
    text = words.map({True: "yes", False: "no"}) if flag else words.astype(str)
    return text.astype(object).mask(~known)
