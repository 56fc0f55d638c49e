"""What to tell a manager about a project: a verdict, and a few sentences with its numbers.

In: a row of figures and its views. Out: `Told`. Next: `seallife.history.improvement`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from seallife.history.projectviews import RAW, SHRUNK, UNCHANGED

__all__ = ["Told", "say"]

_HALF = 0.5  # a ratio worth knowing of
_PLAIN = 0.05  # a factor so near to 1 is not worth a word

Limits = Mapping[str, tuple[float, float, float]]  # view -> ratio, low, high


class Told(NamedTuple):
    """Verdict and message."""

    verdict: str
    message: str


def say(row: Mapping[str, Any], views: pd.DataFrame, level: float, projects: int) -> Told:
    """Did the change work, in words?

    A project has 'improved' or got 'worse' where its interval at equal age, against unchanged
    positions, does not hold 1; it stands out among all projects; the two other ways to look past
    luck do not point the other way; and failures that lack a place could not undo it. Where most
    positions were changed when their seal failed, 'worse' is not said.
    'no evidence' is said where a halved rate can be ruled out or would have shown.
    """
    seen = {
        str(v): (float(r), float(a), float(b))
        for v, r, a, b in views[["view", "ratio", "low", "high"]].itertuples(index=False)
    }
    verdict, why = _verdict(row, seen, level, projects)
    parts = [f"{row['project']}: {verdict}.", _headline(row), why, *_raw(row, seen, verdict)]
    return Told(verdict, " ".join(p for p in parts if p))


def _verdict(row: Mapping[str, Any], seen: Limits, level: float, projects: int) -> tuple[str, str]:
    """Word, and what to add to it."""
    if row["status"] in _NOTHING:
        return "cannot tell yet", _NOTHING[row["status"]]
    low, high = row["low"], row["high"]
    one = "improved" if high < 1 else "worse" if low > 1 else ""
    alone = (
        "No unchanged position stands beside it: what changed everywhere is in the ratio."
        if row["status"] == "no unchanged positions"
        else ""
    )
    doubt = _doubt(row, seen, one, level, projects) if one else ""
    if one and not doubt:
        return one, alone
    needed = row["needed_years"]
    undone = bool(one) and (row["undone"] or 2 * row["at_change"] >= row["positions"])
    if not undone and (low >= _HALF or needed <= 0):
        return "no evidence", " ".join(w for w in (doubt, alone) if w)
    more = ""
    if np.isinf(needed):
        more = (
            "Too little is on record before the change to tell a ratio of 0.5, however long one "
            "waits."
        )
    elif needed > 0:
        more = (
            f"About {max(1.0, needed):,.0f} more position-years after the change would tell a "
            "ratio of 0.5 four times in five."
        )
    return "cannot tell yet", " ".join(w for w in (doubt, alone, more) if w)


_NOTHING = {
    "no record before": "The records of these positions begin after the change.",
    "no record after": "No time after the change is on record.",
    "nothing left before": (
        "All that is on record before the change lies in the time that may have chosen the "
        "positions; say in the list of changes how they were chosen."
    ),
}


def _doubt(row: Mapping[str, Any], seen: Limits, one: str, level: float, projects: int) -> str:
    """Why a ratio whose interval does not hold 1 is no verdict, or nothing."""
    if not row["p_adjusted"] <= 1 - level:
        return (
            f"Alone it would stand out; with {projects} projects looked at, chance brings as "
            "much too often."
        )
    for view in (UNCHANGED, SHRUNK):
        ratio = seen[view][0] if view in seen else np.nan
        if ratio > 1 if one == "improved" else ratio < 1:
            return f"Looked at as '{view}' the rate went the other way ({ratio:.2f} times)."
    if one == "worse" and 2 * row["at_change"] >= row["positions"]:
        return (
            "Most of the positions were changed when their seal failed, and had gone without a "
            "failure until then: a rise says nothing of the change."
        )
    if row["undone"]:
        count = row["unplaced_after" if one == "improved" else "unplaced_before"]
        return f"{count} more that may be failures here lack a pump or a date and could undo it."
    return ""


def _headline(row: Mapping[str, Any]) -> str:
    if not np.isfinite(row["p"]):
        return ""
    beside = "" if row["status"] == "no unchanged positions" else " and against unchanged positions"
    limits = _interval(row["low"], row["high"])
    if not np.isfinite(row["ratio"]):
        return f"No failure is left before the change to compare with; the ratio is {limits}."
    return (
        f"At equal age of the seals{beside} the failure rate after the change is "
        f"{row['ratio']:.2f} times that before ({limits})."
    )


def _interval(low: float, high: float) -> str:
    return f"{low:.2f} to {high:.2f}" if np.isfinite(high) else f"{low:.2f} or more"


def _raw(row: Mapping[str, Any], seen: Limits, verdict: str) -> list[str]:
    """Raw counts, and each thing in them that is not the project's doing."""
    if not row["years_before"] + row["years_after"] > 0:
        return []
    ratio, low, high = seen[RAW]
    fewer = f": {_percent(ratio)} a year" if np.isfinite(ratio) else ""
    told = [
        f"Raw counts: {_some(row['failures_before'], 'failure')} in "
        f"{row['years_before']:,.0f} position-years before, {row['failures_after']} in "
        f"{row['years_after']:,.0f} after{fewer}."
    ]
    raw_word = "improved" if high < 1 else "worse" if low > 1 else ""
    mislead = raw_word not in {"", verdict}
    blame = _blame(row)
    if blame:
        told.append(f"{'They mislead' if mislead else 'In them is more'}: {'; '.join(blame)}.")
    if row["window"] == "left out" and row["status"] != "no record after":
        told.append(
            f"That time is left out; with it, but each position's record shrunk to its class, the "
            f"ratio is {seen[SHRUNK][0]:.2f} ({_interval(*seen[SHRUNK][1:])})."
            if np.isfinite(seen[SHRUNK][0])
            else "That time is left out."
        )
    elif row["window"] == "kept":
        told.append(
            "A whole group was changed and its failures just before do not stand out, so the whole "
            "record before counts."
        )
    if row["at_change"]:
        told.append(f"{row['at_change']} of the failures before were mended by the change itself.")
    if row["no_life"]:
        told.append(f"{_some(row['no_life'], 'failure')} on the day of fitting not counted.")
    return told


def _blame(row: Mapping[str, Any]) -> list[str]:
    blame = []
    if row["window"] == "left out":
        since = pd.Timestamp(row["window_start"])
        may = "" if row["chosen"] in {"by failures", "given"} else "may have "
        blame.append(
            f"{row['failures_window']} of the {row['failures_before']} failures before fell in the "
            f"{row['years_window']:,.0f} position-years from {since:%Y-%m} by which the positions "
            f"{may or 'were '}{'been ' if may else ''}chosen, and a run of bad luck ends by itself"
        )
    meanwhile, age = row["change_meanwhile"], row["age_factor"]
    if row["status"] == "ok" and abs(np.log(meanwhile)) > _PLAIN:
        blame.append(f"the rate of unchanged positions went to {meanwhile:.2f} times meanwhile")
    if np.isfinite(age) and age > 0 and abs(np.log(age)) > _PLAIN:
        blame.append(f"the ages of the seals alone make it {age:.2f} times")
    return blame


def _some(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _percent(ratio: float) -> str:
    change = 100 * (ratio - 1)
    return f"{abs(change):.0f} % {'fewer' if change < 0 else 'more'}"
