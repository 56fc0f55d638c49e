"""What the outage list says in words.

In: the rows of an outage list. Out: verdicts and sentences. Next: `seallife.spares.outage`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.spares.replacement import NO_COST

__all__ = ["LEAK_FIRST", "LIST_CAUTION", "VERDICTS", "outage_messages"]

LEAK_FIRST = "act on the leak"
"""Verdict on a seal in alarm, whatever its figures."""

VERDICTS = (LEAK_FIRST, "renew", "cannot tell yet", "leave", NO_COST, "")
"""Verdicts of an outage list, in its order."""

LIST_CAUTION = (
    "This list is never a reason to leave a leaking seal in: a leak over a limit, an alarm or a "
    "site rule is acted on now, whatever stands here. It describes groups of seals and certifies "
    "none; a seal that is low on it, or not on it, may fail before the outage all the same."
)
"""To be shown with every outage list."""


def outage_messages(
    table: pd.DataFrame, why_not: list[str], blocked: NDArray[np.bool_]
) -> list[str]:
    """One sentence or two a row: what the verdict rests on.

    Parameters
    ----------
    table : DataFrame
        `OutageList.table`, without its messages.
    why_not : list of str
        Why there is no figure, where there is none.
    blocked : ndarray of bool
        Whether failures of the class are not known to grow with age.
    """
    out = []
    for row, none, held in zip(table.to_dict(orient="records"), why_not, blocked, strict=True):
        said = []
        if row["verdict"] == LEAK_FIRST:
            said.append("In alarm: act on the leak now, by the rules of the site.")
        if none:
            said.append(none)
        else:
            said.append(
                f"Of such seals {row['chance_left']:.0%} are expected to fail between this outage "
                f"and the next if left in, {row['chance_renewed']:.0%} if renewed."
            )
            if np.isnan(row["gain"]):
                said.append("Costs are not given: there is no verdict.")
            else:
                said.append(f"Renewing pays under {row['pays']:.0%} of the laws the records allow.")
                if held and row["verdict"] == "cannot tell yet":
                    said.append("Failures of this class are not known to grow with age.")
        out.append(" ".join(said))
    return out
