"""Did the changes work? A verdict a project.

In: `Study`. Out: blocks. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from seallife.figures.improvement import improvement_figure
from seallife.report.exhibit import Block, Exhibit, Points
from seallife.report.format import CANNOT_TELL, interval, level_text

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["project_verdicts"]


def project_verdicts(study: Study) -> tuple[Block, ...]:
    """Did each change of positions work?"""
    found = study.trends.improvements
    table = found.table
    if table.empty:
        return (
            Points(
                "Did the changes work?",
                (
                    "No change of a position is on record. Without a dated list of changes "
                    "(table 'changes') no upgrade can be judged.",
                ),
            ),
        )
    shown = pd.DataFrame(
        {
            "Project": table["project"].astype(str),
            "Positions": [f"{n:,}" for n in table["positions"]],
            "Before": _seen(table, "before"),
            "After": _seen(table, "after"),
            "Ratio at equal age, against unchanged": [
                interval(v, a, b, decimals=2) if np.isfinite(v) else CANNOT_TELL
                for v, a, b in zip(table["ratio"], table["low"], table["high"], strict=True)
            ],
            "Verdict": table["verdict"].astype(str),
        }
    )
    return (
        Points("Did the changes work?", tuple(map(_first_words, table["message"]))),
        Exhibit(
            "improvements",
            "Changes of positions, before and after",
            "Raw counts mislead where positions were chosen for their bad luck: it ends by itself. "
            "The verdict compares with unchanged positions of the same class over the same time, "
            "at equal age of the seals, without the time that chose them. Ratio below 1 is better; "
            f"interval {level_text(found.level)}; the table behind says for each project how much "
            "of the raw change is bad luck that ended, what happened elsewhere meanwhile, and the "
            "seals' ages. With several projects a verdict asks for more "
            f"(false discovery rate). Method: {found.method}. Unit: one seal position.",
            table,
            improvement_figure(found),
            shown,
            alt="; ".join(table["message"].astype(str)),
            rests_on=("lives", "removals"),
        ),
    )


def _first_words(message: str) -> str:
    """Verdict, ratio and raw counts; the rest of the message stands in the exhibit's table."""
    return message.split(" They mislead")[0].split(" In them is more")[0]


def _seen(table: pd.DataFrame, side: str) -> list[str]:
    pairs = zip(table[f"failures_{side}"], table[f"years_{side}"], strict=True)
    return [f"{n:,.0f} in {y:,.0f} y" for n, y in pairs]
