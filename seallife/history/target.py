"""Where will MTBF and MTBR stand at a date ahead, and will the target be met?

In: lives, run hours, `AgeRates`, months on record. Out: `TargetForecast`. Next: report.

Each seal in service goes on from its age today at the failure rates of its class and age; what
fails or is renewed is followed by a new seal. The count ahead is uncertain by chance and by what
the records leave open about the rates; both are in the range.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock
from seallife.errors import InputError
from seallife.history.agerates import AgeRates
from seallife.history.eventsahead import events_ahead, planned_rates
from seallife.life.result import TableResult
from seallife.schema import DAYS_PER_YEAR

__all__ = ["TargetForecast", "forecast_target"]

_CELLS = 400_000  # draws times positions worked on at once
_DRAWS = (40, 400)
_SOURCE = "renewal by steps of a month; gamma rates, Poisson counts (Meeker & Escobar 1998, ch. 12)"

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TargetForecast(TableResult):
    """MTBF and MTBR over the twelve months that end at a date ahead.

    Attributes
    ----------
    table : DataFrame
        Per ``group`` ('all' and each site) and ``measure`` ('MTBF', 'MTBR'): ``positions`` in
        service; ``years`` of exposure in the twelve months; ``seen`` events of them on record so
        far; ``expected`` events still to come with ``expected_low``, ``expected_high`` (what the
        records leave open) and ``low``, ``high`` (range of the count itself); ``mean_years`` at
        the date with ``mean_years_low``, ``mean_years_high`` (range); ``target_years``,
        ``allowed`` events still to come, ``probability`` of meeting the target, ``needed_ratio``
        (of the rate ahead to the expected one, for an even chance), ``status``, ``message``.
    until : Timestamp
        The date.
    draws, seed : int
    """

    until: pd.Timestamp
    draws: int
    seed: int


def forecast_target(
    lives: pd.DataFrame,
    clock: RunClock,
    rates: AgeRates,
    monthly: pd.DataFrame,
    *,
    until: pd.Timestamp | None = None,
    target_mtbf_years: float | None = None,
    target_mtbr_years: float | None = None,
    level: float = 0.90,
    seed: int = 1,
) -> TargetForecast:
    """Where will MTBF and MTBR stand at a date ahead, given the seals' ages today?

    Parameters
    ----------
    lives : DataFrame
        Table of a `LifeTable`.
    clock : RunClock
        Run hours of the last year say how fast each position ages.
    rates : AgeRates
        Failure rates by class and age; see `seallife.history.agerates.age_rates`.
    monthly : DataFrame
        `MtbrHistory.monthly`.
    until : Timestamp, optional
        The date; where None the end of the calendar year in which records end, or of the next one
        where they end with a year.
    target_mtbf_years, target_mtbr_years : float, optional
        Targets for the twelve months that end then.
    level : float
    seed : int

    Returns
    -------
    TargetForecast

    Raises
    ------
    InputError
        The date lies before the end of records or more than five years after it, or a target is
        not above 0.

    Notes
    -----
    Removals in good order go on at their rate of the last three years, outages and upgrades left
    out: renewals planned in an outage ahead must be added. A fitted seal may fail again in the
    month it was fitted. Ranges take the rates to stay as they were over the whole record: they
    foretell what happens if nothing is changed.
    """
    for name, target in (("mtbf", target_mtbf_years), ("mtbr", target_mtbr_years)):
        if target is not None and not (np.isfinite(target) and target > 0):
            raise InputError(
                f"is {target}", where=f"target_{name}_years", hint="give years above 0"
            )
    running = lives[lives["end"] == "in service"]
    now = running["exit"].max() if len(running) else lives["exit"].max()
    date = _date(until, now)
    draws = int(np.clip(_CELLS // max(len(running), 1), *_DRAWS))
    rng = np.random.default_rng(seed)
    groups = ["all", *sorted(running["site"].unique())]
    member = np.array([np.ones(len(running))] + [running["site"] == g for g in groups[1:]], float)
    failed, removed = events_ahead(
        running, clock, rates, planned_rates(lives, rates, now), now, date, draws, rng, member
    )
    more_failed, more_removed = _without_life(lives, monthly)
    failed, removed = failed * more_failed, removed * more_removed
    rows = []
    for k, group in enumerate(groups):
        for measure, drawn, target in (
            ("MTBF", failed[k], target_mtbf_years),
            ("MTBR", removed[k], target_mtbr_years),
        ):
            seen = _on_record(monthly, group, date, measure)
            ahead = float(member[k].sum()) * min((date - now).days, DAYS_PER_YEAR) / DAYS_PER_YEAR
            counts = rng.poisson(drawn)
            rows.append(
                {"group": group, "measure": measure, "positions": int(member[k].sum())}
                | _row(seen, ahead, drawn, counts, target, level)
            )
    method = f"expected of today's ages by class, {draws} draws of the rates, Poisson counts"
    return TargetForecast(pd.DataFrame(rows), level, method, _SOURCE, date, draws, seed)


def _date(until: pd.Timestamp | None, now: pd.Timestamp) -> pd.Timestamp:
    """Date of the forecast; records end the day before ``now``."""
    last = now - pd.Timedelta(days=1)
    if until is None:
        year = last.year + (1 if (last.month, last.day) == (12, 31) else 0)
        return pd.Timestamp(year, 12, 31)
    date = pd.Timestamp(until).normalize()
    if not now < date <= now + pd.DateOffset(years=5):
        raise InputError(
            f"is {date:%Y-%m-%d}, records end {last:%Y-%m-%d}",
            where="until",
            hint="give a later date within five years",
        )
    return date


def _without_life(lives: pd.DataFrame, monthly: pd.DataFrame) -> tuple[float, float]:
    """Failures and removals on record over those that ended a life: an end may not be named."""
    whole = monthly.loc[monthly["by"] == "all", ["failures", "removals"]].sum()
    failed = int((lives["end"] == "failed").sum())
    ended = failed + int((lives["end"] == "withdrawn").sum())
    return (
        max(float(whole["failures"]) / failed, 1.0) if failed else 1.0,
        max(float(whole["removals"]) / ended, 1.0) if ended else 1.0,
    )


def _on_record(
    monthly: pd.DataFrame, group: str, date: pd.Timestamp, measure: str
) -> tuple[float, int]:
    """Exposure and events on record in the twelve months before the date."""
    rows = monthly[(monthly["by"] == ("all" if group == "all" else "site"))]
    rows = rows[(rows["group"] == group) & (rows["month"] > date - pd.DateOffset(years=1))]
    counted = "failures" if measure == "MTBF" else "removals"
    return float(rows["exposure_years"].sum()), int(rows[counted].sum())


def _row(
    seen: tuple[float, int],
    ahead: float,
    drawn: Floats,
    counts: npt.NDArray[np.int64],
    target: float | None,
    level: float,
) -> dict[str, object]:
    """Figures of one group and measure."""
    tails = [(1 - level) / 2, (1 + level) / 2]
    years, before = seen[0] + ahead, seen[1]
    low, high = np.quantile(counts, tails, method="inverted_cdf")
    ends = np.quantile(drawn, tails)
    expected = float(drawn.mean())

    def mean_time(events: float) -> float:
        return years / events if events > 0 else float("inf")

    row: dict[str, object] = {
        "years": years,
        "seen": before,
        "expected": expected,
        "expected_low": float(ends[0]),
        "expected_high": float(ends[1]),
        "low": float(low),
        "high": float(high),
        "mean_years": mean_time(before + expected),
        "mean_years_low": mean_time(before + float(high)),
        "mean_years_high": mean_time(before + float(low)),
        "target_years": np.nan if target is None else target,
        "allowed": np.nan,
        "probability": np.nan,
        "needed_ratio": np.nan,
        "status": "ok" if ahead > 0 else "no seals in service",
        "message": "",
    }
    if target is None or not ahead > 0:
        return row
    allowed = int(np.floor(years / target - before + 1e-9))
    ratio = max(years / target - before, 0.0) / expected if expected > 0 else np.inf
    row |= {
        "allowed": float(max(allowed, 0)),
        "probability": float(np.mean(counts <= allowed)),
        "needed_ratio": ratio,
    }
    if allowed < 0:
        row["message"] = "Missed already: more events are on record than the target allows."
    elif ratio < 1:
        row["message"] = (
            f"The target allows {allowed:,} more, {expected:,.0f} are expected: they must come at "
            f"{ratio:.2f} times that rate for about an even chance."
        )
    else:
        row["message"] = f"The target allows {allowed:,} more, {expected:,.0f} are expected."
    return row
