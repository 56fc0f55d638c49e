"""What stands under every figure: counts, level, clock, method, definition.

In: `Study`. Out: sentences. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from seallife.figures.life import axis_words
from seallife.history.mtbr import DEFINITIONS
from seallife.report.format import count, date_text, level_text

if TYPE_CHECKING:
    import pandas as pd

    from seallife.study import Study

__all__ = ["UNIT", "fit_basis", "group_row", "rate_basis", "record_span", "unknown_words"]

UNIT = "Unit: one seal position; a pump with two seals counts twice."


def group_row(table: pd.DataFrame, by: str = "all", group: str | None = None) -> pd.DataFrame:
    """Rows of one group, or of all groups of one kind, of a history table."""
    rows = table[table["by"] == by]
    return rows if group is None else rows[rows["group"] == group]


def record_span(study: Study) -> str:
    """From when to when records exist."""
    windows = study.watched.windows
    if windows.empty:
        return "no time on record"
    last = windows["end"].max() - _one_day()
    return f"{date_text(windows['start'].min())} to {date_text(last)}"


def _one_day() -> pd.Timedelta:
    import pandas as pd

    return pd.Timedelta(days=1)


def unknown_words(study: Study) -> str:
    """How removals of unknown reason are counted here."""
    number = int((study.removals.table["ended"] == "unknown").sum())
    if not number:
        return "No removal is of unknown reason."
    counted = "as failures" if study.history.unknown_as == "failed" else "as withdrawn"
    return f"{count(number, 'removal')} of unknown reason counted {counted}."


def rate_basis(study: Study, *measures: str) -> str:
    """Caption of a figure made of rates."""
    row = group_row(study.history.overall)
    years, failures, removals = (
        (float(row[c].iloc[0]) if len(row) else 0.0)
        for c in ("exposure_years", "failures", "removals")
    )
    told = "; ".join(f"{m}: {DEFINITIONS[m]}" for m in measures)
    return (
        f"{count(removals, 'removal')}, {count(failures, 'failure')} in {years:,.0f} "
        f"position-years, {record_span(study)}. {told}. Clock: calendar. "
        f"Limits: exact Poisson, {level_text(study.history.level)}. {unknown_words(study)} {UNIT}"
    )


def fit_basis(study: Study) -> str:
    """Caption of a figure made of fits by age."""
    fits = study.fits
    table = fits.table
    n, failures = int(table["n"].sum()), int(table["failures"].sum())
    late, left_out = int(table["entered_late"].sum()), int(table["excluded"].sum())
    return (
        f"{count(n, 'life', 'lives')}: {count(failures, 'failure')}, {n - failures:,} withdrawn, "
        f"lost or still running (censored); {late:,} seen only from a later age on (late entry); "
        f"{left_out:,} left out for want of a known age. Clock: {axis_words(fits)}. "
        f"Method: {fits.method}. Level {level_text(fits.level)}. {UNIT}"
    )
