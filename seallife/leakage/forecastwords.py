"""What a forecast says in words, and what it must not say.

In: table of a forecast. Out: a sentence for each segment. Next: `seallife.leakage.forecast`.
"""

from __future__ import annotations

import pandas as pd

__all__ = ["LEVEL_ONLY", "forecast_messages"]

LEVEL_ONLY = (
    "This is the level, not a reading: one reading over the limit is a leak at once, and is acted "
    "on whatever this says. The seal can fail before."
)

_PLAIN = {
    "over the limit now": "The last reading is at or over the limit: it is acted on now. "
    "Nothing is foretold.",
    "was over the limit": "An earlier reading was at or over the limit, and no repair on record "
    "has begun a new segment since: one reading over is a leak until a repair, or a re-reading "
    "under the site's rule, closes it. Nothing is foretold.",
    "may be over the limit": "The level may be over the limit already: the last reading cannot "
    "tell, or the rise has led there by now. Read it again at once. Nothing is foretold.",
    "few readings": "Fewer than 4 days with a reading: no rise could be told from noise. That is "
    "no sign of tightness.",
    "no limit": "No limit is known for it: set one from the site's own rules.",
    "not rising": "No rise shows in its readings. Many failures show nothing before.",
}


def forecast_messages(table: pd.DataFrame, level: float) -> list[str]:
    """One sentence or two for each segment.

    Parameters
    ----------
    table : DataFrame
        As in `seallife.leakage.forecast.TimeToLimit`, with status and figures.
    level : float
        Share of the intervals.

    Returns
    -------
    list of str
    """
    out: list[str] = []
    columns = ("status", "days_low", "days_high")
    for status, low, high in zip(*(table[c].tolist() for c in columns), strict=True):
        if status == "ok":
            sentence = (
                f"Of rises like this one, {level:.0%} are expected to bring the level to the "
                f"limit {_from(low)} to {high:.0f} days after the date of forecast. {LEVEL_ONLY}"
            )
        elif status == "too wide to say":
            sentence = (
                f"It rises, and the level may be at the limit {_from(low)} days after the date "
                "of forecast; when at the latest is too wide to say. Read it more often: three "
                f"or four more readings tell the rate. {LEVEL_ONLY}"
            )
        else:
            sentence = _PLAIN[status]
        out.append(sentence)
    return out


def _from(days: float) -> str:
    """Earliest time, rounded down: never later than found."""
    return f"{int(days)}"
