"""Which forecasts would have been made in earlier years, and did they come true?

In: a study, a way to forecast. Out: `Scorecard`. Next: `seallife.figures`, `seallife.report`.

For each earlier day the fleet is taken as it stood on record that evening, studied, and forecast;
what the whole record shows to have happened since is held against it. Simple rules, which need no
ages of seals, are held against the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from seallife.asof import as_of
from seallife.errors import InputError, need_columns
from seallife.intake import Progress, silent
from seallife.life.groups import Floats
from seallife.life.result import TableResult
from seallife.scorecard.happened import events_of, fates
from seallife.scorecard.made import hold, keep_contract
from seallife.scorecard.summary import summed_chances, summed_counts
from seallife.study import Study, run_study

__all__ = ["CountForecast", "Scorecard", "SealForecast", "scorecard"]

CountForecast = Callable[[Study, Sequence[int]], tuple[pd.DataFrame, Floats]]
"""Study, horizons [months] -> rows (kind, by, group, months) and chances of 0, 1, … of each."""

SealForecast = Callable[[Study, int], pd.DataFrame]
"""Study, horizon [months] -> life_id, position_id, chance to fail by then, of seals in service."""

_METHOD = "forecasts from the records of earlier days against what happened since"
_SOURCE = "Czado, Gneiting & Held (2009); Hesterberg (2015); Spiegelhalter (1986)"


@dataclass(frozen=True, eq=False)
class Scorecard(TableResult):
    """How forecasts of earlier years came out.

    Attributes
    ----------
    table : DataFrame
        One row a ``kind`` ('failures', 'seals needed'), ``by`` ('all', 'site', 'service_class',
        'pool') and ``months``: the columns of `seallife.scoring.CountScores` and ``origins``;
        ``leaning`` ('too low', 'too high', 'not seen to lean'), ``ranges`` ('too tight',
        'too wide', 'not seen to miss'); ``gain_usage``, ``gain_usage_low``, ``gain_usage_high``
        [nats a forecast] over last year's usage and ``gain_rate`` … over the constant rate of the
        group; ``verdict`` (over last year's usage), ``verdict_rate``, ``message``.
    forecasts : DataFrame
        Each forecast: origin, until, kind, by, group, months, ``observed`` and ``new`` (of these,
        at positions that were not in use or on record at the origin), ``expected``, ``low``,
        ``high``, log scores of it and of both rules, ``status`` ('ok', 'records missing',
        'too little record'), ``message``. Only those that are 'ok' are in ``table``.
    seals : DataFrame
        Each seal asked: origin, months, and the columns of `seallife.scorecard.happened.fates`.
    bands : DataFrame
        Chances of seals by bands, with months: `seallife.scoring.ChanceScores`.
    chances : DataFrame
        One row a horizon: months, asked, happened, expected, brier, brier_of_share, log_score,
        lean, z, p, ``status`` ('too low', 'too high', 'wrongly spread', 'not seen to miss'),
        ``message``.
    origins : DataFrame
        origin, months, ``status`` ('ok', 'horizon not over', 'no study', 'no forecast'),
        ``message``.
    seed : int
        Of the limits of gains.
    """

    forecasts: pd.DataFrame
    seals: pd.DataFrame
    bands: pd.DataFrame
    chances: pd.DataFrame
    origins: pd.DataFrame
    seed: int


def scorecard(
    study: Study,
    forecast: CountForecast,
    seal_chances: SealForecast | None = None,
    *,
    origins: Sequence[pd.Timestamp] | None = None,
    horizons: Sequence[int] = (12, 24),
    most: int | None = None,
    level: float | None = None,
    seed: int = 1,
    progress: Progress = silent,
) -> Scorecard:
    """Would our forecasts of earlier years have come true, and were they worth the trouble?

    Parameters
    ----------
    study : Study
        Of the whole record; its fleet is what is cut back.
    forecast : callable
        Chances of counts, see `CountForecast`; it is given the study of an earlier day and the
        horizons that are over.
    seal_chances : callable, optional
        Chances of seals in service to fail, see `SealForecast`.
    origins : sequence of Timestamp, optional
        Evenings from which to forecast; by default each 31 December on which two years are on
        record and the shortest horizon lies within the records.
    horizons : sequence of int
        Months ahead.
    most : int, optional
        Of evenings found by default, so many of the last ones.
    level : float, optional
        Of ranges and limits; ``level`` of `Rules` where left out.
    seed : int
    progress : callable, optional

    Returns
    -------
    Scorecard

    Raises
    ------
    InputError
        No origin or horizon can be used, a horizon is no number of months, or the forecast breaks
        its contract.

    Notes
    -----
    All events of a group count, at positions commissioned since too: the store must serve them. A
    forecast is not judged where records of its group are missing for a part of its time, nor where
    less than half of the year before it is on record. Horizons that overlap share their luck: such
    origins are drawn together when limits of gains are found, gains from fewer than four such
    blocks are not judged, and limits of ratios and coverage are widened. A seal is asked anew at
    each origin; the words on chances take these as independent. Service classes and pools are
    those of today.
    """
    level = study.settings.rules.level if level is None else level
    months, now = _months(horizons), events_of(study)
    days = (
        _evenings(origins) if origins is not None else _new_years(study, months[0])[-(most or 0) :]
    )
    made, seals = [], []
    notes: list[tuple[pd.Timestamp, int, str, str]] = []
    for day in days:
        over = [m for m in months if _until(day, m) <= now.last]
        end = f"records end {now.last:%Y-%m-%d}"
        notes += [(day, m, "horizon not over", end) for m in months if m not in over]
        if not over:
            continue
        progress(f"forecasting from {day:%Y-%m-%d}")
        status, message = "no study", ""
        try:
            then = run_study(as_of(study.fleet, day))
            status = "no forecast"
            told = forecast(then, over)
            asked = [(m, seal_chances(then, m)) for m in over] if seal_chances else []
            status = "ok"
        except InputError as err:
            message = str(err)
        notes += [(day, m, status, message) for m in over]
        if status != "ok":
            continue
        made.append(hold(*keep_contract(*told, over, now), now, events_of(then), day))
        for m, rows in asked:
            need_columns(rows, ("life_id", "position_id", "chance"), "seal_chances")
            came = fates(rows, study.lives.table, day, _until(day, m))
            seals.append(came.assign(origin=day, months=m))
    noted = pd.DataFrame(notes, columns=["origin", "months", "status", "message"])
    if not made:
        raise InputError(
            f"no forecast could be made and held against what happened: {_first(noted)}",
            where="origins",
            hint="give days with records before them and a whole horizon after them",
        )
    table, forecasts = summed_counts(made, level, seed)
    each = pd.concat(seals, ignore_index=True) if seals else pd.DataFrame()
    bands, chances = summed_chances(each, level)
    noted = noted.sort_values(["origin", "months"], ignore_index=True)
    return Scorecard(table, level, _METHOD, _SOURCE, forecasts, each, bands, chances, noted, seed)


def _until(day: pd.Timestamp, months: int) -> pd.Timestamp:
    return day + pd.DateOffset(months=months)


def _months(horizons: Sequence[int]) -> list[int]:
    months = sorted(set(horizons))
    if not months or any(m != int(m) or m < 1 for m in months):
        raise InputError(
            f"are {list(horizons)}", where="horizons", hint="give whole months, 1 or more"
        )
    return [int(m) for m in months]


def _evenings(origins: Sequence[pd.Timestamp]) -> list[pd.Timestamp]:
    return sorted({pd.Timestamp(day).normalize() for day in origins})


def _new_years(study: Study, shortest: int) -> list[pd.Timestamp]:
    """Evenings before each new year, from the third year of records on."""
    windows = study.watched.windows
    eve = windows["start"].min() - pd.Timedelta(days=1)
    last = windows["end"].max() - pd.Timedelta(days=1) - pd.DateOffset(months=shortest)
    return list(pd.date_range(eve + pd.DateOffset(years=2), last, freq="YE"))


def _first(noted: pd.DataFrame) -> str:
    """Why the first origin gave nothing."""
    if noted.empty:
        return "records do not reach over two years and a horizon"
    return f"{noted['origin'].iloc[0]:%Y-%m-%d}: {noted['message'].iloc[0]}"
