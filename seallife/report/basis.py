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

__all__ = [
    "UNIT",
    "break_words",
    "fit_basis",
    "group_row",
    "last_year",
    "limit_words",
    "rate_basis",
    "record_span",
    "unknown_words",
]

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


def last_year(study: Study) -> pd.DataFrame:
    """Latest twelve months of the whole fleet; no row where the records changed since."""
    rolling = group_row(study.history.rolling)
    breaks = study.history.breaks
    if breaks and len(rolling):
        last = study.history.monthly["month"].max()
        past = [day for day in breaks if day <= last]
        rolling = rolling[rolling["month"] >= max(past)] if past else rolling
    return rolling.tail(1)


def break_words(study: Study) -> str:
    """Say of days on which the records changed that no window reaches across them."""
    days = [date_text(day) for day in study.history.breaks]
    if not days:
        return ""
    return f" Line broken: the records changed on {', '.join(days)}; no window reaches across."


def limit_words(study: Study, *measures: str) -> str:
    """How limits of MTBR and MTBF were made, and whether repairs cluster."""
    table = study.history.clustered
    told = []
    for measure in measures:
        rows = table[table["measure"] == measure]
        whole = rows[rows["by"] == "all"]
        noun = "failures" if measure == "MTBF" else "removals"
        used, most = (float(part["used"].max()) if len(part) else 1.0 for part in (whole, rows))
        if most <= 1:
            seen = len(whole) and whole["status"].iloc[0] == "ok"
            why = (
                f"{noun} show no clustering (factor 1.0)"
                if seen
                else "too few or too short a time to tell clustering"
            )
            told.append(f"{measure} exact Poisson, {why}")
        else:
            more = f", up to {most:.1f} in groups that show more" if most > used else ""
            told.append(
                f"{measure} Poisson, widened for {noun} that cluster at one pump (variance times "
                f"{used:.2f}{more})"
            )
    return f"Limits at {level_text(study.history.level)}: {'; '.join(told)}."


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
        f"{limit_words(study, *measures)} {unknown_words(study)} {UNIT}"
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
