"""How good are the records, as a letter with a written rule?

In: `Study`. Out: `DataGrade`. Next: `seallife.report.pages`.

The grade speaks of the records, not of the plant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.classes import EXCLUDED, UNCLASSIFIED

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["GRADE_RULE", "GRADE_STEPS", "DataGrade", "grade_records"]

GRADE_STEPS = (("A", 0.95), ("B", 0.85), ("C", 0.70))
"""Least share for each grade; D below the last."""

GRADE_RULE = (
    "Each line counts what share of the records says what is needed: A from 95 %, B from 85 %, "
    "C from 70 %, D below. The grade of the records is that of the weakest line."
)

_WORST_FIRST = "DCBA"


@dataclass(frozen=True)
class DataGrade:
    """Grade of the records.

    Attributes
    ----------
    letter : str
        'A' to 'D'; '' where there is nothing to grade.
    table : pandas.DataFrame
        measure, good, counted, share, grade, mend (what would raise it).
    sentence : str
        The grade and its weakest line in words.
    """

    letter: str
    table: pd.DataFrame
    sentence: str


def grade_records(study: Study) -> DataGrade:
    """How far do the records say what a study of seal life needs?"""
    events, lives = study.removals.table, study.lives.table
    classes = study.classes.table
    sealed = classes[classes["service_class"] != EXCLUDED]
    closed = lives[lives["removal_id"] != ""]
    later = closed[closed["position_id"].duplicated()]
    lines = [
        (
            "records of removals that could be placed",
            records := int(events["orders"].sum()),
            records + len(study.removals.unplaced),
            "mend tags and dates of the records that a person is asked about",
        ),
        (
            "removals whose day is known",
            int(events["end_low"].isna().sum()),
            len(events),
            "write the day the seal came out, not the day the order was closed",
        ),
        (
            "removals whose reason is known",
            int((events["ended"] != "unknown").sum()),
            len(events),
            "write why the seal came out, in one line",
        ),
        (
            "removals whose seal position is named",
            int((events["position_id"] != "").sum()),
            len(events),
            "name the end of the pump (DE or NDE)",
        ),
        (
            "removals whose seal's age is known (first of each position left out)",
            int(later["age_known"].sum()),
            len(later),
            "close the gaps above: each makes the next seal's age unknown",
        ),
        (
            "positions whose service class is known and sure",
            int(((sealed["service_class"] != UNCLASSIFIED) & sealed["sure"]).sum()),
            len(sealed),
            "complete fluid, temperature and pressure in the register",
        ),
    ]
    if study.settings.rules.clock == "run hours":
        by_position = lives.drop_duplicates("position_id")["hours_from"]
        lines.append(
            (
                "positions whose run hours come from a meter or a known share of time run",
                int((by_position != "duty word").sum()),
                len(by_position),
                "send meter readings, or enter the share of time run",
            )
        )
    table = pd.DataFrame(lines, columns=["measure", "good", "counted", "mend"])
    shares = table["good"] / table["counted"].where(table["counted"] > 0)
    grades = [_letter(s) for s in shares]
    table.insert(3, "share", shares)
    table.insert(4, "grade", grades)
    given = [g for g in grades if g]
    if not given:
        return DataGrade("", table, "There is nothing to grade yet.")
    letter = min(given, key=_WORST_FIRST.index)
    weakest = table.loc[shares.idxmin()]
    return DataGrade(
        letter,
        table,
        f"Records: grade {letter}. Weakest point: {weakest['measure']}, "
        f"{weakest['good']:,} of {weakest['counted']:,}.",
    )


def _letter(share: float) -> str:
    """Grade of one line; none where nothing was counted."""
    if np.isnan(share):
        return ""
    return next((g for g, least in GRADE_STEPS if share >= least), "D")
