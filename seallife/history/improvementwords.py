"""What to tell a manager about a project: a verdict, and a sentence with its numbers.

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


class Told(NamedTuple):
    """Verdict and message."""

    verdict: str
    message: str


def say(row: Mapping[str, Any], views: pd.DataFrame, level: float, projects: int) -> Told:
    """Did the change work, in words?

    A project has 'improved' or got 'worse' where its interval at equal age, against unchanged
    positions, does not hold 1; it stands out among all projects; the raw failures that lack a
    place could not undo it; and the two other ways to look past luck point the same way.
    'no evidence' is said where a halved rate can be ruled out or would have shown.
    """
    seen = dict(zip(views["view"], views["ratio"].astype(float), strict=True))
    verdict, why = _verdict(row, seen, level, projects)
    parts = [*_headline(row, verdict), why, *_raw(row, seen)]
    return Told(verdict, " ".join(p for p in parts if p))


def _verdict(
    row: Mapping[str, Any], seen: Mapping[str, float], level: float, projects: int
) -> tuple[str, str]:
    status, ratio = row["status"], row["ratio"]
    if status == "no record before":
        return "cannot tell yet", "The records at these positions begin after the change."
    if status == "no record after":
        return "cannot tell yet", "No time after the change is on record."
    if status == "nothing left before":
        return "cannot tell yet", (
            "The whole record before the change lies in the time that may have chosen the "
            "positions. Say in the list of changes how they were chosen."
        )
    low, high = row["low"], row["high"]
    one = "improved" if high < 1 else "worse" if low > 1 else ""
    doubt = ""
    if one:
        side = -1.0 if one == "improved" else 1.0
        against = [
            v for v in (UNCHANGED, SHRUNK) if side * np.log(max(seen.get(v, np.nan), 1e-9)) < 0
        ]
        if not row["p_adjusted"] <= 1 - level:
            doubt = (
                f"Alone it would stand out; among {projects} projects looked at, chance alone "
                "brings as much too often."
            )
        elif against:
            doubt = f"'{_capital(against[0])}' points the other way, so no verdict is given."
        elif row["undone"]:
            count = row["unplaced_after" if one == "improved" else "unplaced_before"]
            doubt = (
                f"{count} more that may be failures here lack a pump or a date and could undo it."
            )
        else:
            return one, _uncontrolled(row)
    needed = row["needed_years"]
    open_ = low < _HALF and (needed > 0 or not np.isfinite(ratio))
    unclear = open_ or doubt.endswith("undo it.")
    if not unclear:
        return "no evidence", doubt + _uncontrolled(row)
    more = (
        f"About {needed:,.0f} more position-years after the change would tell a ratio of 0.5 four "
        "times in five."
        if np.isfinite(needed) and needed > 0
        else ""
        if np.isfinite(needed)
        else "No time after the change will tell a ratio of 0.5: the record before is too short."
    )
    return "cannot tell yet", " ".join(w for w in (doubt, _uncontrolled(row), more) if w)


def _uncontrolled(row: Mapping[str, Any]) -> str:
    if row["status"] != "no unchanged positions":
        return ""
    return "No unchanged position stands beside it: what changed everywhere is in the ratio."


def _headline(row: Mapping[str, Any], verdict: str) -> list[str]:
    ratio, low, high = row["ratio"], row["low"], row["high"]
    name = f"{row['project']}: {verdict}."
    if not np.isfinite(row["p"]):
        return [name]
    limits = f"{low:.2f} to {high:.2f}" if np.isfinite(high) else f"{low:.2f} or more"
    beside = (
        "at equal age"
        if row["status"] == "no unchanged positions"
        else ("at equal age and against unchanged positions")
    )
    value = f"{ratio:.2f} times" if np.isfinite(ratio) else "an unknown multiple of"
    return [name, f"The failure rate after the change is {value} that before ({limits}), {beside}."]


def _raw(row: Mapping[str, Any], seen: Mapping[str, float]) -> list[str]:
    """Raw counts, and each thing in them that is not the project's doing."""
    if row["failures_before"] + row["failures_after"] == 0 or not (
        row["years_before"] > 0 and row["years_after"] > 0
    ):
        return [] if row["years_before"] == row["years_after"] == 0 else [_counts(row)]
    ratio = seen[RAW]
    told = [_counts(row)]
    if np.isfinite(ratio):
        told[0] = told[0][:-1] + f", {_as_percent(ratio)} a year."
    blame = []
    if row["window"] == "left out":
        since = pd.Timestamp(row["window_start"])
        blame.append(
            f"{row['failures_window']} of the {row['failures_before']} failures before came in the "
            f"{row['years_window']:,.0f} position-years from {since:%Y-%m} that "
            f"{_CHOSEN[row['chosen']]}; bad luck in it would have ended by itself, so it is left out"
        )
    meanwhile, age = row["change_meanwhile"], row["age_factor"]
    if row["status"] == "ok" and abs(np.log(meanwhile)) > _PLAIN:
        blame.append(f"the rate at equal age of unchanged positions went to {meanwhile:.2f} times")
    if np.isfinite(age) and age > 0 and abs(np.log(age)) > _PLAIN:
        how = "younger" if age < 1 else "older"
        blame.append(f"the seals' ages alone ({how} in effect) make it {age:.2f} times")
    if blame:
        told.append(f"They mislead: {'; '.join(blame)}.")
    if row["at_change"]:
        told.append(f"{row['at_change']} failures mended by the change itself count on no side.")
    if row["no_life"]:
        told.append(f"{row['no_life']} failures on the day of fitting count on no side.")
    return told


_CHOSEN = {
    "by failures": "chose the positions",
    "given": "chose the positions",
    "not said": "may have chosen the positions",
    "whole group": "may have chosen the group",
}


def _counts(row: Mapping[str, Any]) -> str:
    return (
        f"Raw counts: {row['failures_before']} failures in {row['years_before']:,.0f} "
        f"position-years before, {row['failures_after']} in {row['years_after']:,.0f} after."
    )


def _as_percent(ratio: float) -> str:
    change = 100 * (ratio - 1)
    return f"{abs(change):.0f} % {'fewer' if change < 0 else 'more'}"


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]
