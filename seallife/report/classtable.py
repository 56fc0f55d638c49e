"""One row a service class: all that is said about it, as numbers with limits.

In: `Study`. Out: a table. Next: `seallife.report.pages`, `seallife.report.tables`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.life import no_fit_words, unit_years
from seallife.history import early_failures
from seallife.report.format import count, interval

if TYPE_CHECKING:
    from seallife.life.fits import LifeFits
    from seallife.study import Study

__all__ = ["class_table", "class_warnings", "fit_years", "survival_columns"]

_LIMITS = ("", "_low", "_high")


def class_table(study: Study) -> pd.DataFrame:
    """What is known of each service class?

    Returns
    -------
    pandas.DataFrame
        service_class, positions, exposure_years, failures, removals, mtbf_years with limits;
        lives, failures_known_age, life_clock ('run years' or 'calendar years': that of b10_years,
        b50_years and survival; MTBF is calendar), shape, shape_corrected
        (the bias of few failures taken off), b10_years and b50_years with limits, one
        ``survival_`` column with limits for each age asked for (Kaplan-Meier, missing beyond the
        oldest seal seen), no_fit (words where shape and B10 are not shown), installs, early,
        early_share with limits, status, message.
    """
    rates = study.history.overall
    rates = rates[rates["by"] == "service_class"].rename(columns={"group": "service_class"})
    columns = ["service_class", "positions", "exposure_years", "removals", "failures"]
    columns += [f"mtbf_years{s}" for s in _LIMITS]
    fits = fit_years(study.fits)
    rules = study.settings.rules
    early = early_failures(study.lives, rules.early_days, rules.level)
    out = rates[columns].merge(fits, on="service_class", how="outer")
    out = out.merge(early, on="service_class", how="left").sort_values("service_class")
    whole = [
        "positions",
        "removals",
        "failures",
        "lives",
        "failures_known_age",
        "installs",
        "early",
    ]
    out[whole] = out[whole].fillna(0).astype(int)
    none = out["status"].isna()
    out["no_fit"] = out["no_fit"].mask(none, "no lives")
    out["status"] = out["status"].mask(none, "no lives")
    out["message"] = out["message"].mask(none, "No life of this class is on record.")
    return out.reset_index(drop=True)


def fit_years(fits: LifeFits) -> pd.DataFrame:
    """Fits of all classes in years of their clock, with survival at the ages asked for."""
    year, unit, table = unit_years(fits), fits.unit, fits.table
    out: dict[str, Any] = {
        "service_class": table[fits.by],
        "lives": table["n"].astype(int),
        "failures_known_age": table["failures"].astype(int),
        "oldest_years": table[f"oldest_age_{unit}"] / year,
    }
    out |= {f"shape{s}": table[f"shape{s}"] for s in _LIMITS}
    out["shape_corrected"] = table.get("shape_corrected", table["shape"])
    for stem in ("b10", "b50"):
        out |= {f"{stem}_years{s}": table[f"{stem}{s}_{unit}"] / year for s in _LIMITS}
    frame = pd.DataFrame(out)
    oldest = frame["oldest_years"].to_numpy(dtype=float)
    age_of = fits.survival[f"age_{unit}"].to_numpy(dtype=float)
    for age in np.unique(age_of):
        rows = fits.survival[age_of == age].set_index(fits.by).reindex(table[fits.by])
        seen = oldest >= age / year * (1 - 1e-9)
        for source, suffix in (("survival", ""), ("low", "_low"), ("high", "_high")):
            name = f"survival_{age:.0f}{unit}{suffix}"
            frame[name] = np.where(seen, rows[source].to_numpy(dtype=float), np.nan)
    return frame.assign(
        life_clock="run years" if unit == "h" else "calendar years",
        no_fit=no_fit_words(table),
        status=table["status"],
        message=table["message"],
    )


def survival_columns(table: pd.DataFrame) -> list[str]:
    """Names of the survival columns, youngest age first, without those of limits."""
    return [
        c for c in table.columns if c.startswith("survival_") and not c.endswith(("_low", "_high"))
    ]


_REASONS = {
    "no failures": "cannot be fitted because no seal of known age has failed",
    "at bound": (
        "cannot be fitted because its failures lie so close together in age that no shape is "
        "too steep for them"
    ),
    "not converged": (
        "cannot be fitted because its ages do not single out one law; look at the recorded ages"
    ),
    "no lives": "cannot be fitted because no life of known age is on record",
    "few failures": (
        "has too few failures of known age for a law: its figures by age are not shown, and stand "
        "in the table 'fits' only"
    ),
    "interval open": "has data that set a limit on one side only",
}


def class_warnings(table: pd.DataFrame) -> tuple[str, ...]:
    """Say of each class that is not plainly fitted what can be said and why no more.

    Parameters
    ----------
    table : pandas.DataFrame
        From `class_table`.
    """
    out = []
    for row in table[table["status"] != "ok"].to_dict("records"):
        reason = _REASONS.get(row["status"], f"{row['status']}: {row['message']}")
        rate = interval(
            row["mtbf_years"], row["mtbf_years_low"], row["mtbf_years_high"], "calendar years"
        )
        seen = f"{count(row['failures'], 'failure')} in {row['exposure_years']:,.0f} position-years"
        if not row["exposure_years"] > 0:
            out.append(f"{row['service_class']} {reason}.")
        else:
            out.append(f"{row['service_class']} {reason}. MTBF: {rate}, from {seen}.")
    return tuple(out)
