"""What share of installations fails soon after fitting?

In: ages and causes. Out: a table with limits. Next: report, `seallife.life.mixture`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.life.groups import segment_sum
from seallife.life.incidence import cause_words, incidence_of
from seallife.life.lifedata import check_level, read_lives
from seallife.life.result import TableResult, worded_status

__all__ = ["early_share"]


def early_share(
    age: ArrayLike,
    cause: Sequence[Any] | NDArray[Any],
    early_age: float,
    *,
    of: Sequence[str] | None = None,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
) -> TableResult:
    """What share of installations has failed by an early age?

    Parameters
    ----------
    age, cause, group, entry_age, weight, level
        As for `cumulative_incidence`.
    early_age : float
        Age, in the unit of ``age``, up to which a failure counts as early.
    of : sequence of str, optional
        Causes that count, such as errors of fitting; all unless given.

    Returns
    -------
    TableResult
        Per group: ``n``, ``early_age``, ``at_risk`` there, ``early_failures``, ``share`` with
        ``se``, ``low`` and ``high``, ``status``, ``message``.

    Raises
    ------
    InputError
        If the data cannot be used, ``early_age`` is not above 0, or a cause of ``of`` is unknown.

    Notes
    -----
    The share is the cumulative incidence at that age, so lives withdrawn before it count for as
    long as they were watched. A life first seen at a later age says nothing here.

    Source
    ------
    As for `cumulative_incidence`.
    """
    if not (np.isfinite(early_age) and early_age > 0):
        raise InputError(f"is {early_age!r}", where="early_age", hint="give an age above 0")
    words = cause_words(cause)
    known = sorted(set(words.tolist()) - {""})
    unknown = sorted(set(of or ()) - set(known))
    if unknown:
        raise InputError(
            f"names {unknown[0]!r}, which no life ended from",
            where="of",
            hint=f"known here: {', '.join(known)}",
        )
    check_level(level)
    data = read_lives(age, words != "", group=group, entry_age=entry_age, weight=weight)
    counts = np.isin(words.astype(str), known if of is None else list(of)) & (words != "")
    merged = np.where(counts, "early", np.where(words == "", "", "other")).astype(object)
    seen = incidence_of(data, merged, ("early", "other"), level)
    rows = seen.at([early_age]).query("cause == 'early'").reset_index(drop=True)
    within = seen.age <= early_age
    failures = segment_sum(np.where(within, seen.events[:, 0], 0.0), seen.offsets)
    share = rows["incidence"].to_numpy(dtype=np.float64)
    status, message = worded_status(
        len(rows),
        [
            (np.isnan(share), "not seen", "No life was watched to that age."),
            (
                share == 1,
                "all failed",
                "All lives watched had failed by that age: there is no limit but the share itself.",
            ),
            (
                seen.table["status"].to_numpy() == "risk set emptied",
                "risk set emptied",
                "All lives at risk had failed at an age that others passed later: the share may "
                "be wrong.",
            ),
            (
                failures == 0,
                "no failures",
                "No early failure; the upper limit is what none of those at risk allows.",
            ),
            (failures < 5, "few failures", "Fewer than 5 early failures: the limits are rough."),
        ],
    )
    table = pd.DataFrame(
        {
            "group": seen.table["group"],
            "n": seen.table["n"],
            "early_age": float(early_age),
            "early_failures": failures,
            "at_risk": rows["at_risk"],
            "share": share,
            **{name: rows[name] for name in ("se", "low", "high")},
            "status": status,
            "message": message,
        }
    )
    return TableResult(table, level, f"{seen.method}, at one age", seen.source)
